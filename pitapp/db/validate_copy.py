"""Examining a file that claims to be a copy, so that a broken or hostile one is refused unread."""

from __future__ import annotations

import re
import sqlite3
import time
from contextlib import closing
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from pitapp.dates import from_db
from pitapp.db.migrate import migrations, statements
from pitapp.errors import Refused


class Contents(NamedTuple):
    """What a database holds: its schema, how many of each thing, its newest run, its size."""

    schema_version: int
    cars: int
    gears_fitted: int
    runs: int
    newest_run_at: datetime | None
    bytes: int


MAGIC = b"SQLite format 3\x00"
MOST_BYTES = 512 * 1024 * 1024
MOST_SECONDS = 20.0
LONGEST = 8 * 1024 * 1024
"""Of a single text or value, in characters or bytes: a row is read whole."""


def examine(path: Path) -> Contents:
    """What the file holds, once everything about it was found in order.

    Raises:
        Refused: it is no database, is damaged, is not pitapp's, is newer than this pitapp, or takes
            too long to read; the sentence says which.
    """
    size = _size(path)
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as file:
            file.execute("PRAGMA trusted_schema = OFF")
            file.execute("PRAGMA cell_size_check = ON")
            deadline = time.monotonic() + MOST_SECONDS
            file.set_progress_handler(lambda: time.monotonic() > deadline, 100_000)
            return _contents(file, size)
    except (sqlite3.Error, ValueError, OverflowError) as error:
        raise Refused(
            f"This file cannot be read as a copy ({error}). Nothing was changed."
        ) from None


def _size(path: Path) -> int:
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            start = file.read(len(MAGIC))
    except OSError as error:
        raise Refused(f"{path.name} cannot be read ({error.strerror or error}).") from None
    if start != MAGIC:
        raise Refused("This file is no copy of pitapp's data. Nothing was changed.")
    if size > MOST_BYTES:
        raise Refused(f"This file has over {MOST_BYTES // 2**20} MB, more than a life of racing.")
    return size


def _contents(file: sqlite3.Connection, size: int) -> Contents:
    version = int(file.execute("PRAGMA user_version").fetchone()[0])
    newest = migrations()[-1][0]
    if version > newest:
        raise Refused(
            f"This copy comes from a newer pitapp (schema {version}; this one knows {newest})."
        )
    if file.execute("PRAGMA encoding").fetchone()[0] != "UTF-8":
        raise Refused("This database is not one of pitapp's: its texts are not UTF-8.")
    if schema(file) != expected_schema(version):
        raise Refused("This database is not one of pitapp's. Nothing was changed.")
    for check in ("integrity_check", "foreign_key_check"):
        findings = file.execute(f"PRAGMA {check}").fetchmany(3)
        if check == "integrity_check" and findings == [("ok",)]:
            continue
        if findings:
            raise Refused(f"This copy is damaged ({check}: {findings[0][0]}). Nothing was changed.")
    for table, column in _columns(file):
        if file.execute(f"SELECT 1 FROM {table} WHERE length({column}) > {LONGEST}").fetchone():  # noqa: S608
            raise Refused(
                f"A value in {table} is larger than any of pitapp's. Nothing was changed."
            )
    return contents(file, version, size)


def _columns(file: sqlite3.Connection) -> list[tuple[str, str]]:
    """Table and name of every column that holds texts or bytes, of a schema that is known."""
    return file.execute(
        "SELECT tables.name, columns.name FROM sqlite_master AS tables "
        "JOIN pragma_table_info(tables.name) AS columns "
        "WHERE tables.type = 'table' AND columns.type IN ('TEXT', 'BLOB')"
    ).fetchall()


def contents(connection: sqlite3.Connection, version: int, size: int) -> Contents:
    """Count what a database of pitapp's holds."""
    tables = {
        row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    }

    def value_of(table: str, what: str) -> str | int | None:
        if table not in tables:
            return None
        value: str | int | None = connection.execute(f"SELECT {what} FROM {table}").fetchone()[0]  # noqa: S608
        return value

    newest = value_of("runs", "max(started_at)")
    return Contents(
        schema_version=version,
        cars=int(value_of("cars", "count(*)") or 0),
        gears_fitted=int(value_of("gear_fits", "count(*)") or 0),
        runs=int(value_of("runs", "count(*)") or 0),
        newest_run_at=_newest(newest, version),
        bytes=size,
    )


def _newest(text: object, version: int) -> datetime | None:
    """A moment; none where an earlier version took a year that its migration has yet to bring in."""
    try:
        return from_db(text) if isinstance(text, str) else None
    except ValueError:
        if version == migrations()[-1][0]:
            raise
        return None


def schema(connection: sqlite3.Connection) -> frozenset[tuple[str, str, str]]:
    """Every table, index, trigger and view of a database, as (kind, name, tidied SQL)."""
    rows = connection.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return frozenset((row[0], row[1], re.sub(r"\s+", " ", row[2]).strip()) for row in rows)


@lru_cache(maxsize=64)
def expected_schema(version: int) -> frozenset[tuple[str, str, str]]:
    """The schema that this pitapp's migrations give at a version."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as empty:
        for number, file in migrations():
            if number <= version:
                for statement in statements(file.read_text(encoding="utf-8")):
                    empty.execute(statement)
        return schema(empty)
