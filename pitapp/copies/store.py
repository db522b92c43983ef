"""Making copies while the app is in use, keeping the last few, and bringing one back."""

from __future__ import annotations

import os
import re
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from pitapp.copies.adding import store as adding
from pitapp.copies.models import CopyFile
from pitapp.copies.target import replacing
from pitapp.db import idempotency, identity, undo
from pitapp.db.connect import connect, transaction
from pitapp.db.migrate import migrate, version_of
from pitapp.db.validate_copy import Contents, contents, examine
from pitapp.errors import DamagedDatabase, DataError, NotThere, Refused

FOLDER = "copies"
KEPT_EACH = 10
DAILY = "daily"
BEFORE_RESTORE = "before-restore"
BEFORE_UPDATE = "before-update"
BEFORE_ADDING = "before-adding"
A_RACE_DAY = timedelta(hours=16)
HERE_ONLY = ("devices", "identities", "pairing_codes")
"""Tables that stay as they are here: no copy lets a device back in that was removed since, and what
a phone keeps for this database still finds it."""
LEFT_BEHIND = ("answered_writes", "undo_steps")
"""Tables that no copy fills: of the answers the keys alone are taken along, of the steps back nothing."""
_NAME = re.compile(r"(\d{4}-\d\d-\d\dT\d{6}Z)-([a-z-]+)(?:-[0-9a-f]{4})?\.sqlite3\Z")


def write_copy(connection: sqlite3.Connection, target: Path) -> Contents:
    """Write a consistent, examined copy of an open database to `target`, replacing what is there.

    Raises:
        DataError: it cannot be written there.
        Refused: the copy was found damaged; `target` is left as it was.
    """
    try:
        with replacing(target) as fresh:
            with closing(sqlite3.connect(fresh)) as copy:
                connection.backup(copy, pages=256)
                copy.execute("PRAGMA journal_mode = DELETE")
            contents = examine(fresh)
            _leave_the_rows(fresh)
            with fresh.open("rb+") as file:
                os.fsync(file.fileno())
    except (OSError, sqlite3.OperationalError) as error:
        raise DataError(f"The copy cannot be written to {target}: {error}.") from error
    return contents


def _leave_the_rows(path: Path) -> None:
    """Delete undo steps and stored answers from a copy."""
    with closing(sqlite3.connect(path, isolation_level=None)) as copy, transaction(copy):
        undo.forget_all(copy)
        idempotency.forget_answers(copy)


def keep_copy(connection: sqlite3.Connection, data_dir: Path, why: str, now: datetime) -> Path:
    """Put a dated copy into the data folder, keeping the last ten of its kind.

    One from a day still to come was made when the clock was wrong: it makes room first.
    """
    folder = data_dir / FOLDER
    folder.mkdir(mode=0o700, exist_ok=True)
    name = f"{now.astimezone(UTC):%Y-%m-%dT%H%M%SZ}-{why}"
    path = folder / f"{name}.sqlite3"
    if path.exists():
        path = folder / f"{name}-{secrets.token_hex(2)}.sqlite3"
    write_copy(connection, path)
    others = [copy for copy in list_copies(data_dir) if copy.why == why and copy.name != path.name]
    others.sort(key=lambda copy: (copy.made_at <= now, copy.made_at), reverse=True)
    for old in others[KEPT_EACH - 1 :]:
        clear_away(folder / old.name)
    return path


def tidy(data_dir: Path) -> None:
    """Take away what a process that was killed has left half done. Only for the one that serves."""
    for pattern in (f"{FOLDER}/.*.part*", ".restore-*", ".uploaded-*", "secret.key.*.part"):
        for left in data_dir.glob(pattern):
            clear_away(left)


def clear_away(path: Path) -> None:
    """Delete a file that is of no more use; one that cannot be deleted now changes nothing."""
    with suppress(OSError):
        path.unlink(missing_ok=True)


def list_copies(data_dir: Path) -> list[CopyFile]:
    """The copies in the data folder, newest first."""
    copies = []
    for path in (data_dir / FOLDER).glob("*.sqlite3"):
        if match := _NAME.match(path.name):
            size = path.stat().st_size
            copies.append(
                CopyFile(name=path.name, why=match[2], made_at=made_at(path.name), bytes=size)
            )
    return sorted(copies, key=lambda copy: copy.name, reverse=True)


def made_at(name: str) -> datetime:
    """When the kept copy of that name was made, to the second."""
    return datetime.strptime(name[:18], "%Y-%m-%dT%H%M%SZ").replace(tzinfo=UTC)


def kept_path(data_dir: Path, name: str) -> Path:
    """The file of a kept copy.

    Raises:
        NotThere: there is no such copy.
    """
    path = data_dir / FOLDER / name
    if not _NAME.match(name) or not path.is_file():
        raise NotThere("There is no such copy.")
    return path


def contents_now(connection: sqlite3.Connection) -> Contents:
    """What the open database itself holds."""
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    size = pages * connection.execute("PRAGMA page_size").fetchone()[0]
    return contents(connection, version_of(connection), size)


def daily_due(data_dir: Path, now: datetime) -> bool:
    """Whether there is no daily copy of the last 16 hours: longer than a race day, shorter than from one morning to
    an earlier one. One made by a clock that was 16 hours or more ahead does not count.
    """
    return not any(
        copy.why == DAILY and abs(now - copy.made_at) < A_RACE_DAY for copy in list_copies(data_dir)
    )


