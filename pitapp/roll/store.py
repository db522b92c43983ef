"""Tilt tests and how cars stand, in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import records, undo
from pitapp.db.pages import newest
from pitapp.roll.models import Parking, TiltTest

_TEST = ", ".join(TiltTest.model_fields)


def latest_test(connection: sqlite3.Connection, car_id: int) -> TiltTest | None:
    """The car's newest tilt test."""
    return next(iter(tilt_tests(connection, car_id, limit=1)), None)


def tilt_tests(
    connection: sqlite3.Connection, car_id: int, *, limit: int = 50, before: int | None = None
) -> list[TiltTest]:
    """The car's tilt tests, newest first, older than the test `before` if given."""
    return newest(
        connection, TiltTest, "tilt_tests", "tested_at", car_id=car_id, limit=limit, before=before
    )


def add_test(connection: sqlite3.Connection, item: TiltTest, now: datetime) -> str:
    """Write down a tilt test; returns the undo token."""
    label = f"Tilt test at {item.angle_deg:g}°"
    return records.add(connection, "tilt_tests", item, label, now)[1]


def remove_test(connection: sqlite3.Connection, test_id: int, now: datetime) -> str:
    """Take a tilt test out of the list; returns the undo token.

    Raises:
        NotThere: there is no such test.
    """
    return undo.remove_listed(
        connection,
        "tilt_tests",
        test_id,
        now,
        label="Removed a tilt test",
        missing="There is no such tilt test.",
    )


def parking(connection: sqlite3.Connection, car_id: int) -> Parking:
    """The car's last saved parking."""
    row = connection.execute(
        "SELECT car_id, drag_brake_percent, slope_deg FROM parked_cars WHERE car_id = ?", (car_id,)
    ).fetchone()
    return Parking(car_id=car_id) if row is None else Parking(**row)


def save_parking(connection: sqlite3.Connection, item: Parking) -> None:
    """Save how the car is parked."""
    connection.execute(
        "INSERT INTO parked_cars (car_id, drag_brake_percent, slope_deg) VALUES (?, ?, ?) "
        "ON CONFLICT (car_id) DO UPDATE SET drag_brake_percent = excluded.drag_brake_percent, "
        "slope_deg = excluded.slope_deg",
        (item.car_id, item.drag_brake_percent, item.slope_deg),
    )
