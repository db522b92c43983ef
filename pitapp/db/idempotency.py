"""Answers to writes that carried a key, kept so that a write sent twice is done once.

A copy carries the keys of the writes whose rows it holds, and no answer: of what was answered
elsewhere nothing is given out here but that it is saved.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import NamedTuple

from pitapp.dates import nearest, to_db
from pitapp.db.connect import transaction

ANSWERS_KEPT = timedelta(days=60)
ONLY_SAVED = 0
"""The status where the key is known and the answer is not."""


class Answer(NamedTuple):
    """A write's stored answer; with status `ONLY_SAVED`, only that the write was done."""

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
        "INSERT OR REPLACE INTO answered_writes "
        "(key, made_at, status, location, content_type, body) VALUES (?, ?, ?, ?, ?, ?)",
        (key, to_db(now), *answer),
    )


def keys(connection: sqlite3.Connection, database: str = "main") -> list[tuple[str, str]]:
    """The key of every write that was done, with the moment as text, by key; of an attached database too."""
    rows = connection.execute(f"SELECT key, made_at FROM {database}.answered_writes ORDER BY key")  # noqa: S608
    return [(row[0], row[1]) for row in rows]


def replace_keys(
    connection: sqlite3.Connection, keys_with_moments: Iterable[tuple[str, str]]
) -> None:
    """From now on let exactly these keys be known, and no answer; each with the moment as text."""
    connection.execute("DELETE FROM answered_writes")
    connection.executemany(
        "INSERT OR IGNORE INTO answered_writes (key, made_at, status, body) VALUES (?, ?, ?, x'')",
        ((key, made_at, ONLY_SAVED) for key, made_at in keys_with_moments),
    )


def forget_old_answers(connection: sqlite3.Connection, now: datetime) -> None:
    """Keep the key of every write for ever, and what was answered for as long as `ANSWERS_KEPT`.

    No server can know that no phone still holds a write: one may lie in a drawer for a winter, or a
    page stay open. A key takes some 70 bytes, so that ten seasons of 5 000 writes are 4 MB; the
    answer, which is larger, is of use only while somebody waits for it and may want to undo.
    """
    with transaction(connection):
        connection.execute(
            "UPDATE answered_writes SET status = ?, location = NULL, content_type = NULL, body = x'' "
            "WHERE made_at < ? AND status <> ?",
            (ONLY_SAVED, to_db(nearest(now - ANSWERS_KEPT)), ONLY_SAVED),
        )


def forget_answers(connection: sqlite3.Connection) -> None:
    """Drop every stored answer, keep the keys."""
    connection.execute("PRAGMA secure_delete = ON")
    connection.execute(
        "UPDATE answered_writes SET status = ?, location = NULL, content_type = NULL, body = x''",
        (ONLY_SAVED,),
    )
