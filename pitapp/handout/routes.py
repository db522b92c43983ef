"""The screens that hand something out, and those that take it."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Mapping
from typing import Any, TypeVar
from urllib.parse import urlsplit

from flask import Blueprint, Response, request, url_for

from pitapp.db import get_db
from pitapp.devices.addresses import qr_svg
from pitapp.devices.sharing import for_others
from pitapp.errors import BadRequest
from pitapp.gearing import answer as gears
from pitapp.gearing import store as gearing
from pitapp.handout import facts, giving, link, taking
from pitapp.handout.forms import ChoiceForm, LinkForm
from pitapp.handout.models import HandOut, Timetable
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.class_figures import with_class_figures
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track
from pitapp.web.clock import current_settings, now
from pitapp.web.forms.quantities import plain
from pitapp.web.http.htmx import after_write, show
from pitapp.web.place import address_of
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("handout", __name__, url_prefix="/handout")
Part = TypeVar("Part", RaceClass, Track, Timetable)
MOST_IN_A_SQUARE = 1000
"""Characters of a link that a phone still reads off a screen with ease: our choice."""


@blueprint.get("/classes/<int:class_id>")
def race_class(class_id: int) -> Any:
    return _give(giving.of_class(meetings.race_class(get_db(), class_id)))


@blueprint.get("/tracks/<int:track_id>")
def track(track_id: int) -> Any:
    return _give(giving.of_track(tracks.track(get_db(), track_id)))


@blueprint.get("/meetings/<int:meeting_id>")
def meeting(meeting_id: int) -> Any:
    return _give(giving.of_meeting(get_db(), meetings.meeting(get_db(), meeting_id)))


@blueprint.get("/setup")
def setup() -> Any:
    car = kit.car_in_use(get_db(), current_settings())
    return _give(giving.of_setup(get_db(), car))


@blueprint.get("/gear")
def gear() -> Any:
    """Hand out the gear of the address, over what the car in use has."""
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    try:
        question = giving.gear_asked(request.args, _gear_now(connection, car))
        handed = giving.of_gear(question, car)
    except ValueError:
        raise BadRequest("These are no numbers of a gear. Go back and mend them.") from None
    asked = {name: request.args[name] for name in giving.GEAR_NUMBERS if name in request.args}
    return _give(handed, asked)


def _gear_now(connection: sqlite3.Connection, car: Car | None) -> gears.Question:
    if car is None:
        return gears.Question()
    motor = kit.motor(connection, car.motor_id) if car.motor_id else None
    known = with_class_figures(connection, car, now())
    return gears.for_car(known, motor, gearing.fitted(connection, car.id))


def _give(handed: HandOut, asked: Mapping[str, str] | None = None) -> Any:
    """The page that hands something out, or the file; `asked` is what the address says of it."""
    start, reached = for_others(address_of("/handout/take"))
    whole = f"{start}#{link.packed(handed)}"
    title = facts.title(handed)
    if "file" in request.args:
        name = re.sub(r"[^A-Za-z0-9]+", "-", title).strip("-")[:40] or "handed-out"
        answer = Response(f"{whole}\n", mimetype="text/plain")
        answer.headers["Content-Disposition"] = f'attachment; filename="pitapp-{name}.txt"'
        return answer
    numbers: dict[str, Any] = {**(asked or {}), **(request.view_args or {})}
    return show(
        "handout/give.html",
        sections=facts.sections(handed),
        title=title,
        link=whole,
        reached=reached,
        host=urlsplit(start).netloc,
        square=qr_svg(whole) if len(whole) <= MOST_IN_A_SQUARE else None,
        as_file=url_for(request.endpoint or "", **numbers, file="yes"),
    )


@blueprint.get("/take")
def take_page() -> Any:
    return show("handout/take.html", form=LinkForm(formdata=None))


@blueprint.post("/take")
def look() -> Any:
    """Show what a link holds; nothing is written."""
    form = LinkForm()
    handed = form.read()
    if handed is None:
        return show("handout/take.html", 422, form=form)
    here = taking.counterparts(get_db(), handed)
    return _look(get_db(), handed, here, _choices(handed, here), 200)


@blueprint.post("/taken")
@write
def take(connection: sqlite3.Connection) -> Any:
    form = LinkForm()
    handed = form.read()
    if handed is None:
        return show("handout/take.html", 422, form=form)
    car = subject.form_car(connection)
    here = taking.counterparts(connection, handed)
    choices = _choices(handed, here)
    status = choices.outdated(taking.seen(here))
    if status:
        return _look(connection, handed, here, choices, status)
    chosen = choices.chosen()
    if chosen is None:
        return _look(connection, handed, here, choices, 422)
    taken, token = taking.take(connection, handed, chosen, car, now())
    notice(f"Took {', '.join(taken)}" if taken else "Took nothing", token or None)
    return after_write("runs.setup.page" if handed.setup else "board.page")


def _choices(handed: HandOut, here: taking.Counterparts) -> ChoiceForm:
    form = ChoiceForm()
    form.ask_about(handed.parts, here.parts, taking.same(handed, here))
    return form


def _look(
    connection: sqlite3.Connection,
    handed: HandOut,
    here: taking.Counterparts,
    choices: ChoiceForm,
    status: int,
) -> Any:
    car = kit.current_car(connection, current_settings())
    choices.link.data = link.packed(handed)
    choices.show_seen(taking.seen(here))
    return show(
        "handout/look.html",
        status,
        sections=facts.sections(handed),
        differences=_differences(handed, here),
        same=taking.same(handed, here),
        gear=_in_gearing(handed.gear.gear) if handed.gear else None,
        form=choices,
        asked=[name for name in choices.asked if car is not None or name != "setup"],
        car=car,
    )


def _in_gearing(gear: gears.Question) -> str:
    """The address at which the gearing screen works this gear out."""
    figures = gear.model_dump(exclude={"pitch"}, exclude_none=True)
    numbers: dict[str, Any] = {name: plain(each) for name, each in figures.items()}
    kind, _, value = (gear.pitch or "").partition(":")
    if kind:
        numbers["pitch_dp" if kind == "dp" else "module"] = value
    return url_for("gearing.page", **numbers)


def _differences(handed: HandOut, here: taking.Counterparts) -> dict[str, list[facts.Difference]]:
    """What is not the same on both sides, of each part that is here too."""
    unlike = {}
    if handed.race_class and here.race_class:
        unlike["race_class"] = _unlike(here.race_class, handed.race_class, facts.of_class)
    if handed.track and here.track:
        unlike["track"] = _unlike(here.track, handed.track, facts.of_track)
    if handed.timetable and here.timetable:
        unlike["timetable"] = _unlike(here.timetable, handed.timetable, facts.of_timetable)
    return unlike


def _unlike(
    here: Part, there: Part, lines: Callable[[Part], tuple[facts.Fact, ...]]
) -> list[facts.Difference]:
    return facts.differences(
        (facts.Fact("Name", here.name), *lines(here)),
        (facts.Fact("Name", there.name), *lines(there)),
    )
