"""Files that were looked at and wait for the racer's word, each kept under the digest of its bytes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from shutil import copyfileobj
from time import time
from typing import BinaryIO

from pitapp.db import from_db
from pitapp.errors import NotThere

FOLDER = "incoming"
AT_ONCE = 256 * 1024
BEFORE = "before-reading-back.json"
MOST_KEPT = 6
OLDEST_S = 24 * 3600
_WRITTEN_AT = re.compile(r'"written_at": "([^"]+)"')
_DIGEST = re.compile(r"[0-9a-f]{64}")


def keep(data_dir: Path, file: BinaryIO) -> str:
    """Keep a copy of the file and return the digest of its bytes; old files are cleared away."""
    folder = data_dir / FOLDER
    folder.mkdir(exist_ok=True)
    file.seek(0)
    digested = sha256()
    while block := file.read(AT_ONCE):
        digested.update(block)
    digest = digested.hexdigest()
    file.seek(0)
    with _written(folder / digest) as fresh:
        copyfileobj(file, fresh)
    stored = sorted(folder.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True)
    for index, path in enumerate(stored):
        if index >= MOST_KEPT or time() - path.stat().st_mtime > OLDEST_S:
            path.unlink(missing_ok=True)
    return digest


def stored_file(data_dir: Path, digest: str) -> Path:
    """The file kept under that digest.

    Raises:
        NotThere: it is not there any more.
    """
    path = data_dir / FOLDER / digest
    if not _DIGEST.fullmatch(digest) or not path.is_file():
        raise NotThere("That file is not here any more. Choose it again.")
    return path


@contextmanager
def keeping_before(data_dir: Path, pieces: Iterable[str]) -> Iterator[None]:
    """Save the data of before a file is read back, once that has worked."""
    with _written(data_dir / BEFORE) as fresh:
        for piece in pieces:
            fresh.write(piece.encode())
        yield


def before(data_dir: Path) -> Path | None:
    """The data of before the last file was read back, if there is any."""
    path = data_dir / BEFORE
    return path if path.is_file() else None


def before_at(data_dir: Path) -> datetime | None:
    """When that was written, as the file itself says."""
    path = data_dir / BEFORE
    if not path.is_file():
        return None
    with path.open(encoding="utf-8", errors="replace") as file:
        said = _WRITTEN_AT.search(file.readline(1000))
    return from_db(said[1]) if said else None


@contextmanager
def _written(path: Path) -> Iterator[BinaryIO]:
    """A file to write, which takes its place when all is done."""
    fresh = path.with_name(path.name + ".part")
    try:
        with fresh.open("wb") as file:
            yield file
        fresh.replace(path)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
