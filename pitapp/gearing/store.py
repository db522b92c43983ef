"""The log of gears fitted."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import records, to_db
from pitapp.db.pages import newest
from pitapp.gearing.answer import GearFit
from pitapp.kit.models import Car

_FIT = ", ".join(GearFit.model_fields)


def fitted(
    connection: sqlite3.Connection, car_id: int, at: datetime | None = None
) -> GearFit | None:
    """The gear now in the car, or that of the moment `at`; None with none on record."""
    if at is None:
        return next(iter(log(connection, car_id, limit=1)), None)
    row = connection.execute(
        f"SELECT {_FIT} FROM gear_fits WHERE car_id = ? AND removed_at IS NULL AND fitted_at <= ? "  # noqa: S608
        "ORDER BY fitted_at DESC, id DESC LIMIT 1",
        (car_id, to_db(at)),
    ).fetchone()
    return None if row is None else GearFit(**row)


def log(
    connection: sqlite3.Connection, car_id: int, limit: int = 50, before_id: int | None = None
) -> list[GearFit]:
    """A page of the car's log, newest first, older than the entry `before_id` if given."""
    return newest(
        connection,
        GearFit,
        "gear_fits",
        "fitted_at",
        car_id=car_id,
        limit=limit,
        before=before_id,
    )


def fit(
    connection: sqlite3.Connection,
    car: Car,
    pinion: int,
    spur: int,
    now: datetime,
    *,
    present: datetime | None = None,
) -> tuple[GearFit, str]:
    """Log that this pair is in the car at `now`; returns the entry and the undo token.

    An entry later than `present` was made before the clock went back: the new one stands beside it,
    so that it is still the newest.
    """
    last = fitted(connection, car.id) if present else None
    if last and present and last.fitted_at > present:
        now = last.fitted_at
    entry = GearFit(
        car_id=car.id,
        pinion_teeth=pinion,
        spur_teeth=spur,
        internal_ratio=car.internal_ratio,
        tyre_diameter_mm=car.tyre_diameter_mm,
        fitted_at=now,
    )
    fit_id, token = records.add(connection, "gear_fits", entry, f"Fitted {pinion} / {spur}", now)
    return entry.model_copy(update={"id": fit_id}), token


def take_out(connection: sqlite3.Connection, fit_id: int, now: datetime) -> str:
    """Take an entry out of the log; returns the undo token.

    Raises:
        NotThere: there is no such entry.
    """
    missing = "That entry is not in the log."
    entry = records.by_id(connection, GearFit, "gear_fits", fit_id, missing=missing, listed=True)
    label = f"Deleted {entry.pinion_teeth} / {entry.spur_teeth} from the log"
    return records.remove(connection, "gear_fits", fit_id, label, now)
