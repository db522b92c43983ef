"""The screens of the controllers."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any

from flask import Blueprint, request

from pitapp.checks.context import run_context
from pitapp.checks.controllers import store
from pitapp.checks.controllers.first_plan import plan_fields, with_plan
from pitapp.checks.controllers.forms import ControllerForm
from pitapp.checks.controllers.profiles.routes import blueprint as profiles
from pitapp.checks.lists import store as lists
from pitapp.checks.lists.plan import PlanField
from pitapp.checks.models import Controller
from pitapp.checks.scope import offered
from pitapp.db import get_db, undo
from pitapp.errors import NotThere
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.meetings.classes import store as classes
from pitapp.meetings.models import RaceClass
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.onward import onward
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("controllers", __name__, url_prefix="/controllers")
blueprint.register_blueprint(profiles)


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    return show(
        "checks/controllers.html",
        controllers=store.controllers(connection),
        cars=store.cars_of(connection),
    )


@blueprint.get("/new")
def new() -> Any:
    connection = get_db()
    car = _car(connection)
    form = ControllerForm(data={"name": f"Controller in {car.name}"[:60] if car else ""})
    return _show_new(connection, form, car)


@blueprint.post("/new")
@write
def add(connection: sqlite3.Connection) -> Any:
    car, form = subject.form_car(connection), ControllerForm()
    item = form.fill(Controller, version=1)
    planned = plan_fields(_class(connection, car), request.form)
    motor = _motor(form, car)
    if item is None or form.motor_kv.errors or any(each.errors for each in planned):
        return _show_new(connection, form, car, planned, 422)
    own = with_plan(planned) if form.starting_list.data else ()
    with undo.step(connection, f"Added {item.name}", now()) as step:
        new_id = store.add_in(
            connection, step, item, own, car.id if car and form.fit.data else None, now()
        )
        if motor and not (car and car.motor_id):
            kit.add_motor(connection, step, motor, car.id if car else None)
    note = subject.other_car_note(connection, car) if car and form.fit.data else ""
    notice(f"Added {item.name}{note}", step.token)
    return onward("motor", "checks.controllers.controller", controller_id=new_id)


def _motor(form: ControllerForm, car: Car | None) -> Motor | None:
    """The motor whose Kv was typed beside the controller."""
    kv = form.motor_kv.data
    if kv is None:
        return None
    name = f"{car.name}, {kv:g} rpm/V" if car else f"{kv:g} rpm/V"
    try:
        return Motor(name=name[:60], kv_rpm_per_v=kv)
    except ValueError:
        form.motor_kv.errors = ["A Kv lies between 50 and 20 000 rpm/V."]
        return None


def _class(connection: sqlite3.Connection, car: Car | None) -> RaceClass | None:
    return meetings.latest_class(connection, car.id if car else None)


def _show_new(
    connection: sqlite3.Connection,
    form: ControllerForm,
    car: Car | None,
    planned: Sequence[PlanField] | None = None,
    status: int = 200,
) -> Any:
    if planned is None:
        planned = plan_fields(_class(connection, car))
    for each in planned:
        if each.errors:
            form.form_errors.append(f"{each.step.name}: see below.")
    asks_kv = not (car and car.motor_id)
    return _show_form(form, status=status, car=car, planned=planned, asks_kv=asks_kv)


@blueprint.get("/<int:controller_id>")
def controller(controller_id: int) -> Any:
    connection = get_db()
    item = store.controller(connection, controller_id)
    own = lists.settings_list(connection, controller_id)
    present = run_context(connection, now(), own)
    steps = lists.steps(connection, own.id, present.plan_id)
    return show(
        "checks/controller.html",
        item=item,
        checklist=own,
        steps=steps,
        scopes=offered(steps, present.limits),
        present=present,
        classes={each.id: each.name for each in classes.race_classes(connection)},
        cars=store.cars_of(connection).get(controller_id, {}),
        car=_car(connection),
    )


@blueprint.get("/<int:controller_id>/edit")
def edit(controller_id: int) -> Any:
    item = store.controller(get_db(), controller_id)
    return _show_form(ControllerForm(data=item.model_dump()), item)


@blueprint.post("/<int:controller_id>/edit")
@write
def change(connection: sqlite3.Connection, controller_id: int) -> Any:
    item = store.controller(connection, controller_id)
    form = ControllerForm()
    record = form.fill(Controller, id=controller_id)
    changed, token = save_form(connection, form, item, record, store.change, _show_form)
    notice(f"Saved {changed.name}", token)
    return after_write("checks.controllers.controller", controller_id=controller_id)


@blueprint.post("/<int:controller_id>/fit")
@write
def put_in(connection: sqlite3.Connection, controller_id: int) -> Any:
    """Note that it is in the car now that the page was about."""
    item = store.controller(connection, controller_id)
    car = subject.form_car_needed(connection)
    sentence = f"{item.name} is in {car.name}{subject.in_use_note(connection, car)}"
    notice(sentence, store.put_in(connection, car.id, item, now()))
    return after_write("checks.controllers.controller", controller_id=controller_id)


@blueprint.post("/<int:controller_id>/out/<int:car_id>")
@write
def take_out(connection: sqlite3.Connection, controller_id: int, car_id: int) -> Any:
    """Note that it is no longer in that car."""
    if car_id not in store.cars_of(connection).get(controller_id, {}):
        raise NotThere("It is not in that car.")
    notice("Taken out of the car", store.take_out(connection, car_id, now()))
    return after_write("checks.controllers.controller", controller_id=controller_id)


@blueprint.post("/<int:controller_id>/remove")
@write
def remove(connection: sqlite3.Connection, controller_id: int) -> Any:
    notice("Removed the controller", store.remove(connection, controller_id, now()))
    return after_write("checks.controllers.page")


def _show_form(
    form: ControllerForm,
    item: Controller | None = None,
    status: int = 200,
    car: Car | None = None,
    planned: Sequence[PlanField] = (),
    *,
    asks_kv: bool = False,
) -> Any:
    return show(
        "checks/controller_form.html",
        status,
        form=form,
        item=item,
        car=car,
        planned=planned,
        asks_kv=asks_kv,
    )


def _car(connection: sqlite3.Connection) -> Car | None:
    return kit.current_car(connection, current_settings())
