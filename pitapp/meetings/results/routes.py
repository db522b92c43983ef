"""The screens of results: a meeting's, a season's, and what places are worth."""

from __future__ import annotations

import sqlite3
from functools import partial
from typing import Any

from flask import Blueprint

from pitapp.db import get_db
from pitapp.errors import NotThere
from pitapp.meetings import store as meetings
from pitapp.meetings.results import store
from pitapp.meetings.results.forms import PointTableForm, ResultForm, SeasonForm
from pitapp.meetings.results.models import MeetingResult, PointTable, Season
from pitapp.web.clock import home_zone, now
from pitapp.web.forms.quantities import plain
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("results", __name__)


@blueprint.get("/<int:meeting_id>/results")
def meeting(meeting_id: int) -> Any:
    connection = get_db()
    item = store.result(connection, meeting_id)
    values = item.model_dump()
    if not item.id and (last := store.last_result(connection)):
        taken = {"season_id", "point_table_id", "best_heats"}
        values |= last.model_dump(include=taken)
    values["shared_with"] = values["shared_with"] or None
    for name in ("season_id", "point_table_id"):
        values[name] = str(values[name] or "")
    return _show_result(connection, ResultForm(data=values), item)


@blueprint.post("/<int:meeting_id>/results")
@write
def save_result(connection: sqlite3.Connection, meeting_id: int) -> Any:
    meetings.meeting(connection, meeting_id)  # or it is not there
    item = store.result(connection, meeting_id)
    form = ResultForm()
    _offer_result(connection, form, item)
    show_again = partial(_show_result, connection)
    _, (_, token) = save_form(
        connection, form, item, form.record(item), store.save_result, show_again
    )
    notice("Saved the result", token)
    return after_write("meetings.results.meeting", meeting_id=meeting_id)


@blueprint.post("/<int:meeting_id>/results/remove")
@write
def remove_result(connection: sqlite3.Connection, meeting_id: int) -> Any:
    item = store.result(connection, meeting_id)
    if not item.id:
        raise NotThere("There is no result of this meeting.")
    token = store.remove(connection, "meeting_results", item.id, "the result", now())
    notice("Removed the result", token)
    return after_write("meetings.meeting", meeting_id=meeting_id)


def _offer_result(connection: sqlite3.Connection, form: ResultForm, item: MeetingResult) -> None:
    tables, seasons = store.tables(connection), store.seasons(connection)
    if item.point_table_id and item.point_table_id not in [each.id for each in tables]:
        tables.append(store.table(connection, item.point_table_id))
    if item.season_id and item.season_id not in [each.id for each in seasons]:
        seasons.append(store.season(connection, item.season_id))
    form.set_choices(tables, seasons)


def _show_result(
    connection: sqlite3.Connection, form: ResultForm, item: MeetingResult, status: int = 200
) -> Any:
    _offer_result(connection, form, item)
    points = store.table(connection, item.point_table_id) if item.point_table_id else None
    scores = store.heat_scores(connection, item.meeting_id, points)
    counted = store.qualifying(scores, item.best_heats, points)
    dropped = {counted[0][index].heat.id for index in counted[1].dropped} if counted else set()
    return show(
        "meetings/results.html",
        status,
        form=form,
        item=item,
        meeting=meetings.meeting(connection, item.meeting_id),
        scores=scores,
        total=counted[1].total if counted else None,
        dropped=dropped,
        season=store.season(connection, item.season_id) if item.season_id else None,
    )


@blueprint.get("/seasons")
def seasons() -> Any:
    connection = get_db()
    return show(
        "meetings/seasons.html",
        seasons=store.seasons(connection),
        tables=store.tables(connection),
    )


@blueprint.get("/seasons/new")
def new_season() -> Any:
    tables = store.tables(get_db())
    only = str(tables[0].id) if len(tables) == 1 else ""
    return _show_season(get_db(), SeasonForm(data={"point_table_id": only}))


@blueprint.get("/seasons/<int:season_id>")
def season(season_id: int) -> Any:
    item = store.season(get_db(), season_id)
    values = item.model_dump() | {
        "point_table_id": str(item.point_table_id or ""),
        "drops": item.drops or None,
    }
    return _show_season(get_db(), SeasonForm(data=values), item)


@blueprint.post("/seasons/new")
@blueprint.post("/seasons/<int:season_id>")
@write
def save_season(connection: sqlite3.Connection, season_id: int = 0) -> Any:
    item = store.season(connection, season_id) if season_id else None
    form = SeasonForm()
    _offer_tables(connection, form, item)
    show_again = partial(_show_season, connection)
    record, (saved_id, token) = save_form(
        connection, form, item, form.record(item), store.save_season, show_again
    )
    notice(f"Saved {record.name}", token)
    return after_write("meetings.results.season", season_id=saved_id)


@blueprint.post("/seasons/<int:season_id>/remove")
@write
def remove_season(connection: sqlite3.Connection, season_id: int) -> Any:
    item = store.season(connection, season_id)
    notice(f"Removed {item.name}", store.remove(connection, "seasons", season_id, item.name, now()))
    return after_write("meetings.results.seasons")


def _offer_tables(connection: sqlite3.Connection, form: SeasonForm, item: Season | None) -> None:
    tables = store.tables(connection)
    chosen = item.point_table_id if item else None
    if chosen and chosen not in [each.id for each in tables]:
        tables.append(store.table(connection, chosen))
    form.set_choices(tables)


def _show_season(
    connection: sqlite3.Connection, form: SeasonForm, item: Season | None = None, status: int = 200
) -> Any:
    _offer_tables(connection, form, item)
    today = now().astimezone(home_zone()).date()
    return show(
        "meetings/season.html",
        status,
        form=form,
        item=item,
        standing=store.standing(connection, item, today) if item else None,
    )


@blueprint.get("/points/new")
def new_table() -> Any:
    return _show_table(PointTableForm())


@blueprint.get("/points/<int:table_id>")
def table(table_id: int) -> Any:
    item = store.table(get_db(), table_id)
    listed = " ".join(plain(each) for each in item.points)
    return _show_table(PointTableForm(data=item.model_dump() | {"listed": listed}), item)


@blueprint.post("/points/new")
@blueprint.post("/points/<int:table_id>")
@write
def save_table(connection: sqlite3.Connection, table_id: int = 0) -> Any:
    item = store.table(connection, table_id) if table_id else None
    form = PointTableForm()
    record, (_, token) = save_form(
        connection, form, item, form.record(table_id), store.save_table, _show_table
    )
    notice(f"Saved {record.name}", token)
    return after_write("meetings.results.seasons")


@blueprint.post("/points/<int:table_id>/remove")
@write
def remove_table(connection: sqlite3.Connection, table_id: int) -> Any:
    item = store.table(connection, table_id)
    notice(
        f"Removed {item.name}", store.remove(connection, "point_tables", table_id, item.name, now())
    )
    return after_write("meetings.results.seasons")


def _show_table(form: PointTableForm, item: PointTable | None = None, status: int = 200) -> Any:
    return show("meetings/points.html", status, form=form, item=item)
