"""Meetings and heats in the database."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any, Literal

from pitapp.db import stamp, undo, when
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.meetings.classes.store import (
    class_raced,
    latest_class,
    race_class,
    race_classes,
    remove_class,
    save_class,
)
from pitapp.meetings.formulas import Entry, Planned, meeting_of_now
from pitapp.meetings.models import CAR_KINDS, Heat, Meeting

__all__ = [
    "add_heats",
    "change_heat",
    "class_raced",
    "current_meeting",
    "finish_heat",
    "following_meeting",
    "heat",
    "heats",
    "latest_class",
    "meeting",
    "meetings",
    "next_heat",
    "race_class",
    "race_classes",
    "remove",
    "remove_class",
    "reopen_heat",
    "save_class",
    "save_meeting",
    "shift_heats",
]

AHEAD = timedelta(hours=36)
LATE = timedelta(minutes=15)
_MEETING = ", ".join(Meeting.model_fields)
_HEAT = ", ".join(Heat.model_fields)


def meetings(
    connection: sqlite3.Connection, *, limit: int = 50, before: int | None = None
) -> list[Meeting]:
    """Meetings, newest first, older than the meeting `before` if given."""
    rows = connection.execute(
        f"SELECT {_MEETING} FROM meetings WHERE removed_at IS NULL "  # noqa: S608
        "AND (?1 IS NULL OR (day, id) < (SELECT day, id FROM meetings WHERE id = ?1)) "
        "ORDER BY day DESC, id DESC LIMIT ?2",
        (before, limit),
    )
    return [Meeting(**row) for row in rows]


def meeting(connection: sqlite3.Connection, meeting_id: int) -> Meeting:
    """One meeting, also a removed one.

    Raises:
        NotThere: there is no such meeting.
    """
    row = connection.execute(
        f"SELECT {_MEETING} FROM meetings WHERE id = ?",  # noqa: S608
        (meeting_id,),
    ).fetchone()
    if row is None:
        raise NotThere("There is no such meeting.")
    return Meeting(**row)


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
            stamp(now - LATE),
            (now - timedelta(days=3)).date().isoformat(),
            (now + AHEAD + timedelta(days=1)).date().isoformat(),
        ),
    )
    planned: list[Planned] = []
    for row in rows:
        values = dict(row)
        last, following = values.pop("last_heat"), values.pop("next_heat")
        planned.append(
            Planned(
                Meeting(**values),
                when(last) if last else None,
                when(following) if following else None,
            )
        )
    return meeting_of_now(planned, now, AHEAD)


def heats(connection: sqlite3.Connection, meeting_id: int) -> list[Heat]:
    """A meeting's timetable in the order of time."""
    rows = connection.execute(
        f"SELECT {_HEAT} FROM heats WHERE meeting_id = ? AND removed_at IS NULL "  # noqa: S608
        "ORDER BY starts_at, id",
        (meeting_id,),
    )
    return [Heat(**row) for row in rows]


def heat(connection: sqlite3.Connection, heat_id: int) -> Heat:
    """One entry of a timetable, also a removed one.

    Raises:
        NotThere: there is no such entry.
    """
    row = connection.execute(f"SELECT {_HEAT} FROM heats WHERE id = ?", (heat_id,)).fetchone()  # noqa: S608
    if row is None:
        raise NotThere("There is no such heat.")
    return Heat(**row)


def next_heat(connection: sqlite3.Connection, meeting_id: int, now: datetime) -> Heat | None:
    """The car's next outing: not done yet, and due later than 15 minutes ago. Marshalling is none."""
    row = connection.execute(
        f"SELECT {_HEAT} FROM heats WHERE meeting_id = ? AND removed_at IS NULL "  # noqa: S608
        f"AND done_at IS NULL AND starts_at > ? AND kind IN ({', '.join('?' * len(CAR_KINDS))}) "
        "ORDER BY starts_at, id LIMIT 1",
        (meeting_id, stamp(now - LATE), *CAR_KINDS),
    ).fetchone()
    return None if row is None else Heat(**row)


def save_meeting(
    connection: sqlite3.Connection, item: Meeting, now: datetime, entries: Iterable[Entry] = ()
) -> tuple[int, str]:
    """Add the meeting (id 0) with these entries, or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such meeting.
    """
    values = item.model_dump(mode="json", exclude={"id", "version"})
    verb = "Changed" if item.id else "Added"
    with undo.step(connection, f"{verb} {item.title}", now) as step:
        if not item.id:
            meeting_id = _insert(connection, "meetings", values)
            step.made("meetings", meeting_id)
            _add_heats(connection, step, meeting_id, entries)
            return meeting_id, step.token
        meeting(connection, item.id)
        step.touch("meetings", item.id)
        changed = connection.execute(
            f"UPDATE meetings SET {', '.join(f'{name} = ?' for name in values)}, "  # noqa: S608
            "version = version + 1 WHERE id = ? AND version = ?",
            [*values.values(), item.id, item.version],
        )
        if not changed.rowcount:
            raise ChangedMeanwhile(
                "This meeting was changed on another screen since you opened it. Your entries "
                "are still here: compare, then save again."
            )
        return item.id, step.token


