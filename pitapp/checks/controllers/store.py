"""Controllers and the cars they are in, in the database."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import datetime

from pitapp.checks.lists.store import put_checklist
from pitapp.checks.models import Checklist, Controller, Step
from pitapp.db import records, to_db, undo

OF_PROFILES = ("profile_name", "profile_class_id")
_CONTROLLER = tuple(Controller.model_fields)
_COLUMNS = ", ".join(f"controllers.{name}" for name in _CONTROLLER)
_NEWEST = "(SELECT max(id) FROM car_controllers AS newest WHERE newest.car_id = {})"


def controllers(connection: sqlite3.Connection) -> list[Controller]:
    """Every controller that was not removed, by name."""
    return records.listed(connection, Controller, "controllers", "name COLLATE NOCASE, id")


def controller(connection: sqlite3.Connection, controller_id: int) -> Controller:
    """One controller, also a removed one.

    Raises:
        NotThere: there is no such controller.
    """
    missing = "There is no such controller."
    return records.by_id(connection, Controller, "controllers", controller_id, missing=missing)


def in_car(connection: sqlite3.Connection, car_id: int) -> Controller | None:
    """The controller now in the car."""
    row = connection.execute(
        f"SELECT {_COLUMNS} FROM car_controllers "  # noqa: S608
        "JOIN controllers ON controllers.id = car_controllers.controller_id "
        f"WHERE car_controllers.id = {_NEWEST.format('?')} AND removed_at IS NULL",
        (car_id,),
    ).fetchone()
    return None if row is None else Controller(**row)


def cars_of(connection: sqlite3.Connection) -> dict[int, dict[int, str]]:
    """The cars that each controller is in, as {controller's id: {car's id: car's name}}."""
    cars: dict[int, dict[int, str]] = {}
    for row in connection.execute(
        "SELECT controller_id, cars.id, cars.name FROM cars "  # noqa: S608
        f"JOIN car_controllers ON car_controllers.id = {_NEWEST.format('cars.id')} "
        "WHERE controller_id IS NOT NULL AND cars.removed_at IS NULL "
        "ORDER BY cars.name COLLATE NOCASE, cars.id"
    ):
        cars.setdefault(row["controller_id"], {})[row["id"]] = row["name"]
    return cars


def put_in(connection: sqlite3.Connection, car_id: int, item: Controller, now: datetime) -> str:
    """Note that this controller is in the car from now on; returns the undo token."""
    with undo.step(connection, f"Put {item.name} into the car", now) as step:
        _put_in(step, car_id, item.id, now)
    return step.token


def take_out(connection: sqlite3.Connection, car_id: int, now: datetime) -> str:
    """Note that there is no controller in the car from now on; returns the undo token."""
    with undo.step(connection, "Took the controller out of the car", now) as step:
        _put_in(step, car_id, None, now)
    return step.token


def add(
    connection: sqlite3.Connection,
    item: Controller,
    settings: Iterable[Step],
    car_id: int | None,
    now: datetime,
) -> tuple[int, str]:
    """Add a controller with the list of its settings, and put it into the car if one is given."""
    with undo.step(connection, f"Added {item.name}", now) as step:
        new_id = add_in(connection, step, item, settings, car_id, now)
    return new_id, step.token


def add_in(
    connection: sqlite3.Connection,
    step: undo.Step,
    item: Controller,
    settings: Iterable[Step],
    car_id: int | None,
    now: datetime,
) -> int:
    """As `add`, within the caller's undo step; returns the id."""
    new_id = step.insert("controllers", records.columns(item))
    own = Checklist(name=f"{item.name}: settings"[:60], occasion="settings", controller_id=new_id)
    put_checklist(connection, own, settings, step)
    if car_id is not None:
        _put_in(step, car_id, new_id, now)
    return new_id


def change(connection: sqlite3.Connection, item: Controller, now: datetime) -> str:
    """Change a controller, all but its profiles; returns the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    values = records.columns(item, *OF_PROFILES)
    with undo.step(connection, f"Changed {item.name}", now) as step:
        step.save("controllers", item.id, item.version, values)
    return step.token


def remove(connection: sqlite3.Connection, controller_id: int, now: datetime) -> str:
    """Take a controller out of the lists; returns the undo token. Its past stays on record.

    Raises:
        NotThere: there is no such controller.
    """
    name = controller(connection, controller_id).name
    return records.remove(connection, "controllers", controller_id, f"Removed {name}", now)


def _put_in(step: undo.Step, car_id: int, controller_id: int | None, now: datetime) -> None:
    values = {"car_id": car_id, "controller_id": controller_id, "since": to_db(now)}
    step.insert("car_controllers", values)