def restore(connection: sqlite3.Connection, source: Path, data_dir: Path, now: datetime) -> Path:
    """Bring a copy back into the open database; returns the copy made of what was there before.

    Raises:
        Refused: the file is no sound copy; nothing is changed.
        DamagedDatabase: what is there is damaged; nothing is changed.
    """
    with looked_through(source, data_dir) as ready:
        return take(connection, ready, data_dir, now)


class Ready(NamedTuple):
    """A copy that was looked through and found sound: where it waits, and what it holds from where."""

    path: Path
    contents: Contents
    origins: list[str]


def take(connection: sqlite3.Connection, ready: Ready, data_dir: Path, now: datetime) -> Path:
    """Put a copy that was looked through in the place of what is there; see `restore`.

    The copy of what is there and the change are one transaction, so that no write of anybody's
    falls between them.
    """
    with _attached(connection, ready.path), transaction(connection):
        before = _copied_first(connection, data_dir, BEFORE_RESTORE, now)
        _take_all(connection)
        identity.set_origins(connection, ready.origins)
    return before


def differences(connection: sqlite3.Connection, ready: Ready) -> list[adding.Difference]:
    """What is here and not in a copy that was looked through, and the other way round."""
    with _attached(connection, ready.path):
        return adding.differences(connection)


def add_missing(
    connection: sqlite3.Connection, source: Path, data_dir: Path, now: datetime
) -> tuple[Path, dict[str, int]]:
    """Add what a copy holds and is not here; returns the copy made first, and how many of each table.

    Raises:
        Refused: the file is no sound copy, or does not fit to what is here; nothing is changed.
        DamagedDatabase: what is there is damaged; nothing is changed.
    """
    with (
        looked_through(source, data_dir) as ready,
        _attached(connection, ready.path),
        transaction(connection),
    ):
        before = _copied_first(connection, data_dir, BEFORE_ADDING, now)
        return before, adding.add(connection)


def _copied_first(connection: sqlite3.Connection, data_dir: Path, why: str, now: datetime) -> Path:
    try:
        with closing(connect(_file_of(connection))) as reader:
            return keep_copy(reader, data_dir, why, now)
    except (Refused, sqlite3.DatabaseError) as error:
        raise DamagedDatabase(
            "What is here is damaged, so nothing was changed. Stop pitapp, then: "
            f"pitapp restore FILE sets the damaged data aside. ({error})"
        ) from error


@contextmanager
def looked_through(source: Path, folder: Path) -> Iterator[Ready]:
    """Yield a temporary copy of `source`, migrated to this version's schema.

    It is whole, and every row of it can be read by the room that it belongs to.

    Raises:
        Refused: the file is no sound copy; the sentence says why.
    """
    from pitapp.exchange import readers

    examine(source)
    with staged(source, folder) as path:
        try:
            origins = identity.of_file(path)
            migrate(path)
            contents = examine(path)
            with closing(connect(path)) as connection:
                readers.read_all(connection)
        except (ValueError, sqlite3.Error) as error:
            raise Refused(f"This copy cannot be taken. {error}") from None
        yield Ready(path, contents, origins)


def _file_of(connection: sqlite3.Connection) -> Path:
    return Path(connection.execute("PRAGMA database_list").fetchone()["file"])


@contextmanager
def _attached(connection: sqlite3.Connection, other: Path) -> Iterator[None]:
    connection.execute("ATTACH DATABASE ? AS brought", (str(other),))
    connection.execute("PRAGMA foreign_keys = OFF")
    try:
        yield
    finally:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("DETACH DATABASE brought")


def _take_all(connection: sqlite3.Connection) -> None:
    named = connection.execute(
        "SELECT name FROM main.sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    ).fetchall()
    undo.forget_all(connection)
    idempotency.replace_keys(connection, idempotency.keys(connection, "brought"))
    for (table,) in named:
        if table not in (*HERE_ONLY, *LEFT_BEHIND):
            connection.execute(f"DELETE FROM main.{table}")  # noqa: S608
            connection.execute(f"INSERT INTO main.{table} SELECT * FROM brought.{table}")  # noqa: S608
    if connection.execute("PRAGMA main.foreign_key_check").fetchone() is not None:
        raise Refused("This copy does not fit to the devices here. Nothing was changed.")


def set_aside(path: Path, now: datetime) -> Path:
    """Move a damaged database out of the way, with what SQLite keeps beside it; where it is then.

    Raises:
        DataError: it cannot be moved.
    """
    aside = path.with_name(f"damaged-{now.astimezone(UTC):%Y-%m-%dT%H%M%SZ}.sqlite3")
    try:
        for ending in ("-wal", "-shm", ""):
            beside = path.with_name(path.name + ending)
            if beside.exists():
                beside.rename(aside.with_name(aside.name + ending))
    except OSError as error:
        raise DataError(f"{path} cannot be moved aside: {error.strerror or error}.") from error
    return aside


@contextmanager
def staged(source: Path, data_dir: Path) -> Iterator[Path]:
    """A copy of `source` in the data folder, taken away again at the end."""
    path = data_dir / f".restore-{secrets.token_hex(4)}.sqlite3"
    try:
        with (
            closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)) as given,
            closing(sqlite3.connect(path)) as copy,
        ):
            given.backup(copy)
        yield path
    finally:
        for left in data_dir.glob(f"{path.stem}*"):
            clear_away(left)
