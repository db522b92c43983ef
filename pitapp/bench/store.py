"""Motor checks in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.bench.models import MotorCheck
from pitapp.db import records, to_db
from pitapp.db.pages import newest

_CHECK = ", ".join(MotorCheck.model_fields)
_END = "9999"


def checks(
    connection: sqlite3.Connection, motor_id: int, *, limit: int = 50, before: int | None = None
) -> list[MotorCheck]:
    """A motor's checks, newest first, older than the check `before` if given."""
    return newest(
        connection,
        MotorCheck,
        "motor_checks",
        "checked_at",
        motor_id=motor_id,
        limit=limit,
        before=before,
    )


def check(connection: sqlite3.Connection, check_id: int) -> MotorCheck:
    """One check.

    Raises:
        NotThere: there is no such check, or it was removed.
    """
    missing = "That check is not on record."
    return records.by_id(
        connection, MotorCheck, "motor_checks", check_id, missing=missing, listed=True
    )


def latest_checks(connection: sqlite3.Connection) -> dict[int, MotorCheck]:
    """The newest check of each motor still in the kit, by the motor's id."""
    rows = connection.execute(
        f"SELECT {_CHECK} FROM motor_checks WHERE id IN (SELECT "  # noqa: S608
        "(SELECT id FROM motor_checks WHERE motor_id = motors.id AND removed_at IS NULL "
        "ORDER BY checked_at DESC, id DESC LIMIT 1) FROM motors WHERE removed_at IS NULL)"
    )
    return {row["motor_id"]: MotorCheck(**row) for row in rows}


def check_when_new(connection: sqlite3.Connection, until: MotorCheck) -> MotorCheck | None:
    """What a check is compared with: the last one up to it that was marked new, else the first."""
    row = connection.execute(
        f"SELECT {_CHECK} FROM motor_checks WHERE id = {_when_new('?1', '(?2, ?3)')}",  # noqa: S608
        (until.motor_id, to_db(until.checked_at), until.id),
    ).fetchone()
    return None if row is None else MotorCheck(**row)


def checks_when_new(connection: sqlite3.Connection) -> dict[int, MotorCheck]:
    """What the newest check of each motor is compared with, by the motor's id."""
    rows = connection.execute(
        f"SELECT {_CHECK} FROM motor_checks WHERE id IN "  # noqa: S608
        f"(SELECT {_when_new('motors.id', '(?1, 0)')} FROM motors WHERE removed_at IS NULL)",
        (_END,),
    )
    return {row["motor_id"]: MotorCheck(**row) for row in rows}


def _when_new(motor_id: str, until: str) -> str:
    """An expression for the id of that motor's check when new, among those up to a moment and id."""
    up_to = (
        f"SELECT id FROM motor_checks WHERE motor_id = {motor_id} "  # noqa: S608
        f"AND (checked_at, id) <= {until} AND removed_at IS NULL "
        "AND (free_rpm IS NOT NULL OR current_a IS NOT NULL)"
    )
    return (
        f"coalesce(({up_to} AND as_new = 1 ORDER BY checked_at DESC, id DESC LIMIT 1), "
        f"({up_to} ORDER BY checked_at, id LIMIT 1))"
    )


def save_check(connection: sqlite3.Connection, item: MotorCheck, now: datetime) -> tuple[int, str]:
    """Add the check (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    return records.save(connection, "motor_checks", item, "the check", now)


def remove_check(connection: sqlite3.Connection, check_id: int, now: datetime) -> tuple[int, str]:
    """Take a check off the record; returns its motor's id and the undo token.

    Raises:
        NotThere: there is no such check.
    """
    motor_id = check(connection, check_id).motor_id
    return motor_id, records.remove(connection, "motor_checks", check_id, "Removed the check", now)
