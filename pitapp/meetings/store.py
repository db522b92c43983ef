"""Meetings and heats in the database."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Literal
from uuid import UUID, uuid4, uuid5

from pitapp.db import from_db, identity, records, to_db, undo
from pitapp.db.pages import newest
from pitapp.meetings.classes.store import (
    class_raced,
    latest_class,
    race_class,
    race_classes,
    remove_class,
    save_class,
)
from pitapp.meetings.formulas import Entry, MeetingTimes, meeting_of_now
from pitapp.meetings.models import Heat, Meeting
from pitapp.meetings.timetable.store import (
    LATE,
    add_heats,
    change_heat,
    finish_heat,
    flag_heat,
    heat,
    heats,
    next_heat,
    put_heats,
    removed_heats,
    reopen_heat,
    replace_heats,
    shift_heats,
)

__all__ = [
    "add_heats",
    "calendar_key",
    "change_heat",
    "class_raced",
    "current_meeting",
    "finish_heat",
    "flag_heat",
    "following_meeting",
    "heat",
    "heats",
    "latest_class",
    "meeting",
    "meetings",
    "meetings_on",
    "next_heat",
    "race_class",
    "race_classes",
    "remove",
    "remove_class",
    "removed_heats",
    "reopen_heat",
    "replace_heats",
    "save_class",
    "save_meeting",
    "shift_heats",
]

AHEAD = timedelta(hours=36)
_KEY = re.compile(r"[0-9a-f]{32}")
_MEETING = ", ".join(Meeting.model_fields)


def meetings(
    connection: sqlite3.Connection, *, limit: int = 50, before: int | None = None
) -> list[Meeting]:
    """Meetings, newest first, older than the meeting `before` if given."""
    return newest(connection, Meeting, "meetings", "day", limit=limit, before=before)


def meeting(connection: sqlite3.Connection, meeting_id: int) -> Meeting:
    """One meeting, also a removed one.

    Raises:
        NotThere: there is no such meeting.
    """
    missing = "There is no such meeting."
    return records.by_id(connection, Meeting, "meetings", meeting_id, missing=missing)


def calendar_key(connection: sqlite3.Connection, meeting_id: int) -> UUID:
    """What a meeting's entries are known by in calendars, the same in every copy of its rows.

    Where an older file brought the meeting, it is made of this database and the meeting's number.
    """
    row = connection.execute(
        "SELECT calendar_key FROM meetings WHERE id = ?", (meeting_id,)
    ).fetchone()
    if row and _KEY.fullmatch(row["calendar_key"]):
        return UUID(row["calendar_key"])
    return uuid5(UUID(identity.own(connection)), f"meeting/{meeting_id}")


def meetings_on(connection: sqlite3.Connection, day: date) -> list[Meeting]:
    """The meetings of that day."""
    rows = connection.execute(
        f"SELECT {_MEETING} FROM meetings WHERE removed_at IS NULL AND day = ? ORDER BY id",  # noqa: S608
        (day.isoformat(),),
    )
    return [Meeting(**row) for row in rows]


def following_meeting(connection: sqlite3.Connection, day: date) -> Meeting | None:
    """The first meeting on that day or after it."""
    row = connection.execute(
        f"SELECT {_MEETING} FROM meetings WHERE removed_at IS NULL AND day >= ? "  # noqa: S608
        "ORDER BY day, id LIMIT 1",
        (day.isoformat(),),
    ).fetchone()
    return None if row is None else Meeting(**row)


def current_meeting(connection: sqlite3.Connection, now: datetime) -> Meeting | None:
    """The meeting of now: today's in its own time zone, else the next within 36 hours, else None.

    A meeting whose timetable runs past midnight lasts as long as its timetable; of two classes on
    one day it is the meeting whose heat comes next.
    """
    rows = connection.execute(
        f"SELECT {_MEETING}, (SELECT max(starts_at) FROM heats "  # noqa: S608
        "WHERE meeting_id = meetings.id AND heats.removed_at IS NULL) AS last_heat, "
        "(SELECT min(starts_at) FROM heats WHERE meeting_id = meetings.id "
        "AND heats.removed_at IS NULL AND done_at IS NULL AND starts_at > ?) AS next_heat "
        "FROM meetings WHERE removed_at IS NULL AND day BETWEEN ? AND ? ORDER BY day, id",
        (
            to_db(now - LATE),
            (now - timedelta(days=3)).date().isoformat(),
            (now + AHEAD + timedelta(days=1)).date().isoformat(),
        ),
    )
    planned: list[MeetingTimes] = []
    for row in rows:
        values = dict(row)
        last, following = values.pop("last_heat"), values.pop("next_heat")
        planned.append(
            MeetingTimes(
                Meeting(**values),
                from_db(last) if last else None,
                from_db(following) if following else None,
            )
        )
    return meeting_of_now(planned, now, AHEAD)


def save_meeting(
    connection: sqlite3.Connection,
    item: Meeting,
    now: datetime,
    entries: Iterable[Entry] = (),
    step: undo.Step | None = None,
) -> tuple[int, str]:
    """Add the meeting (id 0) with these entries, or change it, within the caller's undo step if given.

    Returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such meeting.
    """
    if step is not None:
        return _save(connection, item, entries, step), step.token
    verb = "Changed" if item.id else "Added"
    with undo.step(connection, f"{verb} {item.title}", now) as own:
        return _save(connection, item, entries, own), own.token


def _save(
    connection: sqlite3.Connection, item: Meeting, entries: Iterable[Entry], step: undo.Step
) -> int:
    values = records.columns(item)
    if item.id:
        meeting(connection, item.id)
    else:
        values["calendar_key"] = uuid4().hex
    meeting_id = step.save("meetings", item.id, item.version, values)
    put_heats(connection, step, meeting_id, entries)
    return meeting_id


def remove(
    connection: sqlite3.Connection, table: Literal["meetings", "heats"], item_id: int, now: datetime
) -> str:
    """Take a meeting or an entry out of the lists; returns the undo token. Its runs stay on record.

    Raises:
        NotThere: there is no such thing.
    """
    item = meeting(connection, item_id) if table == "meetings" else heat(connection, item_id)
    with undo.step(connection, f"Removed {item.title}", now) as step:
        if isinstance(item, Heat):
            step.change("heats", item_id, {"sequence": item.sequence + 1})
        step.remove(table, item_id, now)
    return step.token
