"""The screens of parts with hours."""

from __future__ import annotations

import sqlite3
from functools import partial
from typing import Any

from flask import Blueprint

from pitapp.db import get_db
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.wear import store
from pitapp.kit.wear.forms import WornPartForm
from pitapp.kit.wear.formulas import hours_text, limit_text, over_limit
from pitapp.kit.wear.models import WornPart
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes import taps
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("wear", __name__, url_prefix="/wear")


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    return show(
        "kit/wear.html",
        rows=[
            (each, hours_text(each.hours), limit_text(each.part), over_limit(each.part, each.hours))
            for each in store.parts(connection)
        ],
        car=kit.current_car(connection, current_settings()),
    )


@blueprint.get("/new")
def new() -> Any:
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    return _show(
        connection, WornPartForm(data={"since": now(), "place": f"car-{car.id}" if car else ""})
    )


@blueprint.get("/<int:worn_id>")
def part(worn_id: int) -> Any:
    item = store.part(get_db(), worn_id)
    kind, number = ("car", item.car_id) if item.car_id is not None else ("motor", item.motor_id)
    values = item.model_dump() | {"place": f"{kind}-{number}"}
    for name in ("runs_before", "minutes_before"):
        values[name] = values[name] or None
    return _show(get_db(), WornPartForm(data=values), item)


@blueprint.post("/new")
@blueprint.post("/<int:worn_id>")
@write
def save(connection: sqlite3.Connection, worn_id: int = 0) -> Any:
    item = store.part(connection, worn_id) if worn_id else None
    form = WornPartForm()
    form.set_choices(kit.cars(connection), kit.motors(connection))
    last = {"last_runs": item.last_runs, "last_minutes": item.last_minutes} if item else {}
    if item and form.since.data and form.since.data == item.since.replace(second=0):
        form.since.data = item.since
    record = form.fill(WornPart, id=worn_id, **form.where(), **last)
    show_again = partial(_show, connection)
    saved, (_, token) = save_form(connection, form, item, record, store.save, show_again)
    notice(f"Saved {saved.name}", token)
    return after_write("kit.wear.page")


@blueprint.post("/usual")
@write
def add_usual(connection: sqlite3.Connection) -> Any:
    car = subject.form_car_needed(connection)
    token = store.add_usual(connection, car, now())
    notice(f"Added the usual parts of {car.name}, new from now on", token)
    return after_write("kit.wear.page")


@blueprint.post("/<int:worn_id>/renew")
@write
def renew(connection: sqlite3.Connection, worn_id: int) -> Any:
    item = store.part(connection, worn_id)
    if status := taps.outdated(item.version):
        sentence = f"{item.name} was changed on another screen. This is how it stands."
        return taps.stale_response(sentence, status, "kit.wear.part", worn_id=worn_id)
    notice(f"{item.name} counts from now on", store.renew(connection, item, now()))
    return after_write("kit.wear.page")


@blueprint.post("/<int:worn_id>/remove")
@write
def remove(connection: sqlite3.Connection, worn_id: int) -> Any:
    notice("Removed the part", store.remove(connection, worn_id, now()))
    return after_write("kit.wear.page")


def _show(
    connection: sqlite3.Connection,
    form: WornPartForm,
    item: WornPart | None = None,
    status: int = 200,
) -> Any:
    form.set_choices(kit.cars(connection), kit.motors(connection))
    so_far = store.hours(connection, item) if item else None
    return show(
        "kit/worn.html",
        status,
        form=form,
        item=item,
        hours=so_far,
        text=hours_text(so_far) if so_far else "",
        limit=limit_text(item) if item else "",
        over=bool(item and so_far and over_limit(item, so_far)),
    )
