"""Weighed parts and corner weights in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from typing import Literal

from pitapp.db import to_db, undo
from pitapp.db.by_id import by_id
from pitapp.db.pages import newest
from pitapp.kit.scales.models import Part, Weighing

_PART = ", ".join(Part.model_fields)
_WEIGHING = ", ".join(Weighing.model_fields)
Table = Literal["weighed_parts", "corner_weighings"]


def parts(connection: sqlite3.Connection, car_id: int) -> list[Part]:
    """The parts weighed for a car, by name."""
    rows = connection.execute(
        f"SELECT {_PART} FROM weighed_parts WHERE car_id = ? AND removed_at IS NULL "  # noqa: S608
        "ORDER BY name COLLATE NOCASE, id",
        (car_id,),
    )
    return [Part(**row) for row in rows]


def part(connection: sqlite3.Connection, part_id: int) -> Part:
    """One part.

    Raises:
        NotThere: there is no such part, or it was removed.
    """
    row = by_id(
        connection,
        "weighed_parts",
        _PART,
        part_id,
        missing="That part is not on the list.",
        listed=True,
    )
    return Part(**row)


def weighings(
    connection: sqlite3.Connection, car_id: int, *, limit: int = 50, before: int | None = None
) -> list[Weighing]:
    """A car's corner weights, newest first, older than the weighing `before` if given."""
    return newest(
        connection,
        Weighing,
        "corner_weighings",
        "weighed_at",
        car_id=car_id,
        limit=limit,
        before=before,
    )


def weighing(connection: sqlite3.Connection, weighing_id: int) -> Weighing:
    """One weighing.

    Raises:
        NotThere: there is no such weighing, or it was removed.
    """
    row = by_id(
        connection,
        "corner_weighings",
        _WEIGHING,
        weighing_id,
        missing="That weighing is not on record.",
        listed=True,
    )
    return Weighing(**row)


def save_part(connection: sqlite3.Connection, item: Part, now: datetime) -> tuple[int, str]:
    """Add the part (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    values = item.model_dump(exclude={"id", "version"}) | {"fitted": int(item.fitted)}
    return _save(connection, "weighed_parts", item, values, item.name, now)


def save_weighing(connection: sqlite3.Connection, item: Weighing, now: datetime) -> tuple[int, str]:
    """Add the weighing (id 0) or change it; see `save_part`."""
    values = item.model_dump(exclude={"id", "version"}) | {"weighed_at": to_db(item.weighed_at)}
    return _save(connection, "corner_weighings", item, values, "the corner weights", now)


def _save(
    connection: sqlite3.Connection,
    table: Table,
    item: Part | Weighing,
    values: dict[str, object],
    name: str,
    now: datetime,
) -> tuple[int, str]:
    with undo.step(connection, f"{'Changed' if item.id else 'Added'} {name}", now) as step:
        return step.save(table, item.id, item.version, values), step.token


def remove(connection: sqlite3.Connection, table: Table, item_id: int, now: datetime) -> str:
    """Take a part or a weighing off the record; returns the undo token.

    Raises:
        NotThere: there is no such thing.
    """
    if table == "weighed_parts":
        label = f"Removed {part(connection, item_id).name}"
    else:
        weighing(connection, item_id)
        label = "Removed the corner weights"
    with undo.step(connection, label, now) as step:
        step.remove(table, item_id, now)
    return step.token
