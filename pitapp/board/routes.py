"""The Board."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from typing import Any

from flask import Blueprint, current_app, redirect, request

from pitapp.board.due import day_at, due, flaggable, log, movable, over_at
from pitapp.board.models import ReadyLine, Situation
from pitapp.board.readiness import lines
from pitapp.board.starting import PUT_AWAY, missing_steps, next_step, place_of
from pitapp.copies import ready as copies
from pitapp.db import get_db, undo
from pitapp.db import settings as stored
from pitapp.gearing import store as gearing
from pitapp.gearing.answer import answer, for_car
from pitapp.kit import store as kit
from pitapp.kit.gear_gap import gear_gap
from pitapp.kit.models import Car
from pitapp.kit.wear import ready as wear
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import CAR_KINDS, Heat, Meeting
from pitapp.packs import ready as packs
from pitapp.web.clock import clock_is_lost, current_settings, home_zone, now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.place import in_browser
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("board", __name__)
blueprint.add_app_template_global(place_of, "start_step")
STORAGE = "/packs"
CLOCK_WENT_BACK = timedelta(minutes=2)


@blueprint.get("/")
def page() -> Any:
    return show("board/page.html", **_board(get_db()))


@blueprint.get("/part")
def part() -> Any:
    return show_part("board/page.html", **_board(get_db()))


@blueprint.get("/start")
def start() -> Any:
    """Go on to the next screen of what is missing behind the step `after`, at the end to the Board."""
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    step = next_step(connection, car, request.args.get("after", ""))
    return redirect(step.href if step else "/", 303)


@blueprint.post("/start")
@write
def put_away(connection: sqlite3.Connection) -> Any:
    """Put the list of what is missing away, or bring it back."""
    back = request.form.get("list") == "back"
    stored.save(connection, PUT_AWAY, None if back else "away")
    notice("Getting started is on the Board" if back else "Put away. Settings brings it back")
    return after_write("board.page")


def _board(connection: sqlite3.Connection) -> dict[str, Any]:
    car = kit.current_car(connection, current_settings())
    meeting = meetings.current_meeting(connection, now())
    values: dict[str, Any] = {"car": car, "meeting": meeting, "now": now()}
    values["clock_lost"] = clock_is_lost()
    if PUT_AWAY not in current_settings():
        values["missing"] = missing_steps(connection, car)
    newest = undo.newest_at(connection)
    if newest and newest - now() > CLOCK_WENT_BACK:
        values["ahead"] = newest
    if in_browser():
        values["copy"] = copies.line(connection, current_app.config["PITAPP_DATA_DIR"])
    if car is not None:
        values |= (
            _at(connection, car, meeting, values.get("copy"))
            if meeting
            else _at_home(connection, car)
        )
    if not values.get("lines"):
        values["alert"] = packs.alert(connection, now()) or (car and wear.line(connection, car))
    return values


def _at_home(connection: sqlite3.Connection, car: Car) -> dict[str, Any]:
    fitted = gearing.fitted(connection, car.id)
    motor = kit.motor(connection, car.motor_id) if car.motor_id else None
    return {
        "fitted": fitted,
        "figures": answer(for_car(car, motor, fitted)) if fitted else None,
        "following": meetings.following_meeting(connection, now().astimezone(home_zone()).date()),
        "gap": gear_gap(car, kit.gears(connection)),
    }


def _at(
    connection: sqlite3.Connection, car: Car, meeting: Meeting, copy: ReadyLine | None
) -> dict[str, Any]:
    heats = meetings.heats(connection, meeting.id)
    day = day_at(heats, now())
    race_class = meetings.class_raced(connection, meeting, car.id)
    situation = Situation(
        car=car,
        now=now(),
        meeting=meeting,
        race_class=race_class,
        heat=day.outing,
    )
    ready = lines(connection, situation) if not day.over else []
    first = next(iter(day.coming), None)
    return {
        "day": day,
        "first": first,
        "movable": movable(day, now()),
        "flag": flaggable(day, now()),
        "coming": [_for_the_countdown(heat, meeting) for heat in day.coming],
        "lines": [*(line for _, line in ready), *filter(None, [wear.line(connection, car)])],
        "due": due(
            day,
            ready,
            now(),
            STORAGE if packs.storage_open(connection) else None,
            copy.href if copy and copy.level == "look" else None,
        ),
        "plan": None if day.over else packs.plan_line(connection, meeting, now()),
        "copy": copy if day.over else None,
        "other_car": kit.car(connection, meeting.car_id)
        if meeting.car_id and not meeting.is_for(car.id)
        else None,
        "race_class": race_class,
        "try_line": _try_line(connection, heats),
        "away": bool(
            first
            and first.starts_at.astimezone(meeting.zone).utcoffset()
            != first.starts_at.astimezone(home_zone()).utcoffset()
        ),
    }


def _try_line(connection: sqlite3.Connection, heats: list[Heat]) -> Any:
    """What to try while practices are left; the drive model is loaded only then."""
    if not any(heat.kind == "practice" and heat.done_at is None for heat in heats):
        return None
    from pitapp.drive.ready import try_line

    return try_line(connection, current_settings(), now())


def _for_the_countdown(heat: Heat, meeting: Meeting) -> dict[str, Any]:
    """What `static/js/countdown.js` needs to go on to this entry with no server."""
    return {
        "starts": heat.epoch_s,
        "over": int(over_at(heat).timestamp()),
        "title": heat.title,
        "clock": clock_text(meeting, heat.starts_at),
        "href": f"/meetings/heats/{heat.id}",
        "flag": f"/meetings/heats/{heat.id}/flag" if heat.kind in CAR_KINDS else None,
        "log": log(heat).model_dump() if heat.kind in CAR_KINDS else None,
    }
