"""Making copies while the app is in use, keeping the last few, and bringing one back."""

from __future__ import annotations

import os
import re
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pitapp.copies.models import Kept
from pitapp.db.connect import connect
from pitapp.db.examine import Contents, contents, examine
from pitapp.db.migrate import migrate, version_of
from pitapp.errors import DataError, NotThere

FOLDER = "copies"
KEPT_EACH = 10
DAILY = "daily"
BEFORE_RESTORE = "before-restore"
_NAME = re.compile(r"(\d{4}-\d\d-\d\dT\d{6}Z)-([a-z-]+)(?:-[0-9a-f]{4})?\.sqlite3\Z")


def write_copy(connection: sqlite3.Connection, target: Path) -> Contents:
    """Write a consistent, examined copy of an open database to `target`, replacing what is there.

    Raises:
        DataError: it cannot be written there.
        Refused: the copy was found damaged; `target` is left as it was.
    """
    fresh = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        with closing(sqlite3.connect(fresh)) as copy:
            connection.backup(copy, pages=256)
            copy.execute("PRAGMA journal_mode = DELETE")
        found = examine(fresh)
        with fresh.open("rb+") as file:
            os.fsync(file.fileno())
        fresh.replace(target)
    except (OSError, sqlite3.OperationalError) as error:
        raise DataError(f"The copy cannot be written to {target}: {error}.") from error
    finally:
        fresh.unlink(missing_ok=True)
    return found


def keep_copy(connection: sqlite3.Connection, data_dir: Path, why: str, now: datetime) -> Path:
    """Put a dated copy into the data folder, keeping the last ten of its kind."""
    folder = data_dir / FOLDER
    folder.mkdir(exist_ok=True)
    name = f"{now.astimezone(UTC):%Y-%m-%dT%H%M%SZ}-{why}"
    path = folder / f"{name}.sqlite3"
    if path.exists():
        path = folder / f"{name}-{secrets.token_hex(2)}.sqlite3"
    write_copy(connection, path)
    same = [copy for copy in kept(data_dir) if copy.why == why]
    for old in same[KEPT_EACH:]:
        (folder / old.name).unlink(missing_ok=True)
    return path


def kept(data_dir: Path) -> list[Kept]:
    """The copies in the data folder, newest first."""
    found = []
    for path in (data_dir / FOLDER).glob("*.sqlite3"):
        if match := _NAME.match(path.name):
            made_at = datetime.strptime(match[1], "%Y-%m-%dT%H%M%SZ").replace(tzinfo=UTC)
            size = path.stat().st_size
            found.append(Kept(name=path.name, why=match[2], made_at=made_at, bytes=size))
    return sorted(found, key=lambda copy: copy.name, reverse=True)


def kept_path(data_dir: Path, name: str) -> Path:
    """The file of a kept copy.

    Raises:
        NotThere: there is no such copy.
    """
    path = data_dir / FOLDER / name
    if not _NAME.match(name) or not path.is_file():
        raise NotThere("There is no such copy.")
    return path


def here(connection: sqlite3.Connection) -> Contents:
    """What the open database itself holds."""
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    size = pages * connection.execute("PRAGMA page_size").fetchone()[0]
    return contents(connection, version_of(connection), size)


def daily_due(data_dir: Path, now: datetime) -> bool:
    """Whether the newest daily copy is a day old or older, or lies in the future (a clock jumped)."""
    newest = next((copy for copy in kept(data_dir) if copy.why == DAILY), None)
    return newest is None or abs(now - newest.made_at) >= timedelta(days=1)


def restore(connection: sqlite3.Connection, source: Path, data_dir: Path, now: datetime) -> Path:
    """Bring a copy back into the open database; returns the copy made of what was there before.

    The file is examined and brought to this pitapp's schema beside the data first; the database
    itself changes in one transaction or not at all.

    Raises:
        Refused: the file is no sound copy; nothing is changed.
    """
    examine(source)
    with staged(source, data_dir) as ready:
        migrate(ready)
        examine(ready)
        before = keep_copy(connection, data_dir, BEFORE_RESTORE, now)
        with closing(connect(ready)) as copy:
            copy.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            copy.backup(connection)
        connection.execute("PRAGMA journal_mode = WAL")
    return before


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
            left.unlink(missing_ok=True)
