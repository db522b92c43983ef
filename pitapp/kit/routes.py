"""The Kit screens: cars, motors and the gear box."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, request

from pitapp.db import get_db
from pitapp.errors import ChangedMeanwhile
from pitapp.kit import store
from pitapp.kit.forms import CarForm, GearsForm, MotorForm
from pitapp.kit.leads.routes import blueprint as leads
from pitapp.kit.models import Car, Motor
from pitapp.kit.pitch import pitch_label
from pitapp.kit.scales.routes import blueprint as scales
from pitapp.kit.teeth import teeth_text
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("kit", __name__, url_prefix="/kit")
blueprint.register_blueprint(scales)
blueprint.register_blueprint(leads)


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    return show(
        "kit/page.html",
        cars=store.cars(connection),
        motors=store.motors(connection),
        gears=store.gears(connection),
        current=store.current_car(connection, current_settings()),
    )


@blueprint.post("/cars/<int:car_id>/choose")
@write
def choose(connection: sqlite3.Connection, car_id: int) -> Any:
    notice(f"Now about {store.choose_car(connection, car_id).name}")
    return after_write("kit.page")


@blueprint.get("/cars/new")
def new_car() -> Any:
    return _show_car(get_db(), CarForm())


@blueprint.get("/cars/<int:car_id>")
def car(car_id: int) -> Any:
    item = store.car(get_db(), car_id)
    values = item.model_dump() | {"motor_id": str(item.motor_id or "")}
    return _show_car(get_db(), CarForm(data=values), item)


@blueprint.post("/cars/new")
@blueprint.post("/cars/<int:car_id>")
@write
def save_car(connection: sqlite3.Connection, car_id: int = 0) -> Any:
    item = store.car(connection, car_id) if car_id else None
    form = CarForm()
    form.set_choices(store.motors(connection), item)
    motor_id = form.motor_id.data or ""
    record = form.fill(Car, id=car_id, motor_id=int(motor_id) if motor_id.isdecimal() else None)
    if record and form.new_motor_kv.data is not None:
        record = _with_new_motor(connection, form, record)
    if record is None:
        return _show_car(connection, form, item, 422)
    try:
        saved_id, token = store.save_car(connection, record, now())
    except ChangedMeanwhile as error:
        form.show_conflict(store.car(connection, car_id), str(error))
        return _show_car(connection, form, item, 409)
    if not car_id:
        store.choose_car(connection, saved_id)
    notice(f"Saved {record.name}", token)
    return after_write("kit.page" if car_id else "board.page")


def _with_new_motor(connection: sqlite3.Connection, form: CarForm, record: Car) -> Car | None:
    kv = form.new_motor_kv.data
    try:
        motor = Motor(name=f"{record.name}, {kv:g} rpm/V"[:60], kv_rpm_per_v=kv)
    except ValueError:
        form.new_motor_kv.errors = ["A Kv lies between 50 and 20 000 rpm/V."]
        return None
    motor_id, _ = store.save_motor(connection, motor, now())
    return record.model_copy(update={"motor_id": motor_id})


@blueprint.post("/cars/<int:car_id>/remove")
@write
def remove_car(connection: sqlite3.Connection, car_id: int) -> Any:
    notice("Removed the car", store.remove(connection, "cars", car_id, now()))
    return after_write("kit.page")


@blueprint.get("/motors/new")
def new_motor() -> Any:
    return show("kit/motor.html", form=MotorForm(), item=None)


@blueprint.get("/motors/<int:motor_id>")
def motor(motor_id: int) -> Any:
    item = store.motor(get_db(), motor_id)
    form = MotorForm(data=item.model_dump())
    return show("kit/motor.html", form=form, item=item)


@blueprint.post("/motors/new")
@blueprint.post("/motors/<int:motor_id>")
@write
def save_motor(connection: sqlite3.Connection, motor_id: int = 0) -> Any:
    item = store.motor(connection, motor_id) if motor_id else None
    form = MotorForm()
    record = form.fill(Motor, id=motor_id)
    if record is None:
        return show("kit/motor.html", 422, form=form, item=item)
    try:
        _, token = store.save_motor(connection, record, now())
    except ChangedMeanwhile as error:
        form.show_conflict(store.motor(connection, motor_id), str(error))
        return show("kit/motor.html", 409, form=form, item=item)
    notice(f"Saved {record.name}", token)
    return after_write("kit.page")


@blueprint.post("/motors/<int:motor_id>/remove")
@write
def remove_motor(connection: sqlite3.Connection, motor_id: int) -> Any:
    notice("Removed the motor", store.remove(connection, "motors", motor_id, now()))
    return after_write("kit.page")


@blueprint.get("/gears")
def gears() -> Any:
    return _show_gears(get_db(), None)


@blueprint.get("/gears/part")
def gears_part() -> Any:
    return show_part("kit/gears.html", **_gears(get_db(), None))


@blueprint.post("/gears")
@write
def add_gears(connection: sqlite3.Connection) -> Any:
    form = GearsForm()
    form.set_choices(_pitches(connection))
    if not form.validate_on_submit():
        return _show_gears(connection, form, 422)
    new, token = store.add_gears(
        connection, form.kind.data, form.pitch.data, form.teeth.data, now()
    )
    kind = form.kind.data if len(new) == 1 else f"{form.kind.data}s"
    notice(*((f"Added {len(new)} {kind}", token) if new else ("You had those already", None)))
    return after_write("kit.gears", "kit.gears_part", pitch=form.pitch.data, kind=form.kind.data)


@blueprint.post("/gears/<int:gear_id>/remove")
@write
def remove_gear(connection: sqlite3.Connection, gear_id: int) -> Any:
    gear, token = store.remove_gear(connection, gear_id, now())
    notice(f"Removed the {gear.teeth}-tooth {gear.kind}", token)
    return after_write(
        "kit.gears", "kit.gears_part", pitch=gear.pitch, kind=gear.kind, taking="out"
    )


def _show_car(
    connection: sqlite3.Connection, form: CarForm, item: Car | None = None, status: int = 200
) -> Any:
    form.set_choices(store.motors(connection), item)
    return show("kit/car.html", status, form=form, item=item)


def _pitches(connection: sqlite3.Connection) -> list[str]:
    car = store.current_car(connection, current_settings())
    owned = dict.fromkeys(gear.pitch for gear in store.gears(connection))
    return [*([car.pitch] if car else []), *owned]


def _gears(connection: sqlite3.Connection, form: GearsForm | None) -> dict[str, Any]:
    pitches = _pitches(connection)
    if form is None:
        chosen = {name: request.args[name] for name in ("pitch", "kind") if name in request.args}
        form = GearsForm(formdata=None, data=chosen)
        form.set_choices(pitches)
    box: dict[str, dict[str, list[Any]]] = {}
    for gear in store.gears(connection):
        box.setdefault(pitch_label(gear.pitch), {}).setdefault(gear.kind, []).append(gear)
    return {
        "form": form,
        "box": box,
        "car": store.current_car(connection, current_settings()),
        "teeth_text": teeth_text,
        "taking_out": request.args.get("taking") == "out",
    }


def _show_gears(connection: sqlite3.Connection, form: GearsForm | None, status: int = 200) -> Any:
    return show("kit/gears.html", status, **_gears(connection, form))
