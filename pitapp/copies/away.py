"""When a copy last left: how much a phone that is lost, or a browser that is cleared, would take along.

Two moments stand in a file beside the copies, not among the data: they are about this place, and a
copy that is brought elsewhere says nothing about it.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from pitapp.dates import from_db, to_db
from pitapp.db import undo

FILE = "copy-taken-away.json"


class Away(NamedTuple):
    """When the newest copy that left was made, and when rows last came in from a file."""

    taken_at: datetime | None = None
    brought_at: datetime | None = None


def moments(data_dir: Path) -> Away:
    """Both moments; None where there was none, or what was noted cannot be read."""
    try:
        noted = json.loads((data_dir / FILE).read_text(encoding="ascii"))
        return Away(*(from_db(noted[name]) if noted[name] else None for name in Away._fields))
    except (OSError, ValueError, KeyError, TypeError):
        return Away()


def note_taken(data_dir: Path, made_at: datetime) -> None:
    """Note that a copy made at that moment was downloaded or shared; an older one changes nothing."""
    before = moments(data_dir)
    if before.taken_at is None or made_at > before.taken_at:
        _write(data_dir, before._replace(taken_at=made_at))


def note_brought(data_dir: Path, now: datetime) -> None:
    """Note that rows came in from a file, which leaves no step back that would tell of them."""
    _write(data_dir, moments(data_dir)._replace(brought_at=now))


def is_behind(connection: sqlite3.Connection, away: Away) -> bool:
    """Whether anything was changed or brought in since the newest copy that left was made."""
    changes = [each for each in (undo.newest_at(connection), away.brought_at) if each]
    return away.taken_at is None or any(each > away.taken_at for each in changes)


def _write(data_dir: Path, away: Away) -> None:
    noted = {name: at and to_db(at) for name, at in away._asdict().items()}
    with suppress(OSError):  # a full device: the copy itself was given out, and that counts
        (data_dir / FILE).write_text(json.dumps(noted), encoding="ascii")
