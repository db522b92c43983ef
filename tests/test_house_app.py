"""The fixtures of these tests: the app over temporary data, guarded as it is for a racer."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

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


STARTS = """
import sys
from pathlib import Path
from pitapp import create_app

create_app(Path(sys.argv[1]))
print(*sorted(sys.modules))
"""


def test_the_app_starts_without_what_it_seldom_needs(tmp_path: Path) -> None:
    """The solver of charge plans and the signing of certificates are loaded at their first use."""
    loaded = subprocess.run(
        [sys.executable, "-c", STARTS, str(tmp_path)], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "pitapp.packs.planning.routes" in loaded
    solver = {name for name in loaded if name.startswith("pitapp.packs.solver.")}
    assert solver == {"pitapp.packs.solver.watched_time"}
    assert not {"cryptography", "numpy", "scipy"} & set(loaded)
