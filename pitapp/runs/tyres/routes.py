"""The screens of tyre sets."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint

from pitapp.db import get_db
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.runs.models import TyreSet
from pitapp.runs.tyres import store
from pitapp.runs.tyres.forms import STARTING_PREPARATION, TyreSetForm
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.onward import onward
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("tyres", __name__, url_prefix="/tyres")


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    return show(
        "runs/tyres.html",
        car=car,
        sets=store.tyre_sets(connection),
        wearers=store.cars_by_set(connection),
        fitted=store.fitted(connection, car.id).tyre_set_id if car else None,
    )


@blueprint.get("/new")
def new() -> Any:
    return _show(TyreSetForm(data={"treatment": STARTING_PREPARATION}), None)


@blueprint.get("/<int:set_id>")
def tyre_set(set_id: int) -> Any:
    item = store.tyre_set(get_db(), set_id)
    return _show(TyreSetForm(data=item.model_dump()), item)


@blueprint.post("/new")
@blueprint.post("/<int:set_id>")
@write
def save(connection: sqlite3.Connection, set_id: int = 0) -> Any:
    item = store.tyre_set(connection, set_id) if set_id else None
    form = TyreSetForm()
    record, (saved_id, token) = save_form(
        connection, form, item, form.record(set_id), store.save, _show
    )
    notice(f"Saved tyres {record.name}", token)
    return onward("", "runs.tyres.page", field="tyre_set_id", new_id=saved_id)


@blueprint.post("/<int:set_id>/fit")
@write
def fit(connection: sqlite3.Connection, set_id: int) -> Any:
    car = subject.form_car_needed(connection)
    name = store.tyre_set(connection, set_id).name
    sentence = f"{name} on {car.name}{subject.in_use_note(connection, car)}"
    notice(sentence, store.fit_tyres(connection, car.id, set_id, now()))
    return after_write("runs.tyres.page")


@blueprint.post("/<int:set_id>/remove")
@write
def remove(connection: sqlite3.Connection, set_id: int) -> Any:
    notice("Removed the tyres", store.remove(connection, set_id, now()))
    return after_write("runs.tyres.page")


def _show(form: TyreSetForm, item: TyreSet | None, status: int = 200) -> Any:
    return show("runs/tyre_set.html", status, form=form, item=item)
