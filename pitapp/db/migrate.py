"""Numbered SQL files brought to the database one by one, each in its own transaction."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

from pitapp.db.connect import connect, transaction
from pitapp.errors import DataError, NewerDatabase

FOLDER = Path(__file__).parent / "migrations"


def migrations(folder: Path = FOLDER) -> list[tuple[int, Path]]:
    """The migrations in order, as (number, file)."""
    return sorted((int(path.name[:4]), path) for path in folder.glob("[0-9][0-9][0-9][0-9]_*.sql"))


def version_of(connection: sqlite3.Connection) -> int:
    """The number of the last migration that this database has had."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(path: Path, folder: Path = FOLDER) -> list[int]:
    """Bring the database at `path` up to date and return the numbers applied.

    Before the first change to a database that holds something, a copy is made beside it.

    Raises:
        NewerDatabase: a newer pitapp wrote it; nothing is changed.
        DataError: it is no database, or a migration would leave broken references.
    """
    try:
        connection = connect(path)
    except sqlite3.DatabaseError as error:
        raise DataError(_unreadable(path, error)) from error
    try:
        try:
            present = version_of(connection)
        except sqlite3.DatabaseError as error:
            raise DataError(_unreadable(path, error)) from error
        known = migrations(folder)
        newest = known[-1][0] if known else 0
        if present > newest:
            raise NewerDatabase(
                f"{path.name} was written by a newer pitapp (schema {present}; this one knows "
                f"{newest}). Install that version again, or use another data folder."
            )
        due = [(number, file) for number, file in known if number > present]
        if due and present:
            copy_database(connection, path.with_name(f"{path.stem}-before-{due[-1][0]:04}.sqlite3"))
        for number, file in due:
            _apply(connection, number, file)
        return [number for number, _ in due]
    finally:
        connection.close()


def copy_database(connection: sqlite3.Connection, target: Path) -> None:
    """Write a consistent copy of the open database to `target`, replacing what is there."""
    fresh = target.with_name(target.name + ".part")
    fresh.unlink(missing_ok=True)
    copy = sqlite3.connect(fresh)
    try:
        connection.backup(copy)
    finally:
        copy.close()
    fresh.replace(target)


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
    found, pending = [], ""
    for piece in re.split(r"(?<=;)", script):
        pending += piece
        if sqlite3.complete_statement(pending):
            found.append(pending.strip())
            pending = ""
    if pending.strip() and not all(
        not line.strip() or line.lstrip().startswith("--") for line in pending.splitlines()
    ):
        raise ValueError("The script ends inside a statement.")
    return found


def _unreadable(path: Path, error: sqlite3.Error) -> str:
    return (
        f"{path} cannot be read as pitapp's database ({error}). Move it aside, and restore a copy."
    )
