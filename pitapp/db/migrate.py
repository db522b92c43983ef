"""Numbered SQL files brought to the database one by one, each in its own transaction."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from pitapp.db.connect import connect, transaction
from pitapp.db.faults import at_start
from pitapp.errors import DataError, NewerDatabase

FOLDER = Path(__file__).parent / "migrations"


def migrations(folder: Path = FOLDER) -> list[tuple[int, Path]]:
    """The migrations in order, as (number, file)."""
    return sorted((int(path.name[:4]), path) for path in folder.glob("[0-9][0-9][0-9][0-9]_*.sql"))


def version_of(connection: sqlite3.Connection) -> int:
    """The number of the last migration that this database has had."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(
    path: Path,
    folder: Path = FOLDER,
    *,
    before: Callable[[sqlite3.Connection], object] | None = None,
) -> list[int]:
    """Bring the database at `path` up to date and return the numbers applied.

    `before` is called with the connection before the first change to a database that holds
    something, to make a copy of it.

    Raises:
        NewerDatabase: a newer pitapp wrote it; nothing is changed.
        DataError: it is no database, cannot be written, or a migration would break references.
    """
    try:
        with closing(connect(path)) as connection:
            return _apply_all(connection, path, folder, before)
    except sqlite3.Error as error:
        error_message = at_start(error, path)
        if error_message is None:
            raise
        raise error_message from error


def _apply_all(
    connection: sqlite3.Connection,
    path: Path,
    folder: Path,
    before: Callable[[sqlite3.Connection], object] | None,
) -> list[int]:
    present = version_of(connection)
    available = migrations(folder)
    newest = available[-1][0] if available else 0
    if present > newest:
        raise NewerDatabase(
            f"{path.name} was written by a newer pitapp (schema {present}; this one knows "
            f"{newest}). Install that version again, or use another data folder."
        )
    due = [(number, file) for number, file in available if number > present]
    if due and present and before:
        before(connection)
    for number, file in due:
        _apply(connection, number, file)
    if not due:
        _check_writable(connection, present)
    return [number for number, _ in due]


def _check_writable(connection: sqlite3.Connection, present: int) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        connection.execute(f"PRAGMA user_version = {present:d}")
    finally:
        connection.execute("ROLLBACK")


def _apply(connection: sqlite3.Connection, number: int, file: Path) -> None:
    connection.execute("PRAGMA foreign_keys = OFF")
    try:
        with transaction(connection):
            for statement in statements(file.read_text(encoding="utf-8")):
                connection.execute(statement)
            broken = connection.execute("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise DataError(
                    f"Bringing the data to schema {number} would break {len(broken)} references, "
                    "so nothing was changed. Please keep the file and report this."
                )
            connection.execute(f"PRAGMA user_version = {number:d}")
    finally:
        connection.execute("PRAGMA foreign_keys = ON")


def statements(script: str) -> list[str]:
    """The single statements of an SQL script (triggers kept whole)."""
    complete, pending = [], ""
    for piece in re.split(r"(?<=;)", script):
        pending += piece
        if sqlite3.complete_statement(pending):
            complete.append(pending.strip())
            pending = ""
    if pending.strip() and not all(
        not line.strip() or line.lstrip().startswith("--") for line in pending.splitlines()
    ):
        raise ValueError("The script ends inside a statement.")
    return complete
