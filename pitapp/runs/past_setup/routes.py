"""The screen on which a run's own copy of the set-up is put right."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, request

from pitapp.db import get_db
from pitapp.runs import store
from pitapp.runs.models import MOST_TEXT, Run, Setting
from pitapp.runs.setup import store as setup
from pitapp.web.clock import now
from pitapp.web.forms.form_errors import PitForm
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("past", __name__)


@blueprint.get("/<int:run_id>/setup")
def page(run_id: int) -> Any:
    item = store.run(get_db(), run_id)
    settings = listed(get_db(), item)
    return _show(item, settings, [setting.value for setting in settings], item.version)


def listed(connection: sqlite3.Connection, item: Run) -> list[Setting]:
    """The run's own settings, then what the car's list has besides, without a value."""
    own = list(item.snapshot.setup)
    listed_keys = {(each.group.casefold(), each.name.casefold()) for each in own}
    return own + [
        Setting(group=entry.group_name, name=entry.name, unit=entry.unit)
        for entry in setup.entries(connection, item.car_id)
        if (entry.group_name.casefold(), entry.name.casefold()) not in listed_keys
    ]


@blueprint.post("/<int:run_id>/setup")
@write
def save(connection: sqlite3.Connection, run_id: int) -> Any:
    item = store.run(connection, run_id)
    settings = listed(connection, item)
    typed = [
        request.form.get(f"value-{number}", setting.value)
        for number, setting in enumerate(settings)
    ]
    version = request.form.get("version", "")
    if any(len(text.strip()) > MOST_TEXT for text in typed):
        return _show(item, settings, typed, item.version, "", 422)
    if not PitForm().validate_on_submit() or version != str(item.version):
        sentence = (
            "This run was changed on another screen since you opened it. What you typed is still "
            "here: look it through, then save again."
        )
        return _show(item, settings, typed, item.version, sentence, 409)
    changed = tuple(
        setting.model_copy(update={"value": text.strip()})
        for setting, text in zip(settings, typed, strict=True)
        if text.strip()
    )
    snapshot = item.snapshot.model_copy(update={"setup": changed})
    _, token = store.save_run(connection, item.model_copy(update={"snapshot": snapshot}), now())
    notice("Changed the run's set-up", token)
    return after_write("runs.run", run_id=run_id)


def _show(
    item: Run,
    settings: list[Setting],
    typed: list[str],
    version: int,
    sentence: str = "",
    status: int = 200,
) -> Any:
    return show(
        "runs/past.html",
        status,
        run=item,
        rows=[
            (number, setting, text, len(text.strip()) > MOST_TEXT)
            for number, (setting, text) in enumerate(zip(settings, typed, strict=True))
        ],
        version=version,
        sentence=sentence,
    )
