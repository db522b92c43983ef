"""Connections: one kept for each thread, WAL, full synchronisation, foreign keys on."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pitapp.db.identity import own
from pitapp.errors import DataError

BUSY_TIMEOUT_MS = 5000
_turn = threading.RLock()  # re-entrant: bringing a copy back writes to two databases


def connect(path: Path) -> sqlite3.Connection:
    """Open `path` the way every part of pitapp opens it; statements outside a transaction commit."""
    connection = sqlite3.connect(
        path, timeout=BUSY_TIMEOUT_MS / 1000, isolation_level=None, check_same_thread=False
    )
    connection.row_factory = sqlite3.Row
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
    except BaseException:
        connection.close()
        raise
    return connection


class Database:
    """A database file and the connections that the threads of this process keep to it.

    On many systems a file that was removed can still be written by whoever has it open, and all
    that is written is lost: so each use looks whether the file is still the one there.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = _identity(path)
        self._local = threading.local()
        self._lock = threading.RLock()
        self._open: list[sqlite3.Connection] = []
        self._generation = 0
        self._identity = ""

    @property
    def identity(self) -> str:
        """Which database this is (`db.identity`); raises as `connection` does when it is read first."""
        if not self._identity:
            self._identity = own(self.connection())
        return self._identity

    def connection(self) -> sqlite3.Connection:
        """This thread's connection, opened on first use.

        Raises:
            DataError: the file is gone, or another one stands in its place.
        """
        self._check_exists()
        connection: sqlite3.Connection | None = getattr(self._local, "connection", None)
        if connection is not None and self._local.generation == self._generation:
            return connection
        fresh = connect(self.path)
        with self._lock:
            self._open.append(fresh)
            self._local.generation = self._generation
        self._local.connection = fresh
        return fresh

    def another(self) -> sqlite3.Connection:
        """A connection that belongs to the caller, who closes it; raises as `connection` does."""
        self._check_exists()
        return connect(self.path)

    def _check_exists(self) -> None:
        current = _identity(self.path)
        if current is None or current != self._file:
            raise DataError(
                f"The data folder is {'gone' if current is None else 'another one'} since pitapp was "
                "started. Nothing was saved. Put it back, or stop pitapp and start it again."
            )

    def close(self) -> None:
        """Close every connection; the next use opens a new one."""
        with self._lock:
            self._generation += 1
            for connection in self._open:
                with suppress(sqlite3.Error):
                    connection.close()
            self._open.clear()


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        status = os.stat(path)  # noqa: PTH116
    except OSError:
        return None
    return status.st_dev, status.st_ino


def get_db() -> sqlite3.Connection:
    """The connection of the thread that serves this request, looked for once."""
    from flask import current_app, g

    connection: sqlite3.Connection | None = g.get("connection")
    if connection is None:
        connection = g.connection = current_app.extensions["pitapp.db"].connection()
    return connection


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """One write transaction: all of it or none. Inside another one it joins that one.

    The threads of this process take turns: SQLite's own waiting is sleeping and trying again, in
    which one of many writers can be passed over until its time is up.
    """
    if connection.in_transaction:
        yield connection
        return
    in_turn = _turn.acquire(timeout=BUSY_TIMEOUT_MS / 1000)
    try:
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield connection
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    finally:
        if in_turn:
            _turn.release()
