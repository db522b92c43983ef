"""The Bench screens: every motor at a glance, one motor over time, one check."""

from __future__ import annotations

import sqlite3
from functools import partial
from typing import Any

from flask import Blueprint, request

from pitapp.bench import store
from pitapp.bench.forms import CheckForm
from pitapp.bench.history import plots
from pitapp.bench.models import MotorCheck
from pitapp.bench.takeover import measured_values, with_measured_value
from pitapp.bench.verdicts import change_since, findings
from pitapp.db import get_db
from pitapp.db.pages import split_page
from pitapp.errors import BadRequest
from pitapp.kit import store as kit
from pitapp.kit.models import Motor
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.web.clock import current_settings, home_zone, now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("bench", __name__, url_prefix="/bench")
PAGE = 50
PLOTTED = 100


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    latest, new = store.latest_checks(connection), store.checks_when_new(connection)
    rows = [
        (motor, last, change_since(last, first) if last and first and first != last else None)
        for motor in kit.motors(connection)
        for last, first in ((latest.get(motor.id), new.get(motor.id)),)
    ]
    rows.sort(key=lambda row: car is None or row[0].id != car.motor_id)
    return show("bench/page.html", rows=rows, car=car)


@blueprint.get("/motors/<int:motor_id>")
def motor(motor_id: int) -> Any:
    return show("bench/motor.html", **_motor(get_db(), motor_id))


@blueprint.get("/motors/<int:motor_id>/part")
def motor_part(motor_id: int) -> Any:
    return show_part("bench/motor.html", **_motor(get_db(), motor_id))


def _motor(connection: sqlite3.Connection, motor_id: int) -> dict[str, Any]:
    before = request.args.get("before", type=int)
    checks, more = split_page(
        store.checks(connection, motor_id, limit=PAGE + 1, before=before), PAGE
    )
    values: dict[str, Any] = {
        "motor": kit.motor(connection, motor_id),
        "checks": checks,
        "more": more,
        "older": before is not None,
    }
    if not checks or values["older"]:
        return values
    latest = _check_values(connection, checks[0], values["motor"])
    history = store.checks(connection, motor_id, limit=PLOTTED)
    return values | latest | {"plots": plots(history, latest["new"], home_zone())}


@blueprint.get("/checks/<int:check_id>")
def check(check_id: int) -> Any:
    return show("bench/check.html", **_check(get_db(), check_id))


@blueprint.get("/checks/<int:check_id>/part")
def check_part(check_id: int) -> Any:
    return show_part("bench/check.html", **_check(get_db(), check_id))


def _check(connection: sqlite3.Connection, check_id: int) -> dict[str, Any]:
    item = store.check(connection, check_id)
    return _check_values(connection, item, kit.motor(connection, item.motor_id))


def _check_values(connection: sqlite3.Connection, item: MotorCheck, own: Motor) -> dict[str, Any]:
    """A check with all that is to be said about it."""
    new = store.check_when_new(connection, item)
    latest = store.latest_checks(connection)
    others = [
        (other, latest[other.id])
        for other in kit.motors(connection)
        if other.id in latest and other.id != own.id
    ]
    race_class = _class_of(connection, own)
    compared = new is not None and new.id != item.id
    return {
        "item": item,
        "motor": own,
        "new": new if compared else None,
        "change": change_since(item, new) if new is not None and compared else None,
        "race_class": race_class,
        "findings": findings(item, own, new, race_class, others),
        "offers": measured_values(item, own),
    }


def _class_of(connection: sqlite3.Connection, own: Motor) -> RaceClass | None:
    """The class of the car that the motor is in; of several, the meeting's own car."""
    meeting = meetings.current_meeting(connection, now())
    cars = [car.id for car in kit.cars(connection) if car.motor_id == own.id]
    mine = [each for each in cars if meeting and meeting.car_id == each]
    return meetings.class_raced(connection, meeting, next(iter([*mine, *cars]), None))


@blueprint.get("/motors/<int:motor_id>/new")
def new_check(motor_id: int) -> Any:
    form = CheckForm(data={"checked_at": now()})
    return _show_form(kit.motor(get_db(), motor_id), form)


@blueprint.get("/checks/<int:check_id>/change")
def change_check(check_id: int) -> Any:
    item = store.check(get_db(), check_id)
    return _show_form(kit.motor(get_db(), item.motor_id), CheckForm(data=item.model_dump()), item)


def _show_form(
    own: Motor, form: CheckForm, item: MotorCheck | None = None, status: int = 200
) -> Any:
    last = None if item else next(iter(store.checks(get_db(), own.id, limit=1)), None)
    return show("bench/form.html", status, form=form, motor=own, item=item, last=last)


@blueprint.post("/motors/<int:motor_id>/new")
@write
def add_check(connection: sqlite3.Connection, motor_id: int) -> Any:
    return _save(connection, kit.motor(connection, motor_id))


@blueprint.post("/checks/<int:check_id>/change")
@write
def save_check(connection: sqlite3.Connection, check_id: int) -> Any:
    item = store.check(connection, check_id)
    return _save(connection, kit.motor(connection, item.motor_id), item)


def _save(connection: sqlite3.Connection, own: Motor, item: MotorCheck | None = None) -> Any:
    form = CheckForm()
    record = form.fill(MotorCheck, id=item.id if item else 0, motor_id=own.id)
    show_again = partial(_show_form, own)
    _, (saved_id, token) = save_form(connection, form, item, record, store.save_check, show_again)
    notice("Saved the check", token)
    return after_write("bench.check", "bench.check_part", check_id=saved_id)


@blueprint.post("/checks/<int:check_id>/take-over")
@write
def take_over(connection: sqlite3.Connection, check_id: int) -> Any:
    item = store.check(connection, check_id)
    own = kit.motor(connection, item.motor_id)
    offer = next(
        (o for o in measured_values(item, own) if o.name == request.form.get("what")), None
    )
    if offer is None:
        raise BadRequest("There is nothing of that name to take over from this check.")
    _, token = kit.save_motor(connection, with_measured_value(own, offer), now())
    notice(f"{offer.label} of {own.name} is now {offer.text(offer.measured)}", token)
    return after_write("bench.check", "bench.check_part", check_id=check_id)


@blueprint.post("/checks/<int:check_id>/remove")
@write
def remove_check(connection: sqlite3.Connection, check_id: int) -> Any:
    motor_id, token = store.remove_check(connection, check_id, now())
    notice("Removed the check", token)
    return after_write("bench.motor", motor_id=motor_id)
