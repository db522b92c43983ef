"""Looking a data folder over from outside: what is sound, what is not, and what to do about it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from pitapp.copies import store
from pitapp.db.migrate import migrations
from pitapp.db.validate_copy import Contents, examine
from pitapp.errors import PitappError, Refused
from pitapp.exchange import readers

MOST_ROWS_NAMED = 5
OLD = timedelta(days=7)
LEAST_ROOM = 64 * 2**20
COPIES_WORTH = 3


class Finding(NamedTuple):
    """One thing looked at: whether it holds, what was found, and what to do where it does not."""

    sound: bool
    text: str
    advice: str = ""


def look_over(path: Path, now: datetime) -> Iterator[Finding]:
    """Everything that is worth knowing about the database at `path` and the folder around it."""
    yield from _permissions(path)
    with tempfile.TemporaryDirectory(prefix="pitapp-inspect-") as scratch:
        yield from _database(_reachable(path, Path(scratch)), path, Path(scratch), now)
    yield from _copies(path.parent, now)
    yield _room(path)


def summary(contents: Contents) -> str:
    """What a database holds, in a line."""
    newest = f"{contents.newest_run_at:%Y-%m-%d %H:%M} UTC" if contents.newest_run_at else "none"
    return (
        f"{contents.runs} runs (newest: {newest}), {contents.cars} cars, "
        f"{contents.gears_fitted} gears fitted, schema {contents.schema_version}"
    )


def _permissions(path: Path) -> Iterator[Finding]:
    for each, writable in ((path.parent, _lets_write(path.parent)), (path, _opens(path))):
        if not writable:
            yield Finding(
                False, f"{each} cannot be written by you.", "Mend its permissions or its owner."
            )
    if os.name == "posix" and path.parent.stat().st_mode & 0o077:
        yield Finding(
            True,
            f"Other users of this machine can look into {path.parent}.",
            f"If it has any, shut them out: chmod 700 {path.parent}",
        )


def _lets_write(folder: Path) -> bool:
    try:
        tempfile.TemporaryFile(dir=folder).close()
    except OSError:
        return False
    return True


def _opens(path: Path) -> bool:
    try:
        path.open("rb+").close()
    except OSError:
        return False
    return True


def _reachable(path: Path, scratch: Path) -> Path:
    """The database, or a copy of it where SQLite could not open it for want of a writable folder."""
    if _lets_write(path.parent):
        return path
    for ending in ("", "-wal"):
        beside = path.with_name(path.name + ending)
        if beside.exists():
            shutil.copyfile(beside, scratch / beside.name)
    return scratch / path.name


def _database(readable: Path, path: Path, scratch: Path, now: datetime) -> Iterator[Finding]:
    try:
        contents = examine(readable)
    except Refused as error:
        yield Finding(False, f"{path} is not sound: {error}", _way_back(path.parent, scratch))
        return
    yield Finding(True, f"{path}: sound. {summary(contents)}")
    newest = migrations()[-1][0]
    if contents.schema_version < newest:
        yield Finding(
            True,
            f"Its schema {contents.schema_version} is older than this pitapp's {newest}.",
            "It is brought up to date, after a copy, when pitapp is started next.",
        )
        return
    with closing(
        sqlite3.connect(f"{readable.absolute().as_uri()}?mode=ro", uri=True)
    ) as connection:
        connection.row_factory = sqlite3.Row
        odd = list(islice(readers.unreadable(connection), MOST_ROWS_NAMED))
    for sentence in odd:
        yield Finding(
            False,
            sentence,
            "Nothing else is touched by it. Correct that row on its screen, or bring an older copy "
            "back; keep the file and report this.",
        )
    if not odd:
        yield Finding(True, "Every row can be read.")
    ahead = contents.newest_run_at and contents.newest_run_at > now + timedelta(days=1)
    if ahead:
        yield Finding(
            True, "The newest run lies ahead.", "Look at this machine's clock, then at that run."
        )


def _way_back(folder: Path, scratch: Path) -> str:
    for copy in store.list_copies(folder):
        path = folder / store.FOLDER / copy.name
        try:
            with store.looked_through(path, scratch):
                pass
        except PitappError:
            continue
        return f"Stop pitapp, then bring the newest sound copy back: pitapp restore {path}"
    return "There is no sound copy in its folder; look for one that you took away."


def _copies(folder: Path, now: datetime) -> Iterator[Finding]:
    copies = [copy for copy in store.list_copies(folder) if copy.made_at <= now]
    advice = "Make one, best to another device: pitapp backup FILE"
    if not copies:
        yield Finding(True, "There is no copy yet.", advice)
        return
    age = now - copies[0].made_at
    old = f"{age.days} days" if age.days else f"{age.seconds // 3600} hours"
    yield Finding(True, f"{len(copies)} copies, the newest {old} old.", advice if age > OLD else "")
    for copy in copies:
        yield Finding(True, f"  copy: {copy.name}")


def _room(path: Path) -> Finding:
    free = shutil.disk_usage(path.parent).free
    scarce = free < LEAST_ROOM + COPIES_WORTH * path.stat().st_size
    advice = "Make room before the next meeting." if scarce else ""
    return Finding(not scarce, f"{free / 2**20:.0f} MB of room left.", advice)
