"""The Kit screens: cars, motors and the gear box."""

from __future__ import annotations

import sqlite3
from functools import partial
from typing import Any

from flask import Blueprint, request

from pitapp.db import get_db
from pitapp.kit import store
from pitapp.kit.class_figures import from_class
from pitapp.kit.forms import CarForm, GearsForm, MotorForm
from pitapp.kit.leads.routes import blueprint as leads
from pitapp.kit.models import Car, Motor
from pitapp.kit.pitch import pitch_label
from pitapp.kit.scales.routes import blueprint as scales
from pitapp.kit.teeth import teeth_text
from pitapp.kit.wear.routes import blueprint as wear
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.onward import choose_added, chosen, onward
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("kit", __name__, url_prefix="/kit")
blueprint.register_blueprint(scales)
blueprint.register_blueprint(leads)
blueprint.register_blueprint(wear)


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
    connection = get_db()
    race_class = meetings.latest_class(connection)
    motors = store.motors(connection)
    free = {motor.id for motor in motors} - {each.motor_id for each in store.cars(connection)}
    values = from_class(race_class) | chosen("motor_id")
    if len(motors) == len(free) == 1:
        values.setdefault("motor_id", str(motors[0].id))
    form = CarForm(data=values)
    choose_added(form)
    return _show_car(connection, form, race_class=race_class)


@blueprint.get("/cars/<int:car_id>")
def car(car_id: int) -> Any:
    item = store.car(get_db(), car_id)
    values = item.model_dump() | {"motor_id": str(item.motor_id or "")}
    form = CarForm(data=values)
    choose_added(form)
    return _show_car(get_db(), form, item)


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
    show_again = partial(_show_car, connection)
    saved, (saved_id, token) = save_form(connection, form, item, record, store.save_car, show_again)
    if not car_id:
        store.choose_car(connection, saved_id)
    notice(f"Saved {saved.name}", token)
    endpoint = "kit.page" if car_id else "board.page"
    return onward("car", endpoint, field="car_id", new_id=saved_id)


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
    return _show_motor(MotorForm())


@blueprint.get("/motors/<int:motor_id>")
def motor(motor_id: int) -> Any:
    item = store.motor(get_db(), motor_id)
    return _show_motor(MotorForm(data=item.model_dump()), item)


def _show_motor(form: MotorForm, item: Motor | None = None, status: int = 200) -> Any:
    return show("kit/motor.html", status, form=form, item=item)


@blueprint.post("/motors/new")
@blueprint.post("/motors/<int:motor_id>")
@write
def save_motor(connection: sqlite3.Connection, motor_id: int = 0) -> Any:
    item = store.motor(connection, motor_id) if motor_id else None
    form = MotorForm()
    record, (saved_id, token) = save_form(
        connection, form, item, form.record(motor_id), store.save_motor, _show_motor
    )
    notice(f"Saved {record.name}", token)
    return onward("motor", "kit.page", field="motor_id", new_id=saved_id)


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
    typed = form.typed()
    if typed is None:
        return _show_gears(connection, form, 422)
    new, token = store.add_to_box(connection, form.pitch.data, typed, now())
    counts = [f"{len(new[kind])} {kind}{'' if len(new[kind]) == 1 else 's'}" for kind in new]
    added = f"Added {' and '.join(counts)}", token
    notice(*(added if new else ("You had those already", None)))
    if request.form.get("start"):
        return onward("gears", "kit.gears")
    return after_write("kit.gears", "kit.gears_part", pitch=form.pitch.data)


@blueprint.post("/gears/<int:gear_id>/remove")
@write
def remove_gear(connection: sqlite3.Connection, gear_id: int) -> Any:
    gear, token = store.remove_gear(connection, gear_id, now())
    notice(f"Removed the {gear.teeth}-tooth {gear.kind}", token)
    return after_write(
        "kit.gears", "kit.gears_part", pitch=gear.pitch, kind=gear.kind, taking="out"
    )


def _show_car(
    connection: sqlite3.Connection,
    form: CarForm,
    item: Car | None = None,
    status: int = 200,
    race_class: RaceClass | None = None,
) -> Any:
    form.set_choices(store.motors(connection), item)
    preset = [name for name, value in from_class(race_class).items() if value]
    names = [form[name].label.text.lower() for name in preset]
    return show("kit/car.html", status, form=form, item=item, from_class=", ".join(names))


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
