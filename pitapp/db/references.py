"""Which rows belong to which: what the schema declares, and what columns mean without saying so."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple


class Reference(NamedTuple):
    """A column whose number is the id of a row of the table meant."""

    table: str
    column: str
    meant: str


UNDECLARED = (
    Reference("forecast_inputs", "car_id", "cars"),
    Reference("forecast_inputs", "motor_id", "motors"),
    Reference("forecast_inputs", "track_id", "tracks"),
    Reference("track_feels", "track_id", "tracks"),
)
"""In these 0 stands for no row."""

NOUNS = {
    "car_controllers": "a change of controller",
    "car_fitted": "a change of tyres",
    "car_packs": "a pack in a car",
    "car_setup": "a set-up entry",
    "cars": "a car",
    "charge_plans": "a charge plan",
    "chargers": "a charger",
    "check_answers": "an answer of a run-through",
    "check_steps": "a step of a checklist",
    "check_walks": "a run-through",
    "checklists": "a checklist",
    "class_limits": "a limit of a class",
    "controller_profiles": "a profile of a controller",
    "controllers": "a controller",
    "corner_weighings": "a weighing",
    "forecast_inputs": "a figure for the forecast",
    "gear_fits": "a gear in the log",
    "heats": "a heat",
    "leads": "a set of leads",
    "meeting_results": "a result",
    "meetings": "a meeting",
    "motor_checks": "a motor check",
    "motors": "a motor",
    "pack_charge_answers": "an answer before a charge",
    "pack_charges": "a charge",
    "pack_readings": "a reading of a pack",
    "pack_storages": "a pack put away",
    "packs": "a pack",
    "parked_cars": "a slope for the parked car",
    "photographs": "a photograph",
    "point_tables": "a points table",
    "profile_plans": "a plan of a profile",
    "race_classes": "a class",
    "rev_checks": "an own check of the rev limit",
    "run_setups": "a set-up of a run",
    "runs": "a run",
    "sound_comparisons": "a comparison of revs",
    "seasons": "a season",
    "tilt_tests": "a tilt test",
    "track_feels": "a feel of a track",
    "track_straights": "a straight",
    "tracks": "a track",
    "tyre_sets": "a set of tyres",
    "weighed_parts": "a weighed part",
    "worn_parts": "a part with hours",
}
"""What a row of each table is called, where it refers to others or is referred to."""


def of(connection: sqlite3.Connection) -> list[Reference]:
    """Every reference between two tables."""
    tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    return [
        *UNDECLARED,
        *(
            Reference(table, row["from"], row["table"])
            for (table,) in tables
            for row in connection.execute(f"PRAGMA foreign_key_list({table})")
        ),
    ]


def broken(connection: sqlite3.Connection, rows: Iterable[tuple[str, int]]) -> str | None:
    """Why these rows, given as table and id, cannot stay as they are now, or not stay away; else None."""
    references = of(connection)
    for table, row_id in rows:
        row = connection.execute(f"SELECT * FROM {table} WHERE id = ?", (row_id,)).fetchone()  # noqa: S608
        for each in references:
            if row is None and each.meant == table and _any(connection, each, row_id):
                return (
                    f"{NOUNS[each.table]} belongs to it by now. Undo that first, or remove this "
                    "instead: then what belongs to it stays."
                )
            if row is not None and each.table == table and _lacks(connection, each, row):
                return f"{NOUNS[each.meant]} that it belongs to is gone."
    return None


def _any(connection: sqlite3.Connection, to: Reference, row_id: int) -> bool:
    query = f"SELECT 1 FROM {to.table} WHERE {to.column} = ? LIMIT 1"  # noqa: S608
    return connection.execute(query, (row_id,)).fetchone() is not None


def _lacks(connection: sqlite3.Connection, to: Reference, row: sqlite3.Row) -> bool:
    row_id = row[to.column]
    if row_id is None or (row_id == 0 and to in UNDECLARED):
        return False
    query = f"SELECT 1 FROM {to.meant} WHERE id = ?"  # noqa: S608
    return connection.execute(query, (row_id,)).fetchone() is None
