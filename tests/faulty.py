"""A database whose next COMMIT fails as it does on a full disk."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from pitapp.db import connect as connecting


def disk_full() -> sqlite3.OperationalError:
    """What SQLite raises where there is no room for the pages of a transaction."""
    error = sqlite3.OperationalError("database or disk is full")
    error.sqlite_errorcode = sqlite3.SQLITE_FULL
    return error


class Faulty(sqlite3.Connection):
    """Refuses to commit while `failing` says so."""

    failing = False

    def execute(self, sql: str, *arguments: Any) -> sqlite3.Cursor:
        if sql == "COMMIT" and Faulty.failing:
            raise disk_full()
        return super().execute(sql, *arguments)


@contextmanager
def no_room_at_commit() -> Iterator[None]:
    """Within this no transaction of a `Faulty` connection comes to its end."""
    Faulty.failing = True
    try:
        yield
    finally:
        Faulty.failing = False


def use_faulty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every connection opened from now on be a `Faulty` one."""
    opened = connecting.connect

    def connect(path: Path) -> sqlite3.Connection:
        with monkeypatch.context() as patch:
            plain = sqlite3.connect
            patch.setattr(
                sqlite3,
                "connect",
                lambda *given, **named: plain(*given, factory=Faulty, **named),
            )
            return opened(path)

    monkeypatch.setattr(connecting, "connect", connect)
