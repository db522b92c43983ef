"""Packs, their readings and where they are stored, in the database. Charges are in `charging`."""

from __future__ import annotations

import json
import sqlite3
from datetime import datetime
from typing import Literal

from pitapp.db import from_db, records, to_db, undo
from pitapp.packs.models import InCar, Pack, Reading, Storage

_READING = ", ".join(Reading.model_fields)
_STORAGE = ", ".join(Storage.model_fields)


def packs(connection: sqlite3.Connection) -> list[Pack]:
    """Every pack that was not removed, sound ones first, by mark."""
    order = "damaged OR retired_at IS NOT NULL, mark COLLATE NOCASE, id"
    return records.listed(connection, Pack, "packs", order)


def pack(connection: sqlite3.Connection, pack_id: int) -> Pack:
    """One pack, also a removed one.

    Raises:
        NotThere: there is no such pack.
    """
    return records.by_id(connection, Pack, "packs", pack_id, missing="There is no such pack.")


def save_pack(connection: sqlite3.Connection, item: Pack, now: datetime) -> tuple[int, str]:
    """Add the pack (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such pack.
    """
    if item.id:
        pack(connection, item.id)
    return records.save(connection, "packs", item, f"pack {item.mark}", now)


def add_at_storage(connection: sqlite3.Connection, item: Pack, now: datetime) -> tuple[int, str]:
    """Add a pack that is at storage charge; returns its id and the undo token of both entries."""
    with undo.step(connection, f"Added pack {item.mark}", now) as step:
        pack_id = step.insert("packs", records.columns(item))
        stored = Storage(pack_id=pack_id, stored_at=now)
        step.insert("pack_storages", records.columns(stored))
    return pack_id, step.token


def set_condition(
    connection: sqlite3.Connection,
    pack_id: int,
    condition: Literal["sound", "retired", "damaged"],
    damage: str,
    now: datetime,
) -> str:
    """Mark a pack as sound, retired or damaged (with what was seen); returns the undo token."""
    item = pack(connection, pack_id)
    with undo.step(connection, f"Marked pack {item.mark} as {condition}", now) as step:
        values = {
            "damaged": condition == "damaged",
            "damage": damage if condition == "damaged" else "",
            "retired_at": to_db(now) if condition == "retired" else None,
        }
        step.change("packs", pack_id, values, new_version=True)
    return step.token


def remove(
    connection: sqlite3.Connection,
    table: Literal["packs", "pack_readings", "pack_storages"],
    item_id: int,
    label: str,
    now: datetime,
) -> str:
    """Take a pack or an entry of its history out of the lists; returns the undo token."""
    return records.remove(connection, table, item_id, label, now)


def readings(
    connection: sqlite3.Connection, pack_id: int, *, limit: int = 50, before: int | None = None
) -> list[Reading]:
    """A pack's readings, newest first, older than the reading `before` if given."""
    rows = connection.execute(
        f"SELECT {_READING} FROM pack_readings WHERE pack_id = ?1 AND removed_at IS NULL "  # noqa: S608
        "AND (?2 IS NULL OR (read_at, id) < (SELECT read_at, id FROM pack_readings WHERE id = ?2)) "
        "ORDER BY read_at DESC, id DESC LIMIT ?3",
        (pack_id, before, limit),
    )
    return [_reading(row) for row in rows]


def reading(connection: sqlite3.Connection, reading_id: int) -> Reading:
    """One reading, also a removed one.

    Raises:
        NotThere: there is no such reading.
    """
    missing = "There is no such reading."
    row = records.row_by_id(connection, "pack_readings", _READING, reading_id, missing=missing)
    return _reading(row)


def latest_readings(
    connection: sqlite3.Connection, kind: Literal["cell_v", "cell_ohm", "cell_c", "after_charge"]
) -> dict[int, Reading]:
    """By pack: the newest reading that has voltages, resistances, a temperature, or voltages just
    after a charge."""
    conditions = {
        "cell_v": "cell_v <> '[]'",
        "cell_ohm": "cell_ohm <> '[]'",
        "cell_c": "cell_c IS NOT NULL",
        "after_charge": "cell_v <> '[]' AND after_charge",
    }[kind]
    columns = ", ".join(f"newest.{name}" for name in Reading.model_fields)
    rows = connection.execute(
        f"SELECT {columns} FROM packs JOIN pack_readings AS newest ON newest.id = ("  # noqa: S608
        f"SELECT id FROM pack_readings WHERE pack_id = packs.id AND removed_at IS NULL AND {conditions} "
        "ORDER BY read_at DESC, id DESC LIMIT 1) WHERE packs.removed_at IS NULL"
    )
    return {row["pack_id"]: _reading(row) for row in rows}