def add_heats(
    connection: sqlite3.Connection, meeting_id: int, entries: Iterable[Entry], now: datetime
) -> tuple[int, str]:
    """Put entries into a timetable; returns how many they were, and the undo token."""
    with undo.step(connection, "Added to the timetable", now) as step:
        many = _add_heats(connection, step, meeting_id, entries)
    return many, step.token


def _add_heats(
    connection: sqlite3.Connection, step: undo.Step, meeting_id: int, entries: Iterable[Entry]
) -> int:
    numbered = {
        row["kind"]: row["highest"]
        for row in connection.execute(
            "SELECT kind, max(number) AS highest FROM heats "
            "WHERE meeting_id = ? AND removed_at IS NULL GROUP BY kind",
            (meeting_id,),
        )
    }
    listed = list(entries)
    for kind, starts_at in listed:
        numbered[kind] = numbered.get(kind, 0) + 1
        values = {
            "meeting_id": meeting_id,
            "number": numbered[kind],
            "kind": kind,
            "starts_at": stamp(starts_at),
        }
        step.made("heats", _insert(connection, "heats", values))
    return len(listed)


def change_heat(connection: sqlite3.Connection, item: Heat, now: datetime) -> str:
    """Change one entry's kind, number and time; returns the undo token."""
    with undo.step(connection, f"Changed {item.title}", now) as step:
        step.touch("heats", item.id)
        connection.execute(
            "UPDATE heats SET kind = ?, number = ?, starts_at = ? WHERE id = ?",
            (item.kind, item.number, stamp(item.starts_at), item.id),
        )
    return step.token


def shift_heats(
    connection: sqlite3.Connection, item: Heat, by: timedelta, *, following: bool, now: datetime
) -> str:
    """Move one entry, or it and all not yet done that follow it; returns the undo token."""
    rows = connection.execute(
        "SELECT id, starts_at FROM heats WHERE id = ?1 OR (?2 AND meeting_id = ?3 "
        "AND removed_at IS NULL AND done_at IS NULL AND (starts_at, id) > (?4, ?1))",
        (item.id, following, item.meeting_id, stamp(item.starts_at)),
    ).fetchall()
    minutes = round(by.total_seconds() / 60)
    label = f"Moved {item.title}{' and all after it' if following else ''} by {minutes:+d} min"
    with undo.step(connection, label.replace("-", "−"), now) as step:
        for row in rows:
            step.touch("heats", row["id"])
            connection.execute(
                "UPDATE heats SET starts_at = ? WHERE id = ?",
                (stamp(when(row["starts_at"]) + by), row["id"]),
            )
    return step.token


def finish_heat(
    connection: sqlite3.Connection, heat_id: int, now: datetime, step: undo.Step | None = None
) -> str:
    """Mark an entry done, within the caller's undo step if given; returns the undo token."""
    item = heat(connection, heat_id)
    if step is not None:
        _finish(connection, step, item, now)
        return step.token
    with undo.step(connection, f"{item.title} done", now) as own:
        _finish(connection, own, item, now)
    return own.token


def _finish(connection: sqlite3.Connection, step: undo.Step, item: Heat, now: datetime) -> None:
    step.touch("heats", item.id)
    connection.execute(
        "UPDATE heats SET done_at = ? WHERE id = ? AND done_at IS NULL", (stamp(now), item.id)
    )


def reopen_heat(connection: sqlite3.Connection, heat_id: int, now: datetime) -> str:
    """Mark an entry as still to come; returns the undo token."""
    item = heat(connection, heat_id)
    with undo.step(connection, f"{item.title} not done", now) as step:
        step.touch("heats", item.id)
        connection.execute("UPDATE heats SET done_at = NULL WHERE id = ?", (item.id,))
    return step.token


def remove(
    connection: sqlite3.Connection, table: Literal["meetings", "heats"], item_id: int, now: datetime
) -> str:
    """Take a meeting or an entry out of the lists; returns the undo token. Its runs stay on record.

    Raises:
        NotThere: there is no such thing.
    """
    title = (meeting if table == "meetings" else heat)(connection, item_id).title
    with undo.step(connection, f"Removed {title}", now) as step:
        step.touch(table, item_id)
        connection.execute(
            f"UPDATE {table} SET removed_at = ? WHERE id = ?",  # noqa: S608
            (stamp(now), item_id),
        )
    return step.token


def _insert(connection: sqlite3.Connection, table: str, values: dict[str, Any]) -> int:
    made = connection.execute(
        f"INSERT INTO {table} ({', '.join(values)}) "  # noqa: S608
        f"VALUES ({', '.join('?' * len(values))})",
        list(values.values()),
    )
    return int(made.lastrowid or 0)
