"""When the racer goes next and nobody watches what is on a charger."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta

from pitapp.meetings import store as meetings
from pitapp.packs.planning import store
from pitapp.packs.planning.inputs import (
    away_windows,
    heats_ahead,
    marshalling_ahead,
    run_minutes,
)


def next_away(connection: sqlite3.Connection, now: datetime) -> tuple[datetime, datetime] | None:
    """From and to when nobody watches next, on the day of now; None: somebody does, or no heat comes."""
    meeting = meetings.current_meeting(connection, now)
    record = store.plan(connection, meeting.id) if meeting else None
    if meeting is None or record is None or record.watched is not False:
        return None
    race_class = meetings.class_raced(connection, meeting, meeting.car_id)
    entries = meetings.heats(connection, meeting.id)
    windows = away_windows(
        heats_ahead(entries, now),
        marshalling_ahead(entries, now),
        record,
        run_minutes(race_class.run_length_s if race_class else None),
        now,
    )
    if not windows:
        return None
    begin, end = windows[0]
    return now + timedelta(minutes=max(0.0, begin)), now + timedelta(minutes=end)
