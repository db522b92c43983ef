"""Files that were looked at and wait for the racer's word, each kept under the digest of its bytes."""

from __future__ import annotations

import re
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from time import time

from pitapp.db import when
from pitapp.errors import NotThere

FOLDER = "incoming"
BEFORE = "before-reading-back.json"
MOST_KEPT = 6
OLDEST_S = 24 * 3600
_WRITTEN_AT = re.compile(r'"written_at": "([^"]+)"')
_DIGEST = re.compile(r"[0-9a-f]{64}")


def keep(data_dir: Path, data: bytes) -> str:
    """Keep the bytes and return their digest; old files are cleared away."""
    folder = data_dir / FOLDER
    folder.mkdir(exist_ok=True)
    digest = sha256(data).hexdigest()
    _write(folder / digest, data)
    kept = sorted(folder.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True)
    for index, path in enumerate(kept):
        if index >= MOST_KEPT or time() - path.stat().st_mtime > OLDEST_S:
            path.unlink(missing_ok=True)
    return digest


def kept(data_dir: Path, digest: str) -> bytes:
    """The bytes kept under that digest.

    Raises:
        NotThere: they are not there any more.
    """
    path = data_dir / FOLDER / digest
    if not _DIGEST.fullmatch(digest) or not path.is_file():
        raise NotThere("That file is not here any more. Choose it again.")
    return path.read_bytes()


def keep_before(data_dir: Path, text: str) -> None:
    """Keep what was here before a file was read back."""
    _write(data_dir / BEFORE, text.encode())


def before(data_dir: Path) -> bytes | None:
    """What was here before the last file was read back, if one was."""
    path = data_dir / BEFORE
    return path.read_bytes() if path.is_file() else None


def before_at(data_dir: Path) -> datetime | None:
    """When that was written, as the file itself says."""
    path = data_dir / BEFORE
    if not path.is_file():
        return None
    with path.open(encoding="utf-8", errors="replace") as file:
        said = _WRITTEN_AT.search(file.readline(1000))
    return when(said[1]) if said else None


def _write(path: Path, data: bytes) -> None:
    fresh = path.with_name(path.name + ".part")
    try:
        fresh.write_bytes(data)
        fresh.replace(path)
    except OSError:
        fresh.unlink(missing_ok=True)
        raise
