"""Parts with hours in the database, and what the log says that they have run."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import records, to_db, undo
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.kit.wear.formulas import over_limit
from pitapp.kit.wear.models import Hours, PartHours, WornPart

_PART = ", ".join(WornPart.model_fields)
USUAL_CAR = ("Differential", "Bearings", "Belt")
USUAL_MOTOR = ("Rotor",)


def parts(connection: sqlite3.Connection) -> list[PartHours]:
    """Every part in the kit's cars and motors with what it has run, by where it is."""
    places = [("car_id", each.id, each.name) for each in kit.cars(connection)]
    places += [("motor_id", each.id, each.name) for each in kit.motors(connection)]
    listed = records.listed(connection, WornPart, "worn_parts", "name, id")
    return [
        PartHours(part, place, hours(connection, part))
        for column, item_id, place in places
        for part in listed
        if getattr(part, column) == item_id
    ]


def overdue(connection: sqlite3.Connection, car: Car) -> list[PartHours]:
    """The parts of a car and of its motor that have reached their limit."""
    rows = connection.execute(
        f"SELECT {_PART} FROM worn_parts WHERE removed_at IS NULL "  # noqa: S608
        "AND (car_id = ? OR motor_id = ?) "
        "AND (most_runs IS NOT NULL OR most_minutes IS NOT NULL) ORDER BY name, id",
        (car.id, car.motor_id),
    )
    limited = [PartHours(part := WornPart(**row), "", hours(connection, part)) for row in rows]
    return [each for each in limited if over_limit(each.part, each.hours)]


def part(connection: sqlite3.Connection, worn_id: int) -> WornPart:
    """One part.

    Raises:
        NotThere: there is no such part, or it was removed.
    """
    missing = "That part is not on the list."
    return records.by_id(connection, WornPart, "worn_parts", worn_id, missing=missing, listed=True)


def hours(connection: sqlite3.Connection, item: WornPart) -> Hours:
    """What a part has run since it was new or rebuilt, with what it had run before.

    A run without a time of its own counts as long as its class runs; without a class it is counted
    as a run alone.
    """
    column = "car_id" if item.car_id is not None else "motor_id"
    row = connection.execute(
        "SELECT count(*) AS runs, "  # noqa: S608
        "sum(coalesce(runs.run_s, race_classes.run_length_s)) AS seconds, "
        "sum(coalesce(runs.run_s, race_classes.run_length_s) IS NULL) AS untimed "
        "FROM runs LEFT JOIN race_classes ON race_classes.id = runs.race_class_id "
        f"WHERE runs.removed_at IS NULL AND runs.{column} = ? AND runs.started_at >= ?",
        (item.car_id or item.motor_id, to_db(item.since)),
    ).fetchone()
    return Hours(
        item.runs_before + row["runs"],
        item.minutes_before + (row["seconds"] or 0) / 60,
        row["untimed"] or 0,
    )


def save(connection: sqlite3.Connection, item: WornPart, now: datetime) -> tuple[int, str]:
    """Add the part (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    return records.save(connection, "worn_parts", item, item.name, now)


def add_usual(connection: sqlite3.Connection, car: Car, now: datetime) -> str:
    """Add what usually wears in a car and its motor, new from now on; returns the undo token."""
    with undo.step(connection, "Added the usual parts", now) as step:
        for name in USUAL_CAR:
            step.insert("worn_parts", {"car_id": car.id, "name": name, "since": to_db(now)})
        for name in USUAL_MOTOR if car.motor_id is not None else ():
            values = {"motor_id": car.motor_id, "name": name, "since": to_db(now)}
            step.insert("worn_parts", values)
    return step.token


def renew(connection: sqlite3.Connection, item: WornPart, now: datetime) -> str:
    """Count from now on, as after a rebuild; what it had run is kept. Returns the undo token."""
    so_far = hours(connection, item)
    values = {
        "since": to_db(now),
        "runs_before": 0,
        "minutes_before": 0,
        "last_runs": so_far.runs,
        "last_minutes": round(so_far.minutes, 1),
    }
    with undo.step(connection, f"{item.name} is new again", now) as step:
        step.save("worn_parts", item.id, item.version, values)
    return step.token


def remove(connection: sqlite3.Connection, worn_id: int, now: datetime) -> str:
    """Take a part off the list; returns the undo token.

    Raises:
        NotThere: there is no such part.
    """
    label = f"Removed {part(connection, worn_id).name}"
    return records.remove(connection, "worn_parts", worn_id, label, now)
