"""The screens of the classes."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, request

from pitapp.db import get_db
from pitapp.meetings.classes import store
from pitapp.meetings.classes.forms import ClassForm
from pitapp.meetings.models import RaceClass
from pitapp.web.clock import now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.onward import onward
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("classes", __name__, url_prefix="/classes")


@blueprint.get("")
def page() -> Any:
    return show(
        "meetings/classes.html",
        race_classes=store.race_classes(get_db()),
    )


@blueprint.get("/new")
def new() -> Any:
    return _show(ClassForm())


@blueprint.get("/<int:class_id>")
def race_class(class_id: int) -> Any:
    item = store.race_class(get_db(), class_id)
    return _show(ClassForm(data=item.model_dump()), item)


@blueprint.post("/new")
@blueprint.post("/<int:class_id>")
@write
def save(connection: sqlite3.Connection, class_id: int = 0) -> Any:
    item = store.race_class(connection, class_id) if class_id else None
    form = ClassForm(data={"limits": [{}] * len(item.limits)} if item else None)
    if "another" in request.form:
        return _show(form, item)
    record, (saved_id, token) = save_form(
        connection, form, item, form.record(class_id), store.save_class, _show
    )
    notice(f"Saved {record.name}", token)
    return onward("class", "meetings.classes.page", field="race_class_id", new_id=saved_id)


@blueprint.post("/<int:class_id>/remove")
@write
def remove(connection: sqlite3.Connection, class_id: int) -> Any:
    notice("Removed the class", store.remove_class(connection, class_id, now()))
    return after_write("meetings.classes.page")


def _show(form: ClassForm, item: RaceClass | None = None, status: int = 200) -> Any:
    form.offer_row()
    return show("meetings/class.html", status, form=form, item=item)
