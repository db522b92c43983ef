"""The screens of photographs: of a run and of a car's set-up, each with its picture."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, Response

from pitapp.db import get_db
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.runs import store as runs
from pitapp.runs.photographs import store
from pitapp.runs.photographs.forms import PhotographForm
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("photographs", __name__)


@blueprint.get("/<int:run_id>/photographs")
def run(run_id: int) -> Any:
    return _show_run(run_id, PhotographForm(formdata=None))


@blueprint.post("/<int:run_id>/photographs")
@write
def add_to_run(connection: sqlite3.Connection, run_id: int) -> Any:
    runs.run(connection, run_id)
    form = PhotographForm()
    taken = form.picture()
    if taken is None:
        return _show_run(run_id, form, 422)
    caption = form.caption.data or ""
    _, token = store.add(connection, taken, now(), run_id=run_id, caption=caption)
    notice("Added the photograph", token)
    return after_write("runs.photographs.run", run_id=run_id)


@blueprint.get("/setup/photographs")
def setup() -> Any:
    return _show_setup(PhotographForm(formdata=None))


@blueprint.post("/setup/photographs")
@write
def add_to_setup(connection: sqlite3.Connection) -> Any:
    car = subject.form_car_needed(connection)
    form = PhotographForm()
    taken = form.picture()
    if taken is None:
        return _show_setup(form, 422)
    caption = form.caption.data or ""
    _, token = store.add(connection, taken, now(), car_id=car.id, caption=caption)
    notice(f"Added the photograph{subject.other_car_note(connection, car)}", token)
    return after_write("runs.photographs.setup")


@blueprint.get("/photographs/<int:photograph_id>.jpg")
def picture(photograph_id: int) -> Response:
    taken = store.picture(get_db(), photograph_id)
    return Response(taken.data, content_type="image/jpeg", headers={"Cache-Control": "no-store"})


@blueprint.post("/photographs/<int:photograph_id>/remove")
@write
def remove(connection: sqlite3.Connection, photograph_id: int) -> Any:
    item = store.photograph(connection, photograph_id)
    notice("Removed the photograph", store.remove(connection, photograph_id, now()))
    if item.run_id is not None:
        return after_write("runs.photographs.run", run_id=item.run_id)
    return after_write("runs.photographs.setup")


def _show_run(run_id: int, form: PhotographForm, status: int = 200) -> Any:
    connection = get_db()
    item = runs.run(connection, run_id)
    listed = store.of_run(connection, run_id)
    return show(
        "runs/photographs.html",
        status,
        form=form,
        run=item,
        car=None,
        listed=listed,
        held=store.held(connection, listed),
        action=f"/runs/{run_id}/photographs",
    )


def _show_setup(form: PhotographForm, status: int = 200) -> Any:
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    listed = store.of_setup(connection, car.id) if car else []
    return show(
        "runs/photographs.html",
        status,
        form=form,
        run=None,
        car=car,
        listed=listed,
        held=store.held(connection, listed),
        action="/runs/setup/photographs",
    )
