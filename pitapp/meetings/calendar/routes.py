"""The screen of a meeting's calendar file, and the file."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, Response, request

from pitapp.db import get_db
from pitapp.meetings import store
from pitapp.meetings.calendar.formulas import (
    CalendarEntry,
    calendar_file,
    charge_entries,
    heat_entries,
)
from pitapp.packs import store as packs
from pitapp.packs.planning import store as planning
from pitapp.tracks import store as tracks
from pitapp.web.clock import now
from pitapp.web.http.htmx import show

blueprint = Blueprint("calendar", __name__)
RING_MIN = (5, 10, 15, 20, 30)
USUAL_RING_MIN = 15


@blueprint.get("/<int:meeting_id>/calendar")
def page(meeting_id: int) -> Any:
    connection = get_db()
    record = planning.plan(connection, meeting_id)
    heats = store.heats(connection, meeting_id)
    return show(
        "meetings/calendar.html",
        item=store.meeting(connection, meeting_id),
        heats=heats,
        charges=bool(record and charge_entries(record, heats, {})),
        ring_min=RING_MIN,
        usual_ring_min=USUAL_RING_MIN,
    )


@blueprint.get("/<int:meeting_id>/calendar.ics")
def file(meeting_id: int) -> Response:
    connection = get_db()
    item = store.meeting(connection, meeting_id)
    place = tracks.track(connection, item.track_id).name if item.track_id else ""
    key = store.calendar_key(connection, meeting_id)
    data = calendar_file(item, place, key, _entries(connection, meeting_id), now())
    return Response(
        data,
        content_type="text/calendar; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="meeting-{item.day.isoformat()}.ics"',
            "Cache-Control": "no-store",
        },
    )


def _entries(connection: sqlite3.Connection, meeting_id: int) -> list[CalendarEntry]:
    item = store.meeting(connection, meeting_id)
    heats = store.heats(connection, meeting_id)
    race_class = store.race_class(connection, item.race_class_id) if item.race_class_id else None
    ring = request.args.get("ring", USUAL_RING_MIN, type=int)
    entries = heat_entries(
        item,
        heats,
        store.removed_heats(connection, meeting_id),
        race_class.run_length_s if race_class else None,
        ring if ring in RING_MIN else None,
    )
    record = planning.plan(connection, meeting_id)
    if record and "charges" in request.args:
        marks = {pack.id: pack.mark for pack in packs.packs(connection)}
        along = planning.chargers(connection)
        names: dict[int | None, str] = {each.id: each.name for each in along}
        entries += charge_entries(record, heats, marks, names if len(along) > 1 else None)
    return entries
