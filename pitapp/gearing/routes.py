"""The Gearing screens: steppers with the gear that is wanted, table and log."""

from __future__ import annotations

import json
import re
import sqlite3
from functools import cached_property
from typing import Any, NamedTuple
from urllib.parse import urlencode

from flask import Blueprint, redirect, request, url_for

from pitapp.db import get_db
from pitapp.db.pages import split_page
from pitapp.errors import NotThere
from pitapp.gearing import answer as work
from pitapp.gearing import ready, store
from pitapp.gearing.forms import NUDGES, FitForm, QuestionForm, TargetForm
from pitapp.gearing.formulas import GearOption, nearest_options, ratio_texts
from pitapp.gearing.target import target_ratio
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.class_figures import with_class_figures
from pitapp.kit.gear_gap import GearGap, gear_gap
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.web.clock import current_settings, now, present
from pitapp.web.forms.quantities import unit
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("gearing", __name__, url_prefix="/gearing")
blueprint.add_app_template_filter(ratio_texts, "ratio_texts")
NEAREST = 5
LOG_PAGE = 50


class Lacking(NamedTuple):
    """A sentence on what is lacking, and the way to it."""

    sentence: str
    href: str
    label: str


class GearingContext:
    """What the gearing screens work on: a car, else the one in use, its motor, its gear, and the box."""

    def __init__(self, connection: sqlite3.Connection, car: Car | None = None) -> None:
        self.car: Car | None = car or kit.current_car(connection, current_settings())
        self.known: Car | None = None
        """The car with the figures of its class and packs where it has none of its own."""
        self.motor: Motor | None = None
        self.fitted: work.GearFit | None = None
        self.box: work.GearBox | None = None
        self.gap: GearGap | None = None
        self.again = ""
        """What the button says that logs the fitted gear once more, where that says something new."""
        if self.car:
            if self.car.motor_id:
                self.motor = kit.motor(connection, self.car.motor_id)
            self.known = with_class_figures(connection, self.car, now())
            self.fitted = store.fitted(connection, self.car.id)
            pinions, spurs = kit.owned_teeth(connection, self.car.pitch)
            self.box = work.GearBox(tuple(pinions), tuple(spurs), work.limits_of(self.car))
            self.gap = gear_gap(self.car, kit.gears(connection))
        if self.car and self.fitted:
            meeting = meetings.current_meeting(connection, now())
            if ready.of_another_day(connection, self.car, meeting, self.fitted):
                self.again = "Keep it for this meeting"
            elif not self.fitted.is_as(self.car):
                self.again = "Log it with the car's new figures"

    def is_fitted(self, pinion: int | None, spur: int | None) -> bool:
        """Whether this pair is in the car now."""
        fitted = self.fitted
        return fitted is not None and (fitted.pinion_teeth, fitted.spur_teeth) == (pinion, spur)

    @cached_property
    def question(self) -> work.Question:
        """The question about the gear now in the car."""
        if self.known is None:
            return work.Question()
        return work.for_car(self.known, self.motor, self.fitted, self.box)

    @property
    def speed_lacks(self) -> Lacking | None:
        """What the top speed needs and nothing says, with the field where it is asked for."""
        known = self.known
        if known is None or known.rev_limit_rpm is not None:
            return None
        car = f"{url_for('kit.car', car_id=known.id)}?for=speed"
        if self.motor is None:
            pack = "" if known.pack_v else " and a pack"
            return Lacking(
                f"Top speed needs a rev limit, or a motor{pack}.",
                f"{car}#new_motor_kv",
                "Add the motor",
            )
        if known.pack_v is None:
            return Lacking(
                "Top speed needs a rev limit, or the pack's voltage.",
                f"{car}#pack_v",
                "Add the voltage",
            )
        return None

    def note(self, kind: str, teeth: int | None) -> str:
        """The note under a stepper, such as "not owned"."""
        if self.fitted and teeth == getattr(self.fitted, f"{kind}_teeth"):
            return "fitted now"
        owned = getattr(self.box, f"{kind}s") if self.box else ()
        if not owned:
            return ""
        return "in the box" if teeth in owned else "not owned"

    @cached_property
    def numbers(self) -> str:
        """What the page needs to go on working with no server, as JSON."""
        box = self.box
        speed = unit("speed")
        return json.dumps(
            {
                "pinions": box.pinions if box else [],
                "spurs": box.spurs if box else [],
                "limits": box.limits.model_dump(exclude_none=True) if box else {},
                "fitted": [self.fitted.pinion_teeth, self.fitted.spur_teeth]
                if self.fitted
                else None,
                "again": self.again,
                "nearest": NEAREST,
                "speed": {"symbol": speed.symbol, "of_one_kmh": speed.display_value(1.0)},
            }
        )


def _context() -> GearingContext:
    return GearingContext(get_db())


@blueprint.get("")
def page() -> Any:
    bench = _context()
    form = QuestionForm(request.args, bench.question)
    question = form.question()
    target = TargetForm(request.args)
    if question is None:
        return show("gearing/page.html", 422, form=form, bench=bench, target=target)
    if "pair" in request.args or "nudge" in request.args:
        return redirect(_with_figures(_moved(request.args.to_dict(), question)), 303)
    return _worked_out(bench, question, form, target)


