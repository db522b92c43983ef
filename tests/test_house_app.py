"""The fixtures of these tests: the app over temporary data, guarded as it is for a racer."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime

import pytest
from flask import Flask

from tests.support import Clock, PageClient


def test_the_database_is_new_and_has_its_tables(db: sqlite3.Connection) -> None:
    assert db.execute("PRAGMA user_version").fetchone()[0] >= 1
    assert db.execute("PRAGMA foreign_keys").fetchone()[0] == 1


def test_the_clock_moves_only_when_told(app: Flask, clock: Clock) -> None:
    clock.set(datetime(2026, 7, 1, 12, 0, tzinfo=UTC))
    clock.tick(1.5)
    assert app.extensions["pitapp.clock"]() == datetime(2026, 7, 1, 12, 0, 1, 500_000, tzinfo=UTC)
    with pytest.raises(ValueError, match="time zone"):
        clock.set(datetime(2026, 7, 1))  # noqa: DTZ001


def test_forms_are_guarded_in_tests_too(app: Flask, client: PageClient) -> None:
    @app.post("/test-only")
    def accept() -> str:
        return "accepted"

    assert client.post("/test-only").status_code == 400
    assert client.post_form("/test-only", {"teeth": 20}).get_data(as_text=True) == "accepted"
