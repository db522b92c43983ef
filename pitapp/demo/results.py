"""An invented series with its points, and what came of the meetings that were for it."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.meetings import store as meetings
from pitapp.meetings.results import store
from pitapp.meetings.results.models import MeetingResult, PointTable, Season

PLACES = (4, 7, 2, 3, 9, 5)


def write(connection: sqlite3.Connection, class_id: int, now: datetime) -> None:
    """Give every past meeting of that class but the last a place, and the last one its season."""
    ten = PointTable(name="Invented points", points=(20, 17, 15, 13, 12, 11, 10, 9, 8, 7))
    table_id, _ = store.save_table(connection, ten, now)
    series = Season(name="Invented series", point_table_id=table_id, drops=1, remarks="Invented.")
    season_id, _ = store.save_season(connection, series, now)
    raced = [
        each
        for each in reversed(meetings.meetings(connection, limit=60))
        if each.race_class_id == class_id
    ][-len(PLACES) :]
    for each, place in zip(raced, PLACES, strict=False):
        over = each is not raced[-1]
        result = MeetingResult(
            meeting_id=each.id,
            season_id=season_id,
            point_table_id=table_id,
            best_heats=2,
            qualifying_place=place + 1 if over else None,
            final_name="A" if over else "",
            place=place if over else None,
        )
        store.save_result(connection, result, now)