def _moved(numbers: dict[str, str], question: work.Question) -> dict[str, Any]:
    """The address after a stepper's button or a neighbouring pair was pressed."""
    pair, nudge = numbers.pop("pair", ""), numbers.pop("nudge", "")
    if match := re.fullmatch(r"(\d{1,3})-(\d{1,3})", pair):
        return numbers | {"pinion": match[1], "spur": match[2]}
    if nudge not in NUDGES:
        return numbers
    name, step = NUDGES[nudge]
    return numbers | {name: max(6, min(200, getattr(question, name) + step))}


def _worked_out(
    bench: GearingContext, question: work.Question, form: QuestionForm, target: TargetForm
) -> Any:
    figures = work.answer(question)
    longer = shorter = None
    if bench.box:
        longer, shorter = work.neighbours(bench.box, question, figures.final_drive_ratio)
    near = _near(bench, question, target) if target.is_asked else []
    return show(
        "gearing/page.html",
        422 if target.errors else 200,
        form=form,
        bench=bench,
        question=question,
        figures=figures,
        target=target,
        near=near,
        near_texts=ratio_texts([option.final_drive_ratio for option, _, _ in near]),
        longer=longer,
        shorter=shorter,
        why_not=work.fit_problems(bench.car, question.pinion, question.spur) if bench.car else [],
    )


def _near(bench: GearingContext, question: work.Question, target: TargetForm) -> list[Any]:
    """The pairs of the box nearest to what is wanted: each with its figures and its step in %."""
    if not bench.box or not target.validate():
        return []
    try:
        ratio = target_ratio(target.kind.data, target.metric_value, question)
        pairs = work.options(bench.box, question.internal)
        nearest = nearest_options(pairs, ratio, NEAREST)
    except ValueError as error:
        target.value.errors = [str(error)]
        return []
    return [
        (option, work.answer(question.model_copy(update=_teeth(option))), step)
        for option, step in nearest
    ]


def _teeth(option: GearOption) -> dict[str, int]:
    return {"pinion": option.pinion_teeth, "spur": option.spur_teeth}


@blueprint.get("/wanted")
@blueprint.get("/wanted/part")
def wanted() -> Any:
    """The wanted gear has been a screen of its own; its addresses lead to the field that it is now."""
    return redirect(_with_figures(request.args.to_dict()), 303)


def _with_figures(figures: dict[str, Any]) -> str:
    """The screen's address with these; whatever they are called, `url_for` must not take them for its own."""
    return "?".join(filter(None, (url_for("gearing.page"), urlencode(figures))))


@blueprint.post("/fit")
@write
def fit(connection: sqlite3.Connection) -> Any:
    car = subject.form_car_needed(connection)
    form = FitForm()
    if not form.validate_on_submit() or not all(
        6 <= teeth <= 200 for teeth in (form.pinion.data, form.spur.data)
    ):
        bench = GearingContext(connection, car)
        wrong = QuestionForm(
            {"pinion": form.pinion._value(), "spur": form.spur._value()}, bench.question
        )
        wrong.question()
        return show("gearing/page.html", 422, form=wrong, bench=bench, target=TargetForm())
    pinion, spur = int(form.pinion.data), int(form.spur.data)
    entry, token = store.fit(connection, car, pinion, spur, now(), present=present())
    sentence = (
        f"Fitted {entry.pinion_teeth} / {entry.spur_teeth}, FDR {entry.final_drive_ratio:.2f}"
    )
    notice(sentence + subject.other_car_note(connection, car), token)
    return after_write("gearing.page")


@blueprint.get("/table")
def table() -> Any:
    bench = _context()
    if bench.car is None or bench.box is None:
        raise NotThere("There is no car yet. Add it under Kit first.")
    fitting = {
        (option.pinion_teeth, option.spur_teeth)
        for option in work.options(bench.box, bench.car.internal_ratio)
    }
    in_use = {*fitting}
    if bench.fitted:
        in_use.add((bench.fitted.pinion_teeth, bench.fitted.spur_teeth))
    return show(
        "gearing/table.html",
        bench=bench,
        fitting=fitting,
        pinions={pinion for pinion, _ in in_use},
        spurs={spur for _, spur in in_use},
        unfit=len(bench.box.pinions) * len(bench.box.spurs) - len(fitting),
    )


@blueprint.get("/log")
def log() -> Any:
    return show("gearing/log.html", **_log())


@blueprint.get("/log/part")
def log_part() -> Any:
    return show_part("gearing/log.html", **_log())


def _log() -> dict[str, Any]:
    connection = get_db()
    car = kit.car_in_use(connection, current_settings())
    before = request.args.get("before", type=int)
    entries, more = split_page(store.log(connection, car.id, LOG_PAGE + 1, before), LOG_PAGE)
    return {
        "car": car,
        "entries": entries,
        "more": more,
        "now_fitted": store.fitted(connection, car.id),
    }


@blueprint.post("/log/<int:fit_id>/remove")
@write
def remove(connection: sqlite3.Connection, fit_id: int) -> Any:
    notice("Deleted from the log", store.take_out(connection, fit_id, now()))
    return after_write("gearing.log", "gearing.log_part")
