"""Cars, motors and gears in the database."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from datetime import datetime
from typing import Literal

from pitapp.db import records, settings, undo
from pitapp.errors import NotThere
from pitapp.kit.models import Car, Gear, GearKind, Motor

CURRENT_CAR = "current_car_id"
MOST_DIGITS = 18
"""Of a number that SQLite still takes."""
_CAR = ", ".join(Car.model_fields)


def cars(connection: sqlite3.Connection) -> list[Car]:
    """Every car that was not removed, by name."""
    return records.listed(connection, Car, "cars", "name COLLATE NOCASE, id")


def car(connection: sqlite3.Connection, car_id: int) -> Car:
    """One car, also a removed one.

    Raises:
        NotThere: there is no such car.
    """
    return records.by_id(connection, Car, "cars", car_id, missing="There is no such car.")


def current_car(connection: sqlite3.Connection, chosen: dict[str, str]) -> Car | None:
    """The car that the screens are about: the one chosen, else the first."""
    car_id = chosen.get(CURRENT_CAR, "")[:MOST_DIGITS]
    row = connection.execute(
        f"SELECT {_CAR} FROM cars WHERE removed_at IS NULL "  # noqa: S608
        "ORDER BY id = ? DESC, id LIMIT 1",
        (int(car_id) if car_id.isdecimal() else 0,),
    ).fetchone()
    return None if row is None else Car(**row)


def car_in_use(connection: sqlite3.Connection, chosen: dict[str, str]) -> Car:
    """The car that the screens are about, where a screen cannot do without one.

    Raises:
        NotThere: there is no car yet.
    """
    car_found = current_car(connection, chosen)
    if car_found is None:
        raise NotThere("There is no car yet. Add it under Kit first.")
    return car_found


def choose_car(connection: sqlite3.Connection, car_id: int) -> Car:
    """Make this the car that the screens are about.

    Raises:
        NotThere: there is no such car.
    """
    chosen = car(connection, car_id)
    settings.save(connection, CURRENT_CAR, str(chosen.id))
    return chosen


def motors(connection: sqlite3.Connection) -> list[Motor]:
    """Every motor that was not removed, by name."""
    return records.listed(connection, Motor, "motors", "name COLLATE NOCASE, id")


def motor(connection: sqlite3.Connection, motor_id: int) -> Motor:
    """One motor, also a removed one.

    Raises:
        NotThere: there is no such motor.
    """
    return records.by_id(connection, Motor, "motors", motor_id, missing="There is no such motor.")


def save_car(connection: sqlite3.Connection, item: Car, now: datetime) -> tuple[int, str]:
    """Add the car (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such car.
    """
    return records.save(connection, "cars", item, item.name, now)


def measure_tyres(
    connection: sqlite3.Connection, step: undo.Step, car_id: int, diameter_mm: float
) -> None:
    """Give a car another tyre diameter, within the caller's undo step."""
    step.record_before("cars", car_id)
    connection.execute(
        "UPDATE cars SET tyre_diameter_mm = ?1, version = version + 1 "
        "WHERE id = ?2 AND tyre_diameter_mm != ?1",
        (diameter_mm, car_id),
    )


def save_motor(connection: sqlite3.Connection, item: Motor, now: datetime) -> tuple[int, str]:
    """Add the motor (id 0) or change it; see `save_car`."""
    return records.save(connection, "motors", item, item.name, now)


def remove(
    connection: sqlite3.Connection, table: Literal["cars", "motors"], item_id: int, now: datetime
) -> str:
    """Take a car or a motor out of the lists; returns the undo token. Its past stays on record.

    Raises:
        NotThere: there is no such thing.
    """
    name = (car if table == "cars" else motor)(connection, item_id).name
    return records.remove(connection, table, item_id, f"Removed {name}", now)


def gears(connection: sqlite3.Connection, pitch: str | None = None) -> list[Gear]:
    """The gear box, of one pitch if given, by pitch, kind and teeth."""
    rows = connection.execute(
        "SELECT id, kind, teeth, pitch FROM gears WHERE ?1 IS NULL OR pitch = ?1 "
        "ORDER BY pitch, kind, teeth",
        (pitch,),
    )
    return [Gear(**row) for row in rows]


def owned_teeth(connection: sqlite3.Connection, pitch: str) -> tuple[list[int], list[int]]:
    """The teeth of the pinions and of the spurs owned in that pitch."""
    teeth: dict[str, list[int]] = {"pinion": [], "spur": []}
    for row in connection.execute(
        "SELECT kind, teeth FROM gears WHERE pitch = ? ORDER BY teeth", (pitch,)
    ):
        teeth[row["kind"]].append(row["teeth"])
    return teeth["pinion"], teeth["spur"]


def add_gears(
    connection: sqlite3.Connection, kind: GearKind, pitch: str, teeth: list[int], now: datetime
) -> tuple[list[int], str]:
    """Put gears of one kind into the box; returns the teeth that are new there, and the undo token."""
    new, token = add_to_box(connection, pitch, {kind: teeth}, now)
    return new.get(kind, []), token


def add_to_box(
    connection: sqlite3.Connection,
    pitch: str,
    teeth: Mapping[GearKind, list[int]],
    now: datetime,
) -> tuple[dict[GearKind, list[int]], str]:
    """Put gears into the box, by kind; returns the teeth that are new there, and the undo token."""
    new: dict[GearKind, list[int]] = {}
    many = " and ".join(
        f"{len(counts)} {kind}s" if len(counts) > 1 else f"{counts[0]}-tooth {kind}"
        for kind, counts in teeth.items()
    )
    with undo.step(connection, f"Added {many}", now) as step:
        for kind, counts in teeth.items():
            for count in counts:
                cursor = connection.execute(
                    "INSERT INTO gears (kind, teeth, pitch) VALUES (?, ?, ?) "
                    "ON CONFLICT DO NOTHING",
                    (kind, count, pitch),
                )
                if cursor.rowcount:
                    new.setdefault(kind, []).append(count)
                    step.record_insert("gears", int(cursor.lastrowid or 0))
    return new, step.token


def add_motor(
    connection: sqlite3.Connection, step: undo.Step, item: Motor, car_id: int | None
) -> int:
    """Add a motor within the caller's undo step, into the car if one is given; returns its id."""
    motor_id = step.insert("motors", records.columns(item))
    if car_id is not None:
        step.change("cars", car_id, {"motor_id": motor_id}, new_version=True)
    return motor_id


def remove_gear(connection: sqlite3.Connection, gear_id: int, now: datetime) -> tuple[Gear, str]:
    """Take a gear out of the box; returns it and the undo token.

    Raises:
        NotThere: it is not in the box.
    """
    row = connection.execute(
        "SELECT id, kind, teeth, pitch FROM gears WHERE id = ?", (gear_id,)
    ).fetchone()
    if row is None:
        raise NotThere("That gear is not in the box.")
    gear = Gear(**row)
    with undo.step(connection, f"Removed the {gear.teeth}-tooth {gear.kind}", now) as step:
        step.delete("gears", gear_id)
    return gear, step.token
