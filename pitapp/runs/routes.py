"""The screens of the log: runs, each with what was fitted and what changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import timedelta
from itertools import groupby
from math import isfinite
from typing import Any

from flask import Blueprint, request

from pitapp.db import get_db
from pitapp.db.pages import split_page
from pitapp.errors import ChangedMeanwhile, Refused
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import KIND_NAMES
from pitapp.runs import store
from pitapp.runs.changes import changes
from pitapp.runs.conditions import conditions_text
from pitapp.runs.doubts import doubts
from pitapp.runs.forms import RunForm
from pitapp.runs.formulas import time_text
from pitapp.runs.laps import store as lap_store
from pitapp.runs.laps.clock import blueprint as clock
from pitapp.runs.laps.routes import blueprint as laps
from pitapp.runs.laps.screens import lap_screen
from pitapp.runs.log_form import blank_form, log, run_from_form, set_choices
from pitapp.runs.models import Run, RunLine, Setting
from pitapp.runs.past_setup.routes import blueprint as past
from pitapp.runs.photographs import store as photo_store
from pitapp.runs.photographs.routes import blueprint as photographs
from pitapp.runs.rise import rise_text
from pitapp.runs.setup.routes import blueprint as setup
from pitapp.runs.snapshot import default_values, occasion
from pitapp.runs.tyres.routes import blueprint as tyres
from pitapp.tracks import store as tracks
from pitapp.web.clock import current_settings, home_zone, now, zone
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.onward import choose_added
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("runs", __name__, url_prefix="/runs")
for part in (photographs, setup, tyres, past, laps, clock):
    blueprint.register_blueprint(part)
blueprint.add_app_template_filter(time_text, "time")
blueprint.add_app_template_filter(conditions_text, "conditions")

TOP_SPEED = ("top_speed_kmh", "top_speed_spread_kmh")
READ_AGAIN = timedelta(minutes=30)
FILTERS: dict[str, store.Filter] = {
    "car": "car_id",
    "track": "track_id",
    "class": "race_class_id",
    "meeting": "meeting_id",
    "tyres": "tyre_set_id",
    "pack": "pack_id",
    "motor": "motor_id",
}
NAMES = {
    "car": "car_name",
    "track": "track_name",
    "meeting": "meeting_name",
    "tyres": "tyres_name",
    "pack": "pack_mark",
}
"""What a filter lets through, as the lines of the log name it."""


@blueprint.app_template_filter("wall_clock")
def wall_clock(item: Run | RunLine) -> Any:
    """When a run started, by the wall clock where it was."""
    return item.started_at.astimezone(zone(item.time_zone) if item.time_zone else home_zone())


@blueprint.app_template_filter("run_moment")
def run_moment(item: Run) -> str:
    """When a run started, as a day and a time where it was: "Sat 16 May 2026, 09:52"."""
    local = wall_clock(item)
    return f"{local:%a} {local.day} {local:%b %Y, %H:%M}"


@blueprint.app_template_global("heat_title")
def heat_title(kind: str | None, number: int | None) -> str:
    """What a heat is called, or nothing without one."""
    return f"{KIND_NAMES[kind]} {number}" if kind in KIND_NAMES else ""


@blueprint.app_template_global("grouped")
def grouped(settings: Iterable[Setting]) -> dict[str, list[Setting]]:
    """Settings by group, in the order of the list."""
    groups: dict[str, list[Setting]] = {}
    for setting in settings:
        groups.setdefault(setting.group, []).append(setting)
    return groups


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    filters = {column: request.args.get(name, type=int) for name, column in FILTERS.items()}
    before = request.args.get("before", type=int)
    rows = store.lines(connection, filters, limit=store.PAGE + 1, before=before)
    listed, older = split_page(rows, store.PAGE)
    chosen = {name: request.args[name] for name, column in FILTERS.items() if filters[column]}
    cars, places = kit.cars(connection), tracks.tracks(connection)
    classes = meetings.race_classes(connection)
    only = [each.name for each in classes if str(each.id) == chosen.get("class")]
    only += [getattr(listed[0], NAMES[name]) for name in chosen if listed and name in NAMES]
    newest = store.run(connection, listed[0].id) if listed and not before and not chosen else None
    previous = store.run_before(connection, newest) if newest else None
    return show(
        "runs/page.html",
        days=[(day, list(runs)) for day, runs in groupby(listed, _day)],
        many_cars=len({line.car_id for line in listed}) > 1,
        older=older,
        chosen=chosen,
        before=before,
        cars=cars,
        places=places,
        classes=classes,
        only=[name for name in only if name],
        news=changes(previous, newest, rise_text) if newest and previous else None,
        newest=newest,
        reads_again=newest is not None and _reads_again(newest, previous),
        car=kit.current_car(connection, current_settings()),
    )


def _day(line: RunLine) -> tuple[Any, str | None, str | None]:
    return wall_clock(line).date(), line.track_name, line.meeting_name


@blueprint.get("/<int:run_id>")
def run(run_id: int) -> Any:
    connection = get_db()
    item = store.run(connection, run_id)
    previous, best = store.run_before(connection, item), store.best_run(connection, item)
    return show(
        "runs/run.html",
        run=item,
        previous=previous,
        since=changes(previous, item, rise_text) if previous else (),
        best=best,
        laps=lap_screen(lap_store.laps(connection, run_id)),
        photographs=photo_store.of_run(connection, run_id),
        against=changes(best, item, rise_text) if best and best != previous else (),
        line=store.line(connection, run_id),
        reads_again=_reads_again(item, previous),
        race_class=meetings.race_class(connection, item.race_class_id)
        if item.race_class_id
        else None,
    )


def _reads_again(item: Run, previous: Run | None) -> bool:
    """Whether to ask for a second reading: of a day's first run that was read, while it is warm."""
    if item.can_c is None or item.second_can_c is not None:
        return False
    if now() - item.started_at > READ_AGAIN:
        return False
    same_day = previous is not None and wall_clock(previous).date() == wall_clock(item).date()
    return not (same_day and previous is not None and previous.can_c is not None)


