"""Tyre sets, and the tyres now on a car, in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import records, to_db, undo
from pitapp.errors import NotThere
from pitapp.kit import store as kit
from pitapp.runs.models import Fitted, TyreSet

_STORED = tuple(name for name in TyreSet.model_fields if name != "runs_logged")
_SELECT = (
    f"SELECT {', '.join(f'tyre_sets.{name}' for name in _STORED)}, (SELECT count(*) FROM runs "  # noqa: S608
    "WHERE runs.tyre_set_id = tyre_sets.id AND runs.removed_at IS NULL) AS runs_logged "
    "FROM tyre_sets "
)


def tyre_sets(connection: sqlite3.Connection) -> list[TyreSet]:
    """Every tyre set that was not removed, by name."""
    rows = connection.execute(
        f"{_SELECT} WHERE removed_at IS NULL ORDER BY name COLLATE NOCASE, id"
    )
    return [TyreSet(**row) for row in rows]


def tyre_set(connection: sqlite3.Connection, set_id: int) -> TyreSet:
    """One tyre set, also a removed one.

    Raises:
        NotThere: there is no such set.
    """
    row = connection.execute(f"{_SELECT} WHERE id = ?", (set_id,)).fetchone()
    if row is None:
        raise NotThere("There is no such tyre set.")
    return TyreSet(**row)


def runs_done_before(connection: sqlite3.Connection, item: TyreSet, moment: datetime) -> int:
    """The runs that the set had done before that moment, those from outside the log included."""
    logged = connection.execute(
        "SELECT count(*) FROM runs WHERE tyre_set_id = ? AND started_at < ? AND removed_at IS NULL",
        (item.id, to_db(moment)),
    ).fetchone()
    return item.runs_elsewhere + int(logged[0])


def save(connection: sqlite3.Connection, item: TyreSet, now: datetime) -> tuple[int, str]:
    """Add the set (id 0) or change it; returns its id and the undo token.

    A new diameter is also that of every car that it is on.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such set.
    """
    values = records.columns(item, "runs_logged")
    verb = "Changed" if item.id else "Added"
    with undo.step(connection, f"{verb} tyres {item.name}", now) as step:
        if item.id:
            tyre_set(connection, item.id)
        set_id = step.save("tyre_sets", item.id, item.version, values)
        for car_id in _cars_with_set(connection, set_id):
            _measure(connection, step, car_id, item)
    return set_id, step.token


def remove(connection: sqlite3.Connection, set_id: int, now: datetime) -> str:
    """Take a set out of the lists; returns the undo token. Its runs stay on record.

    Raises:
        NotThere: there is no such set.
    """
    name = tyre_set(connection, set_id).name
    return records.remove(connection, "tyre_sets", set_id, f"Removed tyres {name}", now)


def fitted(connection: sqlite3.Connection, car_id: int) -> Fitted:
    """The tyres now on the car, as far as that is on record."""
    row = connection.execute(
        "SELECT tyre_sets.id AS tyre_set_id FROM car_fitted LEFT JOIN tyre_sets "
        "ON tyre_sets.id = car_fitted.tyre_set_id AND tyre_sets.removed_at IS NULL "
        "WHERE car_fitted.car_id = ? ORDER BY car_fitted.id DESC LIMIT 1",
        (car_id,),
    ).fetchone()
    return Fitted() if row is None else Fitted(**row)


def fit_tyres(connection: sqlite3.Connection, car_id: int, set_id: int, now: datetime) -> str:
    """Note that this set is on the car from now on; returns the undo token.

    The car's tyre diameter becomes the set's, where that was measured.

    Raises:
        NotThere: there is no such set.
    """
    item = tyre_set(connection, set_id)
    with undo.step(connection, f"Put tyres {item.name} on", now) as step:
        note_fitted(connection, step, car_id, set_id, now)
        _measure(connection, step, car_id, item)
    return step.token


def note_fitted(
    connection: sqlite3.Connection, step: undo.Step, car_id: int, set_id: int, now: datetime
) -> None:
    """Note within the caller's undo step which set is on the car from now on, if that is news."""
    if fitted(connection, car_id).tyre_set_id == set_id:
        return
    step.insert("car_fitted", {"car_id": car_id, "tyre_set_id": set_id, "since": to_db(now)})


def cars_by_set(connection: sqlite3.Connection) -> dict[int, list[str]]:
    """The names of the cars that each set is on, by the set's id."""
    names: dict[int, list[str]] = {}
    for row in connection.execute(
        "SELECT car_fitted.tyre_set_id, cars.name FROM cars JOIN car_fitted ON car_fitted.id = "
        "(SELECT max(newest.id) FROM car_fitted AS newest WHERE newest.car_id = cars.id) "
        "WHERE cars.removed_at IS NULL AND car_fitted.tyre_set_id IS NOT NULL ORDER BY cars.name"
    ):
        names.setdefault(row["tyre_set_id"], []).append(row["name"])
    return names


def _cars_with_set(connection: sqlite3.Connection, set_id: int) -> list[int]:
    rows = connection.execute(
        "SELECT cars.id FROM cars JOIN car_fitted ON car_fitted.id = "
        "(SELECT max(newest.id) FROM car_fitted AS newest WHERE newest.car_id = cars.id) "
        "WHERE cars.removed_at IS NULL AND car_fitted.tyre_set_id = ?",
        (set_id,),
    )
    return [row["id"] for row in rows]


def _measure(connection: sqlite3.Connection, step: undo.Step, car_id: int, item: TyreSet) -> None:
    if item.diameter_mm is not None:
        kit.measure_tyres(connection, step, car_id, item.diameter_mm)
