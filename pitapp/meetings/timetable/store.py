"""The timetables of meetings in the database."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import datetime, timedelta

from pitapp.dates import moment_in_range
from pitapp.db import from_db, records, to_db, undo
from pitapp.errors import Refused
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import CAR_KINDS, Heat, HeatKind
from pitapp.units import with_minus

LATE = timedelta(minutes=15)
_HEAT = ", ".join(Heat.model_fields)


def heats(connection: sqlite3.Connection, meeting_id: int) -> list[Heat]:
    """A meeting's timetable in the order of time."""
    return records.listed(connection, Heat, "heats", "starts_at, id", meeting_id=meeting_id)


def removed_heats(connection: sqlite3.Connection, meeting_id: int) -> list[Heat]:
    """What was taken out of a meeting's timetable."""
    rows = connection.execute(
        f"SELECT {_HEAT} FROM heats WHERE meeting_id = ? AND removed_at IS NOT NULL "  # noqa: S608
        "ORDER BY starts_at, id",
        (meeting_id,),
    )
    return [Heat(**row) for row in rows]


def heat(connection: sqlite3.Connection, heat_id: int) -> Heat:
    """One entry of a timetable, also a removed one.

    Raises:
        NotThere: there is no such entry.
    """
    return records.by_id(connection, Heat, "heats", heat_id, missing="There is no such heat.")


def next_heat(connection: sqlite3.Connection, meeting_id: int, now: datetime) -> Heat | None:
    """The car's next outing: not done yet, and due later than 15 minutes ago. Marshalling is none."""
    row = connection.execute(
        f"SELECT {_HEAT} FROM heats WHERE meeting_id = ? AND removed_at IS NULL "  # noqa: S608
        f"AND done_at IS NULL AND starts_at > ? AND kind IN ({', '.join('?' * len(CAR_KINDS))}) "
        "ORDER BY starts_at, id LIMIT 1",
        (meeting_id, to_db(now - LATE), *CAR_KINDS),
    ).fetchone()
    return None if row is None else Heat(**row)


def add_heats(
    connection: sqlite3.Connection, meeting_id: int, entries: Iterable[Entry], now: datetime
) -> tuple[int, str]:
    """Put entries into a timetable; returns how many they were, and the undo token."""
    with undo.step(connection, "Added to the timetable", now) as step:
        many = put_heats(connection, step, meeting_id, entries)
    return many, step.token


def put_heats(
    connection: sqlite3.Connection, step: undo.Step, meeting_id: int, entries: Iterable[Entry]
) -> int:
    """Put entries into a timetable within the caller's undo step; returns how many they were."""
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
            "starts_at": to_db(starts_at),
        }
        step.insert("heats", values)
    return len(listed)


def replace_heats(
    connection: sqlite3.Connection,
    step: undo.Step,
    meeting_id: int,
    listed: Iterable[tuple[HeatKind, int, datetime]],
    now: datetime,
) -> None:
    """Make a timetable say this: kind, number and start of each entry, within the caller's undo step.

    One of the same kind and number is moved; what is done stays as it was, also where it is not listed.
    """
    present = {(each.kind, each.number): each for each in heats(connection, meeting_id)}
    for kind, number, starts_at in listed:
        old = present.pop((kind, number), None)
        start = {"starts_at": to_db(starts_at)}
        if old is None:
            step.insert(
                "heats", {"meeting_id": meeting_id, "kind": kind, "number": number, **start}
            )
        elif old.done_at is None and old.starts_at != starts_at:
            step.change("heats", old.id, {**start, "sequence": old.sequence + 1})
    for old in present.values():
        if old.done_at is None:
            step.change("heats", old.id, {"sequence": old.sequence + 1})
            step.remove("heats", old.id, now)


def change_heat(connection: sqlite3.Connection, item: Heat, now: datetime) -> str:
    """Change one entry's kind, number and time; returns the undo token.

    Raises:
        ChangedMeanwhile: it was changed, moved or removed since the form was opened.
    """
    values = {
        "kind": item.kind,
        "number": item.number,
        "starts_at": to_db(item.starts_at),
        "sequence": heat(connection, item.id).sequence + 1,
    }
    with undo.step(connection, f"Changed {item.title}", now) as step:
        step.save("heats", item.id, item.version, values)
    return step.token


def shift_heats(
    connection: sqlite3.Connection, item: Heat, by: timedelta, *, following: bool, now: datetime
) -> str:
    """Move one entry, or it and all not yet done that follow it; returns the undo token."""
    rows = connection.execute(
        "SELECT id, version, starts_at, sequence FROM heats WHERE id = ?1 OR (?2 AND meeting_id = ?3 "
        "AND removed_at IS NULL AND done_at IS NULL AND (starts_at, id) > (?4, ?1))",
        (item.id, following, item.meeting_id, to_db(item.starts_at)),
    ).fetchall()
    minutes = round(by.total_seconds() / 60)
    label = f"Moved {item.title}{' and all after it' if following else ''} by {minutes:+d} min"
    with undo.step(connection, with_minus(label), now) as step:
        for row in rows:
            starts_at = to_db(_moved(from_db(row["starts_at"]), by))
            values = {"starts_at": starts_at, "sequence": row["sequence"] + 1}
            step.save("heats", row["id"], row["version"], values)
    return step.token


def finish_heat(
    connection: sqlite3.Connection, heat_id: int, now: datetime, step: undo.Step | None = None
) -> str:
    """Mark an entry done, within the caller's undo step if given; returns the undo token."""
    item = heat(connection, heat_id)
    done = {"done_at": to_db(item.done_at or now), "sequence": item.sequence + 1}
    if step is not None:
        step.change("heats", heat_id, done)
        return step.token
    with undo.step(connection, f"{item.title} done", now) as own:
        own.change("heats", heat_id, done)
    return own.token


def flag_heat(connection: sqlite3.Connection, heat_id: int, now: datetime) -> str:
    """Note that the flag fell on an outing; returns the undo token."""
    item = heat(connection, heat_id)
    with undo.step(connection, f"Flag of {item.title}", now) as step:
        step.change("heats", item.id, {"flag_at": to_db(now)})
    return step.token


def reopen_heat(connection: sqlite3.Connection, heat_id: int, now: datetime) -> str:
    """Mark an entry as still to come; returns the undo token."""
    item = heat(connection, heat_id)
    with undo.step(connection, f"{item.title} not done", now) as step:
        step.change("heats", item.id, {"done_at": None, "sequence": item.sequence + 1})
    return step.token


def _moved(starts_at: datetime, by: timedelta) -> datetime:
    try:
        return moment_in_range(starts_at + by)
    except ValueError as error:
        raise Refused(str(error)) from None
