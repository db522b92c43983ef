"""Own checks of the rev limit, and comparisons of the phone's ear with an instrument, in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import to_db, undo
from pitapp.db.pages import newest
from pitapp.sound.models import Comparison, RevCheck

MOST = 50


def comparisons(connection: sqlite3.Connection) -> list[Comparison]:
    """The racer's own comparisons, newest first."""
    rows = connection.execute(
        "SELECT id, compared_at, heard_rpm, instrument_rpm FROM sound_comparisons "
        "WHERE removed_at IS NULL ORDER BY compared_at DESC, id DESC LIMIT ?",
        (MOST,),
    )
    return [Comparison(**row) for row in rows]


def add_comparison(connection: sqlite3.Connection, item: Comparison, now: datetime) -> str:
    """Note a comparison; returns the undo token."""
    values = item.model_dump(exclude={"id"}) | {"compared_at": to_db(item.compared_at)}
    with undo.step(connection, "Noted the comparison", now) as step:
        step.insert("sound_comparisons", values)
    return step.token


def remove_comparison(connection: sqlite3.Connection, comparison_id: int, now: datetime) -> str:
    """Take a comparison out of the list; returns the undo token.

    Raises:
        NotThere: there is no such comparison.
    """
    return undo.remove_listed(
        connection,
        "sound_comparisons",
        comparison_id,
        now,
        label="Removed the comparison",
        missing="That comparison is not on record.",
    )


def rev_checks(connection: sqlite3.Connection, car_id: int, *, limit: int = 10) -> list[RevCheck]:
    """The car's own checks of the rev limit, newest first."""
    return newest(connection, RevCheck, "rev_checks", "checked_at", car_id=car_id, limit=limit)


def add_rev_check(connection: sqlite3.Connection, item: RevCheck, now: datetime) -> str:
    """Write down an own check of the rev limit; returns the undo token."""
    values = item.model_dump(exclude={"id"}) | {"checked_at": to_db(item.checked_at)}
    with undo.step(connection, "Saved the own check of the rev limit", now) as step:
        step.insert("rev_checks", values)
    return step.token


def remove_rev_check(connection: sqlite3.Connection, rev_check_id: int, now: datetime) -> str:
    """Take an own check of the rev limit out of the list; returns the undo token.

    Raises:
        NotThere: there is no such check.
    """
    return undo.remove_listed(
        connection,
        "rev_checks",
        rev_check_id,
        now,
        label="Removed the own check of the rev limit",
        missing="That check is not on record.",
    )
