"""A full disk, and what stands where the data should: a clear sentence, and nothing lost."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.db.connect import connect
from pitapp.errors import DataError
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import Clock, PageClient

PAIR = {"pinion": "45", "spur": "66"}


@pytest.fixture
def car(db: sqlite3.Connection, clock: Clock) -> int:
    car = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    return kit.save_car(db, car, clock())[0]


def test_a_full_disk_is_told_and_loses_nothing(
    client: PageClient, db: sqlite3.Connection, car: int
) -> None:
    pages = db.execute("PRAGMA page_count").fetchone()[0]
    db.execute(f"PRAGMA max_page_count = {pages + 4}")
    done, full = 0, None
    for _ in range(3000):
        answer = client.post_form("/gearing/fit", PAIR)
        if answer.status_code == 303:
            done += 1
            continue
        full = answer
        break
    assert full is not None
    assert full.status_code == 507
    assert "There is no room left on this device" in full.text
    assert len(gearing.log(db, car, limit=5000)) == done
    assert client.get("/gearing").status_code == 200
    db.execute("PRAGMA max_page_count = 1073741823")
    assert client.post_form("/gearing/fit", PAIR).status_code == 303
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def test_a_damaged_database_is_told(app: Flask, tmp_path: Path, clock: Clock) -> None:
    path = app.extensions["pitapp.db"].path
    app.extensions["pitapp.db"].close()
    with closing(connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = bytearray(path.read_bytes())
    content[100:] = b"\xa5" * (len(content) - 100)
    path.write_bytes(content)
    with pytest.raises(DataError, match="restore a copy"):
        create_app(path.parent, clock=clock)


def test_a_folder_that_is_no_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(DataError, match="--data"):
        create_app(tmp_path / "file")
