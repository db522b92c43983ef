"""The screens of the parked car."""

from __future__ import annotations

import sqlite3
from typing import Any, NamedTuple

from flask import Blueprint, request

from pitapp.db import get_db
from pitapp.db.pages import split_page
from pitapp.errors import Refused
from pitapp.gearing import store as gearing
from pitapp.gearing.answer import GearFit
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.class_figures import with_class_figures
from pitapp.kit.models import Car, Motor
from pitapp.roll import store
from pitapp.roll.answer import SECONDS, Creep, HoldResult, creep, hold, parking_verdict
from pitapp.roll.forms import ParkingForm, TiltForm
from pitapp.roll.models import Parking, TiltTest
from pitapp.web.clock import current_settings, is_late, now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("roll", __name__, url_prefix="/roll")
PAGE_LENGTH = 50


class ParkedCar(NamedTuple):
    """The car with what is in it now."""

    car: Car
    motor: Motor | None
    fit: GearFit | None
    test: TiltTest | None
    class_mass_g: float | None = None

    @property
    def mass_g(self) -> float | None:
        """Its weight as it was weighed, else the least that its class allows."""
        return self.weighed_g or self.class_mass_g

    @property
    def weighed_g(self) -> float | None:
        """Its weight on record, else that of the tilt test."""
        return self.car.mass_g or (self.test.mass_g if self.test else None)


def _parked(connection: sqlite3.Connection) -> ParkedCar | None:
    car = kit.current_car(connection, current_settings())
    return _with(connection, car) if car else None


def _with(connection: sqlite3.Connection, car: Car) -> ParkedCar:
    motor = kit.motor(connection, car.motor_id) if car.motor_id else None
    fit, test = gearing.fitted(connection, car.id), store.latest_test(connection, car.id)
    least_g = with_class_figures(connection, car, now()).mass_g
    return ParkedCar(car, motor, fit, test, least_g)


@blueprint.get("")
def page() -> Any:
    return show("roll/page.html", **_values(get_db()))


@blueprint.get("/part")
def part() -> Any:
    return show_part("roll/page.html", **_values(get_db()))


def _values(connection: sqlite3.Connection) -> dict[str, Any]:
    parked = _parked(connection)
    return {"parked": None} if parked is None else _parking_values(connection, parked)


def _parking_values(
    connection: sqlite3.Connection, parked: ParkedCar, form: ParkingForm | None = None
) -> dict[str, Any]:
    parking = store.parking(connection, parked.car.id)
    form = form or ParkingForm(formdata=None, data=parking.model_dump())
    result, wrong = _hold(parked)
    rolled: Creep | None = None
    if parked.fit and parked.motor and parked.mass_g:
        try:
            rolled = creep(parked.mass_g, parked.motor, parked.fit, parking)
        except ValueError as error:
            wrong = wrong or str(error)
    return {
        "parked": parked,
        "form": form,
        "standing": parking,
        "hold": result,
        "stays": parking_verdict(result, parking.slope_deg),
        "creep": rolled,
        "seconds": SECONDS,
        "wrong": wrong,
    }


def _hold(parked: ParkedCar) -> tuple[HoldResult | None, str]:
    """What the last tilt test says, or why it says nothing."""
    if parked.test is None or parked.fit is None:
        return None, ""
    try:
        return hold(parked.car, parked.motor, parked.fit, parked.test), ""
    except ValueError as error:
        return None, str(error)


@blueprint.post("")
@write
def stand(connection: sqlite3.Connection) -> Any:
    parked = _of_form(connection)
    form = ParkingForm()
    if form.validate_on_submit():
        form.nudge(request.form.get("nudge", ""))
    item = form.fill(Parking, car_id=parked.car.id)
    if item is None:
        return show("roll/page.html", 422, **_parking_values(connection, parked, form))
    store.save_parking(connection, item)
    if note := subject.other_car_note(connection, parked.car):
        notice(f"Saved{note}")
    return after_write("roll.page", "roll.part")


@blueprint.get("/test")
def new_test() -> Any:
    parked = _wanted(get_db())
    return _show_test(TiltForm(data={"mass_g": parked.mass_g}), parked)


@blueprint.post("/test")
@write
def add_test(connection: sqlite3.Connection) -> Any:
    parked = _of_form(connection)
    form = TiltForm()
    fit = parked.fit
    if fit is None:
        raise Refused("Fit a gear first: what holds the car depends on it.")
    item = form.fill(
        TiltTest,
        car_id=parked.car.id,
        motor_id=parked.motor.id if parked.motor else None,
        tested_at=now(),
        tyre_diameter_mm=fit.tyre_diameter_mm,
        pinion_teeth=fit.pinion_teeth,
        spur_teeth=fit.spur_teeth,
        internal_ratio=fit.internal_ratio,
        kv_rpm_per_v=parked.motor.kv_rpm_per_v if parked.motor else None,
    )
    if item is not None:
        try:
            hold(parked.car, parked.motor, fit, item)
        except ValueError as error:
            form.angle_deg.errors = [str(error)]
            item = None
    if item is None:
        return _show_test(form, parked, 422)
    sentence = f"Tilt test at {item.angle_deg:.1f}°{subject.other_car_note(connection, parked.car)}"
    notice(sentence, store.add_test(connection, item, now()))
    return after_write("roll.page")


@blueprint.get("/tests")
def tests() -> Any:
    connection = get_db()
    parked = _wanted(connection)
    before = request.args.get("before", type=int)
    rows = store.tilt_tests(connection, parked.car.id, limit=PAGE_LENGTH + 1, before=before)
    listed, older = split_page(rows, PAGE_LENGTH)
    return show(
        "roll/tests.html",
        parked=parked,
        tests=listed,
        older=older,
    )


@blueprint.post("/tests/<int:test_id>/remove")
@write
def remove_test(connection: sqlite3.Connection, test_id: int) -> Any:
    notice("Removed the tilt test", store.remove_test(connection, test_id, now()))
    return after_write("roll.tests")


def _wanted(connection: sqlite3.Connection) -> ParkedCar:
    parked = _parked(connection)
    if parked is None:
        raise Refused("Add your car first.")
    return parked


def _of_form(connection: sqlite3.Connection) -> ParkedCar:
    """The car that the form is about, with the motor that it names and the gear of its moment."""
    car = subject.form_car(connection)
    if car is None:
        raise Refused("Add your car first.")
    parked = _with(connection, car)
    if is_late() and (then := gearing.fitted(connection, car.id, now())):
        parked = parked._replace(fit=then)
    named = request.form.get("motor_id", type=int)
    return parked._replace(motor=kit.motor(connection, named)) if named else parked


def _show_test(form: TiltForm, parked: ParkedCar, status: int = 200) -> Any:
    return show("roll/test.html", status, form=form, parked=parked)
