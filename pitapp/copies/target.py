"""Where a copy may be written, and the part of it beside that place until it is whole."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pitapp.db.validate_copy import MAGIC
from pitapp.errors import DataError
from pitapp.locking import lock


def free_for_a_copy(file: Path, database: Path) -> Path:
    """The file that a copy is to be written to, a link followed.

    Args:
        file: as the racer named it.
        database: what is copied.

    Raises:
        DataError: it is the data itself, no file, or a file of another kind.
    """
    try:
        target = file.resolve()
        beside = target.parent == database.parent.resolve()
        if is_same(target, database) or (
            beside and target.name.lower().startswith(database.name.lower())
        ):
            raise DataError(f"{file} is your data itself. Give the copy another name or place.")
        if target.exists():
            _may_be_replaced(file, target)
    except (OSError, RuntimeError) as error:
        raise DataError(f"The copy cannot be written to {file}: {error}.") from error
    return target


def is_same(file: Path, other: Path) -> bool:
    """Whether both are there and are one file, by whatever name."""
    try:
        return file.samefile(other)
    except OSError:
        return False


def _may_be_replaced(file: Path, target: Path) -> None:
    if not target.is_file():
        raise DataError(f"{file} is a folder, a pipe or a device. Give the copy a name of its own.")
    with target.open("rb") as there:
        start = there.read(len(MAGIC))
    if start and start != MAGIC:
        raise DataError(f"{file} is there already, and is no copy. Give this one another name.")


@contextmanager
def replacing(target: Path) -> Iterator[Path]:
    """Yields an empty file beside the target, which takes its place when the block ends well.

    It is locked meanwhile, so that what a killed process left behind is known, and cleared away by
    the next that writes to the same target.
    """
    _clear_leftovers(target)
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    number = os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        try:
            with suppress(OSError):
                lock(number)
            yield part
        finally:
            os.close(number)
        part.replace(target)
    finally:
        _clear(part)


def _clear_leftovers(target: Path) -> None:
    ours = re.compile(rf"\.{re.escape(target.name)}\.[0-9a-f]{{8}}\.part")
    with suppress(OSError):
        for path in target.parent.iterdir():
            if ours.fullmatch(path.name) and _is_left(path):
                _clear(path)


def _is_left(part: Path) -> bool:
    try:
        number = os.open(part, os.O_RDWR)
    except OSError:
        return False
    try:
        lock(number)
    except OSError:
        return False
    finally:
        os.close(number)
    return True


def _clear(part: Path) -> None:
    for suffix in ("", "-journal", "-wal", "-shm"):
        with suppress(OSError):
            part.with_name(part.name + suffix).unlink(missing_ok=True)
