"""The screens of the controllers."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint

from pitapp.checks.controllers import store
from pitapp.checks.controllers.forms import ControllerForm
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller
from pitapp.db import get_db
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.models import Car
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("controllers", __name__, url_prefix="/controllers")


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
    return _show_form(ControllerForm(), car=_car(get_db()))


@blueprint.post("/new")
@write
def add(connection: sqlite3.Connection) -> Any:
    car, form = subject.form_car(connection), ControllerForm()
    item = form.fill(Controller, version=1)
    if item is None:
        return _show_form(form, status=422, car=car)
    from pitapp.checks.starting_list import STARTING_LIST

    new_id, token = store.add(
        connection,
        item,
        STARTING_LIST if form.starting_list.data else (),
        car.id if car and form.fit.data else None,
        now(),
    )
    note = subject.other_car_note(connection, car) if car and form.fit.data else ""
    notice(f"Added {item.name}{note}", token)
    return after_write("checks.controllers.controller", controller_id=new_id)


@blueprint.get("/<int:controller_id>")
def controller(controller_id: int) -> Any:
    connection = get_db()
    item = store.controller(connection, controller_id)
    own = lists.settings_list(connection, controller_id)
    return show(
        "checks/controller.html",
        item=item,
        checklist=own,
        steps=lists.steps(connection, own.id),
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
    changed = form.fill(Controller, id=controller_id)
    if changed is None:
        return _show_form(form, item, 422)
    try:
        token = store.change(connection, changed, now())
    except ChangedMeanwhile as error:
        form.show_conflict(store.controller(connection, controller_id), str(error))
        return _show_form(form, item, 409)
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
) -> Any:
    return show(
        "checks/controller_form.html",
        status,
        form=form,
        item=item,
        car=car,
    )


def _car(connection: sqlite3.Connection) -> Car | None:
    return kit.current_car(connection, current_settings())
