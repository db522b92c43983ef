"""Weighed parts and corner weights in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from typing import Literal

from pitapp.db import records
from pitapp.db.pages import newest
from pitapp.kit.scales.models import Part, Weighing

Table = Literal["weighed_parts", "corner_weighings"]


def parts(connection: sqlite3.Connection, car_id: int) -> list[Part]:
    """The parts weighed for a car, by name."""
    order = "name COLLATE NOCASE, id"
    return records.listed(connection, Part, "weighed_parts", order, car_id=car_id)


def part(connection: sqlite3.Connection, part_id: int) -> Part:
    """One part.

    Raises:
        NotThere: there is no such part, or it was removed.
    """
    missing = "That part is not on the list."
    return records.by_id(connection, Part, "weighed_parts", part_id, missing=missing, listed=True)


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
    return records.by_id(
        connection,
        Weighing,
        "corner_weighings",
        weighing_id,
        missing="That weighing is not on record.",
        listed=True,
    )


def save_part(connection: sqlite3.Connection, item: Part, now: datetime) -> tuple[int, str]:
    """Add the part (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    return records.save(connection, "weighed_parts", item, item.name, now)


def save_weighing(connection: sqlite3.Connection, item: Weighing, now: datetime) -> tuple[int, str]:
    """Add the weighing (id 0) or change it; see `save_part`."""
    return records.save(connection, "corner_weighings", item, "the corner weights", now)


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
    return records.remove(connection, table, item_id, label, now)
