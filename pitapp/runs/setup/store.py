"""Set-up entries in the database."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from datetime import datetime

from pitapp.db import records, undo
from pitapp.errors import Refused
from pitapp.runs.formulas import SetupLine
from pitapp.runs.models import Setting, SetupEntry

MOST_USED = 8
MOST_ENTRIES = 200
_COLUMNS = ", ".join(SetupEntry.model_fields)


def entries(connection: sqlite3.Connection, car_id: int) -> list[SetupEntry]:
    """A car's set-up in the racer's order: groups in the order of their first entries."""
    rows = connection.execute(
        f"SELECT {_COLUMNS} FROM car_setup WHERE car_id = ? AND removed_at IS NULL "  # noqa: S608
        "ORDER BY position, id",
        (car_id,),
    )
    grouped: dict[str, list[SetupEntry]] = {}
    for row in rows:
        grouped.setdefault(row["group_name"], []).append(_entry(row))
    return [entry for group in grouped.values() for entry in group]


def settings(connection: sqlite3.Connection, car_id: int) -> tuple[Setting, ...]:
    """A car's set-up as a snapshot keeps it: every entry that has a value."""
    return tuple(
        Setting(group=entry.group_name, name=entry.name, value=entry.value, unit=entry.unit)
        for entry in entries(connection, car_id)
        if entry.value
    )


def entry(connection: sqlite3.Connection, entry_id: int) -> SetupEntry:
    """One entry that was not removed.

    Raises:
        NotThere: there is no such entry.
    """
    missing = "There is no such entry in the set-up."
    row = records.row_by_id(
        connection, "car_setup", _COLUMNS, entry_id, missing=missing, listed=True
    )
    return _entry(row)


def add(
    connection: sqlite3.Connection,
    car_id: int,
    written: Sequence[SetupLine],
    now: datetime,
    step: undo.Step | None = None,
) -> tuple[int, str]:
    """Add entries at the end of a car's list, within the caller's undo step if given.

    Returns how many they were, and the undo token. One that is listed already under its group and
    name gets the new value instead, if there is one.

    Raises:
        Refused: the list would be longer than 200 entries.
    """
    if step is not None:
        return _add(connection, car_id, written, step), step.token
    with undo.step(connection, "Added to the set-up", now) as own:
        return _add(connection, car_id, written, own), own.token


def _add(
    connection: sqlite3.Connection, car_id: int, written: Sequence[SetupLine], step: undo.Step
) -> int:
    stored = {_key(old.group_name, old.name): old for old in entries(connection, car_id)}
    place = max((old.position for old in stored.values()), default=0)
    for new in written:
        key = _key(new.group, new.name)
        old = stored.get(key)
        if old is not None:
            fresh = old.model_copy(
                update={"value": new.value or old.value, "unit": new.unit or old.unit}
            )
            stored[key] = _save(step, _remembering(old, fresh))
            continue
        if len(stored) >= MOST_ENTRIES:
            raise Refused(f"A set-up has at most {MOST_ENTRIES} entries.")
        place += 1
        entry = SetupEntry(
            car_id=car_id,
            group_name=new.group,
            name=new.name,
            value=new.value,
            unit=new.unit,
            position=place,
        )
        stored[key] = _save(step, entry)
    return len(written)


def copy(
    connection: sqlite3.Connection, from_car_id: int, to_car_id: int, now: datetime
) -> tuple[int, str]:
    """Add another car's entries to a car's list; returns how many they were, and the undo token."""
    written = [
        SetupLine(each.group_name, each.name, each.value, each.unit)
        for each in entries(connection, from_car_id)
    ]
    return add(connection, to_car_id, written, now)


def set_value(
    connection: sqlite3.Connection, entry_id: int, value: str, now: datetime
) -> tuple[SetupEntry, str]:
    """Give an entry a new value, remembering the one before; returns it and the undo token.

    Raises:
        NotThere: there is no such entry.
    """
    old = entry(connection, entry_id)
    fresh = SetupEntry(**(old.model_dump() | {"value": value}))
    with undo.step(connection, f"Changed {old.name}", now) as step:
        _save(step, _remembering(old, fresh))
    return entry(connection, entry_id), step.token


def save(connection: sqlite3.Connection, item: SetupEntry, now: datetime) -> tuple[SetupEntry, str]:
    """Change an entry as a whole; returns it as it is then, and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such entry.
    """
    old = entry(connection, item.id)
    fixed = {"car_id": old.car_id, "position": old.position, "used": old.used}
    with undo.step(connection, f"Changed {item.name}", now) as step:
        _save(step, _remembering(old, item.model_copy(update=fixed)))
    return entry(connection, item.id), step.token


def place(connection: sqlite3.Connection, entry_id: int) -> int:
    """The place of an entry in its group, from 1.

    Raises:
        NotThere: there is no such entry.
    """
    group = _group(connection, entry(connection, entry_id))
    return [other.id for other in group].index(entry_id) + 1


def _group(connection: sqlite3.Connection, item: SetupEntry) -> list[SetupEntry]:
    all_entries = entries(connection, item.car_id)
    return [other for other in all_entries if other.group_name == item.group_name]


def move(connection: sqlite3.Connection, entry_id: int, by: int, now: datetime) -> str:
    """Move an entry up (−1) or down (+1) in its group; returns the undo token.

    Raises:
        NotThere: there is no such entry.
    """
    moved = entry(connection, entry_id)
    group = _group(connection, moved)
    order = [other.id for other in group]
    at = order.index(entry_id)
    to = min(max(at + (1 if by > 0 else -1), 0), len(order) - 1)
    order.insert(to, order.pop(at))
    places = sorted(other.position for other in group)
    with undo.step(connection, f"Moved {moved.name}", now) as step:
        for other_id, place in zip(order, places, strict=True):
            step.change("car_setup", other_id, {"position": place})
    return step.token


def remove(connection: sqlite3.Connection, entry_id: int, now: datetime) -> tuple[SetupEntry, str]:
    """Take an entry out of the list; returns it and the undo token. Past runs keep theirs.

    Raises:
        NotThere: there is no such entry.
    """
    item = entry(connection, entry_id)
    return item, records.remove(connection, "car_setup", entry_id, f"Removed {item.name}", now)


def _remembering(old: SetupEntry, fresh: SetupEntry) -> SetupEntry:
    if old.value == fresh.value or not old.value:
        return fresh
    used = (old.value, *(value for value in old.used if value not in (old.value, fresh.value)))
    return fresh.model_copy(update={"used": used[:MOST_USED]})


def _save(step: undo.Step, item: SetupEntry) -> SetupEntry:
    """Add the entry or change it; returns it as it is then."""
    entry_id = step.save("car_setup", item.id, item.version, records.columns(item))
    version = item.version + 1 if item.id else 1
    return item.model_copy(update={"id": entry_id, "version": version})


def _entry(row: sqlite3.Row) -> SetupEntry:
    return SetupEntry(**(dict(row) | {"used": tuple(json.loads(row["used"]))}))


def _key(group: str, name: str) -> tuple[str, str]:
    return group.casefold(), name.casefold()
