"""What went wrong beneath the database, as an error with a sentence that says what to do."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from pitapp.errors import DamagedDatabase, DatabaseBusy, DataError, DiskFull

BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
UNWRITABLE = (
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_PERM,
)
NO_ROOM = (errno.ENOSPC, errno.EDQUOT)
SHUT = (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOENT, errno.ENOTDIR, errno.EIO)


def while_serving(error: sqlite3.Error) -> DataError | None:
    """One of SQLite's errors in the middle of a request, or None where nobody can mend it."""
    code = _code(error)
    if code in BUSY:
        return DatabaseBusy("Another write is taking too long. Nothing was saved; try again.")
    if code == sqlite3.SQLITE_FULL:
        return _no_room()
    if code in UNWRITABLE:
        return DataError(
            f"The data folder cannot be written ({error}). Nothing was saved. Mend the permissions "
            "of the folder and of the files in it, then send again."
        )
    if code in DAMAGED:
        return DamagedDatabase(
            f"The database is damaged ({error}). Nothing was saved. Stop pitapp and bring the "
            "newest copy back: pitapp inspect says how."
        )
    return None


def of_a_file(error: OSError, folder: Path) -> DataError | None:
    """An error of the system at a file of the data folder, or None where it is about another one."""
    if error.errno in NO_ROOM:
        return _no_room()
    name = error.filename
    if error.errno in SHUT and isinstance(name, str) and Path(name).is_relative_to(folder):
        return DataError(
            f"The data folder cannot be used ({error.strerror}). Nothing was saved. Mend its "
            "permissions, or put it back, then send again."
        )
    return None


def at_start(error: sqlite3.Error, path: Path) -> DataError | None:
    """One of SQLite's errors as the database at `path` is opened, or None where nobody can mend it."""
    code = _code(error)
    if code in BUSY:
        return DatabaseBusy(
            f"Another program holds {path}. Close it, then start pitapp again. Nothing was changed."
        )
    if code == sqlite3.SQLITE_FULL:
        return DiskFull(
            f"There is no room left for {path}. Make room, then start pitapp again. "
            "Your data is as it was."
        )
    if code in UNWRITABLE:
        return DataError(
            f"{path} cannot be written ({error}). Mend the permissions of the file and of its "
            "folder, or choose another folder with --data. Nothing was changed."
        )
    if code in DAMAGED:
        return DamagedDatabase(
            f"{path} cannot be read as pitapp's database ({error}). To go on, restore a copy: "
            "pitapp inspect says which there are."
        )
    return None


def _code(error: sqlite3.Error) -> int:
    return getattr(error, "sqlite_errorcode", 0) & 0xFF


def _no_room() -> DiskFull:
    return DiskFull("There is no room left on this device. Nothing was saved; make room first.")
