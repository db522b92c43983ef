"""The screens that listen. They alone may use the microphone."""

from __future__ import annotations

import sqlite3
from statistics import mean
from typing import Any

from flask import Blueprint, Response, request

from pitapp.bench import store as bench
from pitapp.bench.models import MotorCheck
from pitapp.checks.context import run_context
from pitapp.db import get_db
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.kit.subject import form_car_needed, other_car_note
from pitapp.sound import store
from pitapp.sound.forms import BenchForm, ComparisonForm, LimitForm
from pitapp.sound.models import Comparison, RevCheck
from pitapp.sound.passing import blueprint as passing
from pitapp.web.clock import current_settings, now
from pitapp.web.http.headers import with_microphone
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("sound", __name__, url_prefix="/sound")
blueprint.register_blueprint(passing)


@blueprint.after_request
def open_microphone(response: Response) -> Response:
    """Let these pages, and no others, ask for the microphone."""
    return with_microphone(response)


@blueprint.context_processor
def own_error() -> dict[str, Any]:
    """What the racer's own comparisons say of the phone's ear."""
    own = store.comparisons(get_db())
    return {
        "comparisons": own,
        "mean_off_percent": mean(each.off_percent for each in own) if own else None,
    }


@blueprint.get("")
def page() -> Any:
    return show("sound/page.html", form=ComparisonForm(formdata=None))


@blueprint.post("/comparisons")
@write
def compare(connection: sqlite3.Connection) -> Any:
    form = ComparisonForm()
    item = form.fill(Comparison, compared_at=now())
    if item is None:
        return show("sound/page.html", 422, form=form)
    notice("Noted the comparison", store.add_comparison(connection, item, now()))
    return after_write("sound.page")


@blueprint.post("/comparisons/<int:comparison_id>/remove")
@write
def remove_comparison(connection: sqlite3.Connection, comparison_id: int) -> Any:
    notice("Removed the comparison", store.remove_comparison(connection, comparison_id, now()))
    return after_write("sound.page")


@blueprint.get("/bench")
def bench_page() -> Any:
    connection = get_db()
    own = _motor(connection, request.args.get("motor", type=int))
    last = next(iter(bench.checks(connection, own.id, limit=1)), None) if own else None
    form = BenchForm(formdata=None, data={"volts": last.volts if last else None})
    return show("sound/bench.html", form=form, motor=own)


@blueprint.post("/motors/<int:motor_id>/check")
@write
def save_bench(connection: sqlite3.Connection, motor_id: int) -> Any:
    own = kit.motor(connection, motor_id)
    form = BenchForm()
    record = form.fill(MotorCheck, motor_id=own.id, checked_at=now())
    if record is None:
        return show("sound/bench.html", 422, form=form, motor=own)
    check_id, token = bench.save_check(connection, record, now())
    notice("Saved the check", token)
    return after_write("bench.check", "bench.check_part", check_id=check_id)


@blueprint.get("/limit")
def limit_page() -> Any:
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    form = LimitForm(formdata=None, data={"limit_rpm": _limit_rpm(connection, car)})
    return _show_limit(connection, car, form)


@blueprint.post("/limit")
@write
def save_limit(connection: sqlite3.Connection) -> Any:
    car = form_car_needed(connection)
    form = LimitForm()
    item = form.fill(RevCheck, car_id=car.id, motor_id=car.motor_id, checked_at=now())
    if item is None:
        return _show_limit(connection, car, form, 422)
    notice(
        f"Saved as your own check{other_car_note(connection, car)}",
        store.add_rev_check(connection, item, now()),
    )
    return after_write("checks.card.page")


@blueprint.post("/limit/<int:rev_check_id>/remove")
@write
def remove_limit(connection: sqlite3.Connection, rev_check_id: int) -> Any:
    notice("Removed your own check", store.remove_rev_check(connection, rev_check_id, now()))
    return after_write("sound.limit_page")


def _show_limit(
    connection: sqlite3.Connection, car: Car | None, form: LimitForm, status: int = 200
) -> Any:
    fit = gearing.fitted(connection, car.id) if car else None
    return show(
        "sound/limit.html",
        status,
        form=form,
        car=car,
        pinion=fit.pinion_teeth if fit else None,
        checks=store.rev_checks(connection, car.id) if car else [],
    )


def _limit_rpm(connection: sqlite3.Connection, car: Car | None) -> float | None:
    """The class's rev limit, else the one that the car has on record."""
    asked = run_context(connection, now()).limits.get("rev_limit")
    if asked is not None and asked.most is not None:
        return asked.most
    return car.rev_limit_rpm if car else None


def _motor(connection: sqlite3.Connection, motor_id: int | None) -> Motor | None:
    """The motor asked for, else that of the car in use, else the first on record."""
    if motor_id is not None:
        return kit.motor(connection, motor_id)
    car = kit.current_car(connection, current_settings())
    if car is not None and car.motor_id is not None:
        return kit.motor(connection, car.motor_id)
    return next(iter(kit.motors(connection)), None)
