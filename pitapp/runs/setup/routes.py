"""The screens of a car's set-up."""

from __future__ import annotations

import sqlite3
from functools import partial
from typing import Any

from flask import Blueprint, request

from pitapp.db import get_db
from pitapp.errors import BadRequest
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.models import Car
from pitapp.runs import store as runs
from pitapp.runs.models import SetupEntry, with_unit
from pitapp.runs.setup import store
from pitapp.runs.setup.forms import EntryForm, ListForm, ValueForm
from pitapp.runs.setup.starting_sheet import STARTING_SHEET
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes import taps
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("setup", __name__, url_prefix="/setup")


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    last = next(iter(runs.runs(connection, car_id=car.id, limit=1)), None) if car else None
    before = {
        (each.group.casefold(), each.name.casefold()): each
        for each in (last.snapshot.setup if last else ())
    }
    groups: dict[str, list[tuple[SetupEntry, str]]] = {}
    for entry in store.entries(connection, car.id) if car else ():
        old = before.get((entry.group_name.casefold(), entry.name.casefold()))
        was = old.text if old and old.value != entry.value else ""
        groups.setdefault(entry.group_name, []).append((entry, was))
    others = [
        other
        for other in (kit.cars(connection) if car and not groups else [])
        if car and other.id != car.id and store.entries(connection, other.id)
    ]
    return show("runs/setup.html", car=car, groups=groups, others=others)


@blueprint.get("/new")
def new() -> Any:
    connection = get_db()
    car = kit.car_in_use(connection, current_settings())
    begun = bool(store.entries(connection, car.id))
    return _show_list(car, ListForm(data={"lines": "" if begun else STARTING_SHEET}))


@blueprint.post("/new")
@write
def add(connection: sqlite3.Connection) -> Any:
    car = subject.form_car_needed(connection)
    form = ListForm()
    written = form.written()
    if written is None:
        return _show_list(car, form, 422)
    many, token = store.add(connection, car.id, written, now())
    sentence = f"Wrote {many} {'entry' if many == 1 else 'entries'}"
    notice(sentence + subject.other_car_note(connection, car), token)
    return after_write("runs.setup.page")


@blueprint.post("/copy/<int:car_id>")
@write
def copy(connection: sqlite3.Connection, car_id: int) -> Any:
    source = kit.car(connection, car_id)
    car = subject.form_car_needed(connection)
    many, token = store.copy(connection, source.id, car.id, now())
    notice(f"Copied {many} entries{subject.other_car_note(connection, car)}", token)
    return after_write("runs.setup.page")


@blueprint.get("/<int:entry_id>")
def entry(entry_id: int) -> Any:
    return show("runs/entry.html", **_entry(get_db(), entry_id))


@blueprint.get("/<int:entry_id>/part")
def entry_part(entry_id: int) -> Any:
    return show_part("runs/entry.html", **_entry(get_db(), entry_id))


@blueprint.post("/<int:entry_id>")
@write
def set_value(connection: sqlite3.Connection, entry_id: int) -> Any:
    item = store.entry(connection, entry_id)
    form = ValueForm()
    nudge = {"less": -1, "more": 1}.get(request.form.get("nudge", ""))
    if nudge is None and "value" not in request.form:
        raise BadRequest("There is no value in this request.")
    if nudge is not None and (status := taps.outdated(item.version)):
        sentence = f"{item.name} was changed on another screen. It is {item.text} now."
        screen = "runs.setup.entry", "runs.setup.entry_part"
        return taps.stale_response(sentence, status, *screen, entry_id=entry_id)
    if nudge is not None and item.number is not None:
        value = item.nudged(nudge)
    elif (record := form.fill(SetupEntry, car_id=item.car_id, name=item.name)) is not None:
        value = record.value
    else:
        return show("runs/entry.html", 422, **_entry(connection, entry_id, form))
    changed, token = store.set_value(connection, entry_id, value, now())
    notice(f"{changed.name} {with_unit(item.value, '')} → {changed.text}", token)
    if nudge is not None:
        return after_write("runs.setup.entry", "runs.setup.entry_part", entry_id=entry_id)
    return after_write("runs.setup.page")


def _entry(
    connection: sqlite3.Connection, entry_id: int, form: ValueForm | None = None
) -> dict[str, Any]:
    item = store.entry(connection, entry_id)
    if form is None:
        form = ValueForm(formdata=None, data={"value": item.value})
    place = store.place(connection, entry_id)
    return {"entry": item, "form": form, "car": kit.car(connection, item.car_id), "place": place}


@blueprint.get("/<int:entry_id>/edit")
def edit(entry_id: int) -> Any:
    item = store.entry(get_db(), entry_id)
    return _show_entry(get_db(), EntryForm(data=item.model_dump()), item)


@blueprint.post("/<int:entry_id>/edit")
@write
def save(connection: sqlite3.Connection, entry_id: int) -> Any:
    item = store.entry(connection, entry_id)
    form = EntryForm()
    record = form.fill(SetupEntry, id=entry_id, car_id=item.car_id)
    show_again = partial(_show_entry, connection)
    _, (saved, token) = save_form(connection, form, item, record, store.save, show_again)
    notice(f"Saved {saved.name}", token)
    return after_write("runs.setup.page")


@blueprint.post("/<int:entry_id>/move")
@write
def move(connection: sqlite3.Connection, entry_id: int) -> Any:
    if status := taps.outdated(store.place(connection, entry_id)):
        return taps.stale_response(
            "The list was changed on another screen.", status, "runs.setup.page"
        )
    by = 1 if request.form.get("to") == "down" else -1
    notice("Moved it", store.move(connection, entry_id, by, now()))
    return after_write("runs.setup.page")


@blueprint.post("/<int:entry_id>/remove")
@write
def remove(connection: sqlite3.Connection, entry_id: int) -> Any:
    item, token = store.remove(connection, entry_id, now())
    notice(f"Removed {item.name}", token)
    return after_write("runs.setup.page")


def _show_list(car: Car, form: ListForm, status: int = 200) -> Any:
    return show("runs/setup_new.html", status, form=form, car=car)


def _show_entry(
    connection: sqlite3.Connection, form: EntryForm, item: SetupEntry, status: int = 200
) -> Any:
    groups = dict.fromkeys(each.group_name for each in store.entries(connection, item.car_id))
    return show(
        "runs/entry_edit.html",
        status,
        form=form,
        entry=item,
        groups=[group for group in groups if group],
    )