def add_reading(connection: sqlite3.Connection, item: Reading, now: datetime) -> tuple[int, str]:
    """Write down a reading; returns its id and the undo token."""
    mark = pack(connection, item.pack_id).mark
    return records.add(connection, "pack_readings", item, f"Added a reading of pack {mark}", now)


def put_away(connection: sqlite3.Connection, item: Storage, now: datetime) -> str:
    """Note that a pack lies at storage charge; returns the undo token."""
    mark = pack(connection, item.pack_id).mark
    return records.add(connection, "pack_storages", item, f"Put pack {mark} away", now)[1]


def storages(connection: sqlite3.Connection, pack_id: int, limit: int = 50) -> list[Storage]:
    """Where and how a pack was stored, newest first."""
    rows = connection.execute(
        f"SELECT {_STORAGE} FROM pack_storages WHERE pack_id = ? AND removed_at IS NULL "  # noqa: S608
        "ORDER BY stored_at DESC, id DESC LIMIT ?",
        (pack_id, limit),
    )
    return [Storage(**row) for row in rows]


def latest_storages(connection: sqlite3.Connection) -> dict[int, Storage]:
    """By pack: when it was last put away."""
    columns = ", ".join(f"newest.{name}" for name in Storage.model_fields)
    rows = connection.execute(
        f"SELECT {columns} FROM packs JOIN pack_storages AS newest ON newest.id = ("  # noqa: S608
        "SELECT id FROM pack_storages WHERE pack_id = packs.id AND removed_at IS NULL "
        "ORDER BY stored_at DESC, id DESC LIMIT 1) WHERE packs.removed_at IS NULL"
    )
    return {row["pack_id"]: Storage(**row) for row in rows}


def _reading(row: sqlite3.Row) -> Reading:
    lists = {name: tuple(json.loads(row[name])) for name in ("cell_v", "cell_ohm")}
    return Reading(**(dict(row) | lists))


def last_runs(connection: sqlite3.Connection) -> dict[int, datetime]:
    """By pack: when its newest run began."""
    rows = connection.execute(
        "SELECT packs.id, (SELECT max(started_at) FROM runs WHERE pack_id = packs.id "
        "AND removed_at IS NULL) AS began FROM packs WHERE removed_at IS NULL"
    )
    return {row["id"]: from_db(row["began"]) for row in rows if row["began"]}


def put_in(
    connection: sqlite3.Connection, car_id: int, car_name: str, pack_id: int, now: datetime
) -> str:
    """Note that the pack is in the car for its next run; returns the undo token."""
    mark = pack(connection, pack_id).mark
    with undo.step(connection, f"Put pack {mark} into {car_name}", now) as step:
        step.insert("car_packs", {"car_id": car_id, "pack_id": pack_id, "since": to_db(now)})
    return step.token


def packs_in_cars(connection: sqlite3.Connection) -> dict[int, InCar]:
    """By pack: the car that it was put into and has not run in, been charged or put away since."""
    rows = connection.execute(
        "SELECT fit.pack_id, fit.car_id, cars.name AS car_name, fit.since FROM car_packs AS fit "
        "JOIN cars ON cars.id = fit.car_id AND cars.removed_at IS NULL "
        "WHERE fit.id = (SELECT max(id) FROM car_packs WHERE car_id = fit.car_id) "
        "AND fit.id = (SELECT max(id) FROM car_packs WHERE pack_id = fit.pack_id) "
        "AND NOT EXISTS (SELECT 1 FROM pack_charges WHERE pack_id = fit.pack_id "
        "AND removed_at IS NULL AND started_at >= fit.since) "
        "AND NOT EXISTS (SELECT 1 FROM pack_storages WHERE pack_id = fit.pack_id "
        "AND removed_at IS NULL AND stored_at >= fit.since)"
    )
    return {row["pack_id"]: InCar(**row) for row in rows}


def note_run(
    connection: sqlite3.Connection,
    step: undo.Step,
    car_id: int,
    pack_id: int | None,
    started_at: datetime,
) -> None:
    """Note within the caller's step what a run says of packs: none is fresh in that car any more.

    A run from before the pack was put in says so only if it was this pack's.
    """
    for fit in packs_in_cars(connection).values():
        if fit.car_id == car_id and (fit.pack_id == pack_id or fit.since <= started_at):
            gone = {"car_id": car_id, "pack_id": None, "since": to_db(started_at)}
            step.insert("car_packs", gone)
