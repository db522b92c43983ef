"""The tables as they are: read whole, replaced whole, and as sheets. Their columns come from the schema."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, NamedTuple

from pitapp.db import undo
from pitapp.db.migrate import migrations, statements, version_of

LEFT_OUT = {
    "undo_steps": "steps back belong to the database they were made in",
    "answered_writes": "answers are of no use elsewhere; the keys of the writes go along by themselves",
    "identities": "which database this is; the file names it as its origin",
    "devices": "the hash of a device's token is a secret of this machine",
    "pairing_codes": "codes are secrets, and soon over",
}
PICTURES = "photograph_data"
"""Large, and in a file only if asked for."""
NAMES = ("name", "mark", "uuid", "day", "number")
APART = ("id", "version", "removed_at")


class Column(NamedTuple):
    """A column of a table; one that may be left out of a row has a value of its own then."""

    name: str
    kind: str
    needed: bool
    may_be_null: bool


class Reference(NamedTuple):
    """A column that names a row of another table."""

    column: str
    table: str


@contextmanager
def as_of_now(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """Read all tables as they are at one moment, whatever others write meanwhile."""
    if connection.in_transaction:
        yield connection
        return
    connection.execute("BEGIN")
    try:
        yield connection
    finally:
        connection.execute("ROLLBACK")


def tables(connection: sqlite3.Connection) -> list[str]:
    """The tables of the file of everything, by name."""
    rows = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' "
        "ORDER BY name"
    )
    return [row[0] for row in rows if row[0] not in LEFT_OUT]


def columns(connection: sqlite3.Connection, table: str) -> list[Column]:
    """A table's columns in the schema's order."""
    return [
        Column(
            row["name"],
            row["type"],
            needed=bool(row["pk"]) or bool(row["notnull"] and row["dflt_value"] is None),
            may_be_null=not row["notnull"] and not row["pk"],
        )
        for row in connection.execute(f"PRAGMA table_info({table})")
    ]


def references(connection: sqlite3.Connection, table: str) -> list[Reference]:
    """A table's columns that name rows of other tables."""
    rows = connection.execute(f"PRAGMA foreign_key_list({table})")
    return [Reference(row["from"], row["table"]) for row in rows]


def schema_version(connection: sqlite3.Connection) -> int:
    """The number of the last migration that the database has had."""
    return version_of(connection)


def rows(connection: sqlite3.Connection, table: str) -> Iterator[dict[str, Any]]:
    """Every row of a table, in the order of its key."""
    for row in connection.execute(f"SELECT * FROM {table} ORDER BY 1"):  # noqa: S608
        yield dict(row)


def count(connection: sqlite3.Connection, table: str) -> int:
    """How many rows a table has."""
    return int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])  # noqa: S608


def replace_all(
    connection: sqlite3.Connection, content: Iterable[tuple[str, Iterable[Mapping[str, Any]]]]
) -> None:
    """Put these rows in the place of all that the tables hold; no step leads back afterwards.

    Raises:
        ValueError: a row breaks a rule of the schema, or names one that is not there.
    """
    connection.execute("PRAGMA defer_foreign_keys = ON")
    for table in tables(connection):
        connection.execute(f"DELETE FROM {table}")  # noqa: S608
    undo.forget_all(connection)
    for table, items in content:
        for item in items:
            try:
                connection.execute(
                    f"INSERT INTO {table} ({', '.join(item)}) "  # noqa: S608
                    f"VALUES ({', '.join('?' * len(item))})",
                    list(item.values()),
                )
            except (sqlite3.IntegrityError, sqlite3.DataError, UnicodeEncodeError) as error:
                which = next(iter(item.values()), "?")
                raise ValueError(
                    f"In {table}, the row {which!s:.40} breaks a rule: {error}."
                ) from error
    broken = connection.execute("PRAGMA foreign_key_check").fetchone()
    if broken is not None:
        raise ValueError(f"A row of {broken[0]} names one of {broken[2]} that is not in the file.")


