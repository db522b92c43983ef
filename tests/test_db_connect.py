"""Write transactions of several threads."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from pitapp.db import connect as connect_module
from pitapp.db.connect import connect, transaction


@pytest.fixture
def path(tmp_path: Path) -> Path:
    found = tmp_path / "turns.sqlite3"
    with closing(connect(found)) as connection:
        connection.execute("CREATE TABLE marks (name TEXT) STRICT")
    return found


def test_threads_take_turns_in_writing_where_sqlite_would_give_up(path: Path) -> None:
    inside, go_on = threading.Event(), threading.Event()
    failures: list[BaseException] = []

    def first() -> None:
        with closing(connect(path)) as connection, transaction(connection):
            connection.execute("INSERT INTO marks VALUES ('first')")
            inside.set()
            go_on.wait(10)

    def second() -> None:
        with closing(connect(path)) as connection:
            connection.execute("PRAGMA busy_timeout = 0")
            try:
                with transaction(connection):
                    connection.execute("INSERT INTO marks VALUES ('second')")
            except sqlite3.OperationalError as error:
                failures.append(error)

    threads = [threading.Thread(target=first), threading.Thread(target=second)]
    threads[0].start()
    assert inside.wait(10)
    threads[1].start()
    threads[1].join(0.2)
    go_on.set()
    for thread in threads:
        thread.join(10)
    assert not failures
    with closing(connect(path)) as connection:
        assert [row["name"] for row in connection.execute("SELECT name FROM marks")] == [
            "first",
            "second",
        ]


def test_a_transaction_that_fails_gives_the_turn_back(path: Path) -> None:
    with closing(connect(path)) as connection:
        connection.execute("INSERT INTO marks VALUES ('first')")
        with pytest.raises(sqlite3.OperationalError), transaction(connection):
            connection.execute("UPDATE marks SET name = 'half', no_such_column = 1")
        with transaction(connection), transaction(connection) as joined:
            joined.execute("INSERT INTO marks VALUES ('whole')")
        assert [row["name"] for row in connection.execute("SELECT name FROM marks")] == [
            "first",
            "whole",
        ]


def test_a_write_may_write_to_another_database_on_its_way(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bringing a copy back does; the thread waited for itself, five seconds each time."""
    monkeypatch.setattr(connect_module, "BUSY_TIMEOUT_MS", 3_600_000)

    def write_to_both() -> None:
        with (
            closing(connect(path)) as one,
            closing(connect(tmp_path / "other.sqlite3")) as other,
            transaction(one),
            transaction(other),
        ):
            other.execute("CREATE TABLE written (id INTEGER)")

    writing = threading.Thread(target=write_to_both, daemon=True)
    writing.start()
    writing.join(60)
    assert not writing.is_alive()
