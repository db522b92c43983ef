"""The screen that hears a car pass: its top speed, for a run."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from datetime import timedelta
from typing import Any

from flask import Blueprint, request
from wtforms import ValidationError

from pitapp.checks.context import run_context
from pitapp.db import get_db
from pitapp.errors import NotThere
from pitapp.gearing import store as gearing
from pitapp.gearing.formulas import rollout_mm
from pitapp.kit import store as kit
from pitapp.kit.class_figures import with_class_figures
from pitapp.kit.models import Car
from pitapp.kit.subject import form_car_needed
from pitapp.runs import store as runs
from pitapp.runs.fields import IdField
from pitapp.runs.models import Run
from pitapp.web.clock import current_settings, home_zone, is_late, now, zone
from pitapp.web.forms.fields import Needed, NumberField, QuantityField
from pitapp.web.forms.form_errors import PitForm
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("passing", __name__, url_prefix="/passing")

MOST_RUNS = 8
SAME_DAY = timedelta(hours=14)
AIR_FRESH = timedelta(hours=3)
USUAL_V = 7.4
"""Where no pack is on record: two cells in series, by their label."""
FULL = 4.2 / 3.7
"""A full cell's volts by those on its label."""


class PassingForm(PitForm):
    """The speed of the car as it passed, the run that it was in, and what listening needs to know."""

    air_c = QuantityField("Air", kind="temperature")
    rollout_mm = NumberField("Rollout", unit="mm")
    limit_rpm = NumberField("Rev limit", unit="rpm")
    top_speed_kmh = QuantityField("Top speed", [Needed("Listen, or type the speed.")], kind="speed")
    top_speed_spread_kmh = QuantityField("Top speed ±", kind="speed")
    run_id = IdField("In which run?")

    def validate_run_id(self, field: IdField) -> None:
        """What waited on a phone cannot go on to a run that is yet to be logged."""
        if field.data is None and is_late():
            raise ValidationError("Choose the run. Log it first if it is not in the list.")


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    run_id = request.args.get("run", type=int)
    if run_id is None:
        car, chosen = kit.current_car(connection, current_settings()), {}
    else:
        car, chosen = kit.car(connection, runs.run(connection, run_id).car_id), {"run_id": run_id}
    values = _values(connection, car) | chosen
    return _show(connection, car, PassingForm(formdata=None, data=values))


@blueprint.post("")
@write
def save(connection: sqlite3.Connection) -> Any:
    car = form_car_needed(connection)
    form = PassingForm()
    _set_runs(connection, car, form)
    if not form.validate_on_submit():
        return _show(connection, car, form, 422)
    heard: dict[str, Any] = {
        "top_speed_kmh": form.top_speed_kmh.data,
        "top_speed_spread_kmh": form.top_speed_spread_kmh.data,
    }
    if form.run_id.data is None:
        return after_write("runs.new", None, car=car.id, **heard)
    run = runs.run(connection, form.run_id.data)
    if run.air_c is None:
        heard["air_c"] = form.air_c.data
    changed = form.fill(Run, **(run.model_dump() | {"snapshot": run.snapshot} | heard))
    if changed is None:
        return _show(connection, car, form, 422)
    _, token = runs.save_run(connection, changed, now())
    notice("Saved the top speed with its run", token)
    return after_write("runs.run", run_id=run.id)


def _values(connection: sqlite3.Connection, car: Car | None) -> dict[str, Any]:
    """What is on record of the car, its gear, its class and the air."""
    if car is None:
        return {}
    fit = gearing.fitted(connection, car.id)
    asked = run_context(connection, now()).limits.get("rev_limit")
    last = next(iter(_runs(connection, car)), None)
    age = now() - last.started_at if last else None
    return {
        "rollout_mm": round(rollout_mm(car.tyre_diameter_mm, fit.final_drive_ratio), 2)
        if fit
        else None,
        "limit_rpm": asked.most if asked and asked.most is not None else car.rev_limit_rpm,
        "air_c": last.air_c if last and age is not None and age < AIR_FRESH else None,
        "run_id": last.id if last and age is not None and age < SAME_DAY else None,
    }


def _runs(connection: sqlite3.Connection, car: Car) -> list[Run]:
    return runs.runs(connection, car_id=car.id, limit=MOST_RUNS, with_lists=False)


def _set_runs(connection: sqlite3.Connection, car: Car, form: PassingForm) -> None:
    """Offer the car's newest runs, and the one that a form names."""
    listed = _runs(connection, car)
    if form.run_id.data is not None and form.run_id.data not in {run.id for run in listed}:
        with suppress(NotThere):
            listed.append(runs.run(connection, form.run_id.data))
    form.run_id.set_choices(
        [(run.id, _title(run)) for run in listed if run.car_id == car.id], "One not logged yet"
    )


def _title(run: Run) -> str:
    local = run.started_at.astimezone(zone(run.time_zone) if run.time_zone else home_zone())
    gear = f", {run.pinion_teeth}/{run.spur_teeth}" if run.pinion_teeth and run.spur_teeth else ""
    return f"{local:%a} {local.day} {local:%b, %H:%M}{gear}"


def _free_rpm(connection: sqlite3.Connection, car: Car) -> float | None:
    """The most that the motor can turn by its Kv."""
    if car.motor_id is None:
        return None
    volts = (with_class_figures(connection, car, now()).pack_v or USUAL_V) * FULL
    return kit.motor(connection, car.motor_id).kv_rpm_per_v * volts


def _show(
    connection: sqlite3.Connection, car: Car | None, form: PassingForm, status: int = 200
) -> Any:
    fit = gearing.fitted(connection, car.id) if car else None
    if car:
        _set_runs(connection, car, form)
    return show(
        "sound/passing.html",
        status,
        form=form,
        car=car,
        pinion=fit.pinion_teeth if fit else None,
        free_rpm=_free_rpm(connection, car) if car else None,
    )