def empty_database() -> sqlite3.Connection:
    """A database with this version's tables, in a transaction, to try a file on; to be closed.

    SQLite keeps it in a file of its own without a name, and little of it in memory.
    """
    return _with_tables(sqlite3.connect("", isolation_level=None))


def _with_tables(connection: sqlite3.Connection) -> sqlite3.Connection:
    connection.row_factory = sqlite3.Row
    for number, file in migrations():
        for statement in statements(file.read_text(encoding="utf-8")):
            connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {number:d}")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("BEGIN")
    return connection


def sheet(
    connection: sqlite3.Connection, table: str, *, removed: bool = False
) -> tuple[list[str], list[list[Any]]]:
    """A table's headings and rows, with names in the place of the numbers that refer to others."""
    listed = columns(connection, table)
    named = {each.column: each.table for each in references(connection, table)}
    headings, chosen, joins = [], [], []
    for column in listed:
        other = named.get(column.name)
        name = _name_of(connection, other) if other else None
        if column.name in APART:
            continue
        if other and name:
            alias = f"the_{column.name}"
            joins.append(f"LEFT JOIN {other} {alias} ON {alias}.id = t.{column.name}")
            headings.append(column.name.removesuffix("_id"))
            chosen.append(f"{alias}.{name}")
        else:
            headings.append(column.name)
            chosen.append(f"t.{column.name}")
    only_present = any(column.name == "removed_at" for column in listed) and not removed
    selected = connection.execute(
        f"SELECT {', '.join(chosen)} FROM {table} t {' '.join(joins)} "  # noqa: S608
        f"{'WHERE t.removed_at IS NULL ' if only_present else ''}ORDER BY t.rowid"
    )
    return headings, [list(row) for row in selected]


def _name_of(connection: sqlite3.Connection, table: str) -> str | None:
    present = [column.name for column in columns(connection, table)]
    return next((name for name in NAMES if name in present), None)


def logged_runs(connection: sqlite3.Connection) -> Iterator[dict[str, Any]]:
    """Every run that was not removed, oldest first, with the names of all that it refers to."""
    selected = connection.execute(
        "SELECT runs.*, cars.name AS car, tracks.name AS track, race_classes.name AS class, "
        "motors.name AS motor, packs.mark AS pack, tyre_sets.name AS tyres, "
        "meetings.name AS meeting_name, meetings.day AS meeting_day, "
        "heats.kind AS heat_kind, heats.number AS heat_number FROM runs "
        "LEFT JOIN cars ON cars.id = runs.car_id LEFT JOIN tracks ON tracks.id = runs.track_id "
        "LEFT JOIN race_classes ON race_classes.id = runs.race_class_id "
        "LEFT JOIN motors ON motors.id = runs.motor_id LEFT JOIN packs ON packs.id = runs.pack_id "
        "LEFT JOIN tyre_sets ON tyre_sets.id = runs.tyre_set_id "
        "LEFT JOIN meetings ON meetings.id = runs.meeting_id "
        "LEFT JOIN heats ON heats.id = runs.heat_id "
        "WHERE runs.removed_at IS NULL ORDER BY runs.started_at, runs.id"
    )
    for row in selected:
        yield dict(row)


def setups_by_run(connection: sqlite3.Connection) -> Iterator[dict[str, Any]]:
    """Key, moment, car and set-up lists (JSON) of every run that has any, oldest first."""
    selected = connection.execute(
        "SELECT runs.uuid, runs.started_at, runs.time_zone, cars.name AS car, run_setups.body "
        "FROM runs JOIN run_setups ON run_setups.id = runs.setup_id "
        "JOIN cars ON cars.id = runs.car_id WHERE runs.removed_at IS NULL "
        "ORDER BY runs.started_at, runs.id"
    )
    for row in selected:
        yield dict(row)


def known_uuids(connection: sqlite3.Connection) -> set[str]:
    """The keys of every run on record, also of removed ones."""
    return {row[0] for row in connection.execute("SELECT uuid FROM runs")}
