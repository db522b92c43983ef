"""The Gearing screens: steppers, wanted, table and log."""

from __future__ import annotations

import json
import re
import sqlite3
from functools import cached_property
from typing import Any

from flask import Blueprint, redirect, request, url_for

from pitapp.db import get_db
from pitapp.db.pages import split_page
from pitapp.errors import NotThere
from pitapp.gearing import answer as work
from pitapp.gearing import store
from pitapp.gearing.forms import NUDGES, FitForm, QuestionForm, TargetForm
from pitapp.gearing.formulas import nearest_options
from pitapp.gearing.target import target_ratio
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.gear_gap import GearGap, gear_gap
from pitapp.kit.models import Car, Motor
from pitapp.web.clock import current_settings, now, present
from pitapp.web.forms.quantities import unit
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("gearing", __name__, url_prefix="/gearing")
NEAREST = 8
LOG_PAGE = 50


class GearingContext:
    """What the gearing screens work on: a car, else the one in use, its motor, its gear, and the box."""

    def __init__(self, connection: sqlite3.Connection, car: Car | None = None) -> None:
        self.car: Car | None = car or kit.current_car(connection, current_settings())
        self.motor: Motor | None = None
        self.fitted: work.GearFit | None = None
        self.box: work.GearBox | None = None
        self.gap: GearGap | None = None
        if self.car:
            if self.car.motor_id:
                self.motor = kit.motor(connection, self.car.motor_id)
            self.fitted = store.fitted(connection, self.car.id)
            pinions, spurs = kit.owned_teeth(connection, self.car.pitch)
            self.box = work.GearBox(tuple(pinions), tuple(spurs), work.limits_of(self.car))
            self.gap = gear_gap(self.car, kit.gears(connection))

    @cached_property
    def question(self) -> work.Question:
        """The question about the gear now in the car."""
        if self.car is None:
            return work.Question()
        return work.for_car(self.car, self.motor, self.fitted, self.box)

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
    if question is None:
        return show("gearing/page.html", 422, form=form, bench=bench)
    if "pair" in request.args or "nudge" in request.args:
        return redirect(url_for("gearing.page", **_moved(request.args.to_dict(), question)), 303)
    return _worked_out(bench, question, form)


def _moved(numbers: dict[str, str], question: work.Question) -> dict[str, Any]:
    """The address after a stepper's button or a neighbouring pair was pressed."""
    pair, nudge = numbers.pop("pair", ""), numbers.pop("nudge", "")
    if match := re.fullmatch(r"(\d{1,3})-(\d{1,3})", pair):
        return numbers | {"pinion": match[1], "spur": match[2]}
    if nudge not in NUDGES:
        return numbers
    name, step = NUDGES[nudge]
    return numbers | {name: max(6, min(200, getattr(question, name) + step))}


def _worked_out(bench: GearingContext, question: work.Question, form: Any) -> Any:
    figures = work.answer(question)
    longer = shorter = None
    if bench.box:
        longer, shorter = work.neighbours(bench.box, question.internal, figures.final_drive_ratio)
    return show(
        "gearing/page.html",
        form=form,
        bench=bench,
        question=question,
        figures=figures,
        longer=longer,
        shorter=shorter,
        why_not=work.fit_problems(bench.car, question.pinion, question.spur) if bench.car else [],
    )


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
        return show("gearing/page.html", 422, form=wrong, bench=bench)
    pinion, spur = int(form.pinion.data), int(form.spur.data)
    entry, token = store.fit(connection, car, pinion, spur, now(), present=present())
    sentence = (
        f"Fitted {entry.pinion_teeth} / {entry.spur_teeth}, FDR {entry.final_drive_ratio:.2f}"
    )
    notice(sentence + subject.other_car_note(connection, car), token)
    return after_write("gearing.page")


@blueprint.get("/wanted")
def wanted() -> Any:
    return show("gearing/wanted.html", **_wanted())


@blueprint.get("/wanted/part")
def wanted_part() -> Any:
    return show_part("gearing/wanted.html", **_wanted())


def _wanted() -> dict[str, Any]:
    bench = _context()
    submitted = "value" in request.args
    form = TargetForm(request.args if submitted else None)
    near: list[Any] = []
    if submitted and bench.car and bench.box and form.validate():
        try:
            target = target_ratio(form.kind.data, form.value.data, bench.question)
            pairs = work.options(bench.box, bench.car.internal_ratio)
            near = nearest_options(pairs, target, NEAREST) if pairs else []
        except ValueError as error:
            form.value.errors = [str(error)]
    rows = [
        (
            option,
            work.answer(
                bench.question.model_copy(
                    update={"pinion": option.pinion_teeth, "spur": option.spur_teeth}
                )
            ),
            step,
        )
        for option, step in near
    ]
    return {"form": form, "bench": bench, "rows": rows, "asked": submitted and not form.errors}


@blueprint.get("/table")
def table() -> Any:
    bench = _context()
    if bench.car is None or bench.box is None:
        raise NotThere("There is no car yet. Add it under Kit first.")
    fitting = {
        (option.pinion_teeth, option.spur_teeth)
        for option in work.options(bench.box, bench.car.internal_ratio)
    }
    return show("gearing/table.html", bench=bench, fitting=fitting)


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
