"""Answers to writes that carried a key, kept so that a write sent twice is done once."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from typing import NamedTuple

from pitapp.db.connect import stamp


class Answer(NamedTuple):
    """What was answered to a write."""

    status: int
    location: str | None
    content_type: str | None
    body: bytes


def find(connection: sqlite3.Connection, key: str) -> Answer | None:
    """The answer given to the write with this key, or None if it was not done yet."""
    row = connection.execute(
        "SELECT status, location, content_type, body FROM answered_writes WHERE key = ?", (key,)
    ).fetchone()
    return None if row is None else Answer(*row)


def keep(connection: sqlite3.Connection, key: str, answer: Answer, now: datetime) -> None:
    """Keep an answer, in the transaction of the write itself."""
    connection.execute(
        "INSERT INTO answered_writes (key, made_at, status, location, content_type, body) "
        "VALUES (?, ?, ?, ?, ?, ?)",
        (key, stamp(now), *answer),
    )
