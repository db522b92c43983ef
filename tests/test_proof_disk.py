"""A full disk, a locked, damaged or vanished database: a clear sentence, and nothing lost."""

from __future__ import annotations

import re
import shutil
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


def test_a_database_that_another_program_holds_is_told(
    app: Flask, client: PageClient, db: sqlite3.Connection, car: int
) -> None:
    db.execute("PRAGMA busy_timeout = 50")
    with closing(connect(app.extensions["pitapp.db"].path)) as other:
        other.execute("BEGIN IMMEDIATE")
        answer = client.post_form("/gearing/fit", PAIR)
        other.execute("ROLLBACK")
    assert answer.status_code == 503
    assert "Nothing was saved; try again" in answer.text
    assert "database is locked" not in answer.text
    assert client.post_form("/gearing/fit", PAIR).status_code == 303


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


def test_a_data_folder_that_vanished_is_told(
    app: Flask, client: PageClient, car: int, tmp_path: Path
) -> None:
    app.extensions["pitapp.db"].close()
    shutil.rmtree(app.config["PITAPP_DATA_DIR"])
    answer = client.get("/gearing")
    assert answer.status_code == 503
    assert "data folder" in answer.text
    assert "Traceback" not in answer.text


def test_a_folder_that_is_no_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(DataError, match="--data"):
        create_app(tmp_path / "file")


def test_a_clock_that_jumps_back_keeps_the_newest_gear(
    client: PageClient, db: sqlite3.Connection, car: int, clock: Clock
) -> None:
    client.post_form("/gearing/fit", PAIR)
    clock.tick(-3 * 86400)
    client.post_form("/gearing/fit", {"pinion": "44", "spur": "66"})
    assert len(gearing.log(db, car)) == 2
    page = client.get("/gearing/log").text
    assert re.search(r"Take 44 / 66 of", page)