@blueprint.get("/new")
def new() -> Any:
    connection = get_db()
    car = _car(connection)
    if car is None:
        return show("runs/edit.html", form=None, item=None, car=None)
    at = occasion(connection, request.args.get("heat", type=int), now())
    values = default_values(connection, car, at, now()) | _heard()
    form = RunForm(formdata=None, data=values)
    form.pack_reason, form.pack_id.asked = values["pack_reason"], True
    set_choices(connection, form)
    form.remember()
    choose_added(form)
    flag_at = int(at.heat.flag_at.timestamp()) if at.heat and at.heat.flag_at else None
    return _show_form(form, None, car, flag_at=flag_at)


def _heard() -> dict[str, float]:
    """The top speed that the address names, as the screen that hears a car pass gives it."""
    named = {name: request.args.get(name, type=float) for name in TOP_SPEED}
    return {name: value for name, value in named.items() if value is not None and isfinite(value)}


def _car(connection: sqlite3.Connection) -> Car | None:
    chosen = request.args.get("car", type=int)
    return (
        kit.car(connection, chosen) if chosen else kit.current_car(connection, current_settings())
    )


@blueprint.get("/<int:run_id>/edit")
def edit(run_id: int) -> Any:
    item = store.run(get_db(), run_id)
    form = blank_form(get_db(), item)
    choose_added(form)
    return _show_form(form, item)


@blueprint.post("/new")
@blueprint.post("/<int:run_id>/edit")
@write
def save(connection: sqlite3.Connection, run_id: int = 0) -> Any:
    item = store.run(connection, run_id) if run_id else None
    form = RunForm()
    if item is None and subject.FIELD not in request.form and (car := subject.form_car(connection)):
        form.car_id.data = car.id
    form.pack_id.asked = not run_id and form.pack_id.name not in request.form
    set_choices(connection, form, item)
    record = run_from_form(connection, form, item, now())
    if record is None:
        return _show_form(form, item, status=_status(connection, form))
    if form.doubt(doubts(record, _runs_there(connection, record), item)):
        return _show_form(form, item, status=422)
    photograph = form.picture() if item is None else None
    if form.form_errors:
        return _show_form(form, item, status=422)
    try:
        _, token = log(connection, record, now(), photograph)
    except ChangedMeanwhile as error:
        form.show_run_conflict(blank_form(connection, store.run(connection, run_id)), str(error))
        return _show_form(form, item, status=409)
    except Refused as error:
        form.form_errors.append(str(error))
        form.photo.data = ""
        return _show_form(form, item, status=422)
    notice("Changed the run" if run_id else "Logged the run", token)
    return after_write("runs.run", run_id=run_id) if run_id else after_write("runs.page")


def _runs_there(connection: sqlite3.Connection, record: Run) -> list[Run]:
    """The newest runs of that car at that track."""
    if record.track_id is None:
        return []
    return store.runs(connection, car_id=record.car_id, track_id=record.track_id, with_lists=False)


def _status(connection: sqlite3.Connection, form: RunForm) -> int:
    """What a run that is not taken is answered with: 409 where its car was removed, which is said."""
    gone = subject.gone_sentence(connection, form.car_id.data) if form.car_id.errors else ""
    if not gone:
        return 422
    form.car_id.errors = [f"{gone} Choose the car of this run."]
    return 409


@blueprint.post("/<int:run_id>/remove")
@write
def remove(connection: sqlite3.Connection, run_id: int) -> Any:
    notice("Removed the run", store.remove_run(connection, run_id, now()))
    return after_write("runs.page")


def _show_form(
    form: RunForm,
    item: Run | None,
    car: Car | None = None,
    status: int = 200,
    flag_at: int | None = None,
) -> Any:
    return show("runs/edit.html", status, form=form, item=item, car=car, flag_at=flag_at)
