"""`pitapp backup`, `pitapp restore` and `pitapp inspect`."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import click

from pitapp.copies import store
from pitapp.copies.inspection import look_over, summary
from pitapp.copies.target import free_for_a_copy, is_same
from pitapp.db.connect import Database
from pitapp.db.faults import at_start
from pitapp.errors import DamagedDatabase, DataError
from pitapp.terminal import tell
from pitapp.web.factory import DATABASE_NAME, default_data_dir, open_data_dir
from pitapp.web.instance_lock import serving

BRING_BACK_THERE = "Bring the copy back there (More, Copies), or stop it first (Ctrl-C)."
DATA = click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of your data; the platform's own data folder if not given.",
)


def _folder(data: Path | None) -> Path:
    folder = data or default_data_dir()
    if not folder.is_dir():
        raise DataError(f"There is no data folder {folder}.")
    return folder


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@DATA
def backup(file: Path, data: Path | None) -> None:
    """Write a consistent copy of your data to FILE, also while pitapp is in use."""
    folder = _folder(data)
    if not (folder / DATABASE_NAME).is_file():
        raise DataError(f"There is no data in {folder} yet.")
    target = free_for_a_copy(file, folder / DATABASE_NAME)
    with _opened(Database(folder / DATABASE_NAME)) as connection:
        tell(f"{file}: {summary(store.write_copy(connection, target))}")


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--yes", is_flag=True, help="Do not ask.")
@DATA
def restore(file: Path, yes: bool, data: Path | None) -> None:
    """Bring the copy FILE back; what is there now is copied first."""
    folder = data or default_data_dir()
    if not file.is_file():
        raise DataError(
            f"{file} is a pipe or a device. Save the copy as a file, then restore that."
        )
    if is_same(file, folder / DATABASE_NAME):
        raise DataError(f"{file} is your data itself, and no copy of it. Nothing was changed.")
    open_data_dir(folder)
    with (
        serving(folder, BRING_BACK_THERE),
        store.looked_through(file, folder) as ready,
    ):
        tell(f"{file}: {summary(ready.contents)}")
        if not yes:
            click.confirm("Replace all data by this copy?", abort=True)
        try:
            before = _bring_back(ready, folder)
        except DamagedDatabase as error:
            tell(str(error))
            before = store.set_aside(folder / DATABASE_NAME, datetime.now(UTC))
            _bring_back(ready, folder)
    tell(f"Done. What was there before is kept as {before}")


def _bring_back(ready: store.Ready, folder: Path) -> Path:
    from pitapp import create_app

    with _opened(create_app(folder).extensions["pitapp.db"]) as connection:
        return store.take(connection, ready, folder, datetime.now(UTC))


@contextmanager
def _opened(database: Database) -> Iterator[sqlite3.Connection]:
    try:
        yield database.connection()
    except sqlite3.Error as error:
        known = at_start(error, database.path)
        if known is None:
            raise
        raise known from error
    finally:
        database.close()


@click.command()
@DATA
def inspect(data: Path | None) -> None:
    """Look whether your data is sound, and say what to do if it is not."""
    folder = _folder(data)
    path = folder / DATABASE_NAME
    if not path.is_file():
        raise DataError(f"There is no data in {folder}. Start pitapp once, or restore a copy.")
    unsound = 0
    for finding in look_over(path, datetime.now(UTC)):
        unsound += not finding.sound
        tell(("" if finding.sound else "NOT SOUND: ") + finding.text)
        if finding.advice:
            tell(f"  -> {finding.advice}")
    if unsound:
        raise DataError(f"{folder} needs you: see what is said above.")
