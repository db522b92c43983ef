"""The lap clock: a page that counts by itself on the phone, and its laps saved to a run."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint

from pitapp.db import get_db
from pitapp.errors import ChangedMeanwhile
from pitapp.runs import store as runs
from pitapp.runs.laps import store
from pitapp.runs.laps.forms import ClockForm
from pitapp.runs.models import Run
from pitapp.web.clock import home_zone, now, zone
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

OFFERED = 8
blueprint = Blueprint("clock", __name__)


@blueprint.get("/clock")
def page() -> Any:
    form = ClockForm(formdata=None)
    _set_choices(get_db(), form)
    return show("runs/clock.html", form=form)


@blueprint.post("/clock")
@write
def save(connection: sqlite3.Connection) -> Any:
    form = ClockForm()
    _set_choices(connection, form)
    valid = form.validate_on_submit()
    laps_s = form.laps_s()
    run = _run(connection, form) if valid and laps_s else None
    if run is None:
        return show("runs/clock.html", 422, form=form)
    try:
        token = store.save_laps(connection, run.id, laps_s, now())
    except ChangedMeanwhile:
        form.run_id.errors = [
            f"The run of {_called(run)} has other laps already. Choose another, or remove those."
        ]
        return show("runs/clock.html", 422, form=form)
    notice(f"Saved {len(laps_s)} {'lap' if len(laps_s) == 1 else 'laps'}", token)
    return after_write("runs.run", run_id=run.id)


def _run(connection: sqlite3.Connection, form: ClockForm) -> Run | None:
    """The run chosen, else the newest one begun; None with the reason at the field."""
    if form.run_id.data is not None:
        return runs.run(connection, form.run_id.data)
    newest = next((each for each in _newest(connection) if each.started_at <= now()), None)
    if newest is None:
        form.run_id.errors = ["There is no run in the log yet. Log it, then save the laps."]
    return newest


def _set_choices(connection: sqlite3.Connection, form: ClockForm) -> None:
    newest = _newest(connection)[:OFFERED]
    form.run_id.set_choices([(each.id, _called(each)) for each in newest], "the newest in the log")


def _newest(connection: sqlite3.Connection) -> list[Run]:
    return runs.runs(connection, with_lists=False)


def _called(run: Run) -> str:
    local = run.started_at.astimezone(zone(run.time_zone) if run.time_zone else home_zone())
    return f"{local:%a} {local.day} {local:%b %H:%M}, {run.snapshot.car.name}"
