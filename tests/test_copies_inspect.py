"""`pitapp inspect`: what it looks at, what it says to do, and restoring over what is damaged."""

from __future__ import annotations

import shutil
import sqlite3
from collections import namedtuple
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import cast

import pytest
from click.testing import CliRunner, Result
from flask import Flask

from pitapp import create_app
from pitapp.cli import cli
from pitapp.copies import store
from pitapp.db.connect import connect
from pitapp.db.migrate import migrations, statements
from pitapp.errors import DataError
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.permissions import open_again, permissions_bind, shut
from tests.support import Clock

CAR = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
Usage = namedtuple("Usage", "total used free")


@pytest.fixture
def folder(app: Flask, db: sqlite3.Connection, clock: Clock) -> Path:
    kit.save_car(db, CAR, clock())
    return cast(Path, app.config["PITAPP_DATA_DIR"])


def inspected(folder: Path) -> Result:
    return CliRunner().invoke(cli, ["inspect", "--data", str(folder)])


def change(folder: Path, *statements: str) -> None:
    with closing(connect(folder / "pitapp.sqlite3")) as database:
        database.execute("PRAGMA foreign_keys = OFF")
        for statement in statements:
            database.execute(statement)


def test_what_is_sound_is_said_with_its_copies(folder: Path, db: sqlite3.Connection) -> None:
    assert "There is no copy yet." in inspected(folder).output
    now = datetime.now(UTC)
    store.keep_copy(db, folder, "by-hand", now - timedelta(days=9))
    found = inspected(folder)
    assert found.exit_code == 0
    assert "sound. 0 runs" in found.output
    assert "Every row can be read." in found.output
    assert "1 copies, the newest 9 days old." in found.output
    assert "-> Make one, best to another device: pitapp backup FILE" in found.output
    assert "MB of room left." in found.output
    store.keep_copy(db, folder, "by-hand", now - timedelta(hours=3, minutes=1))
    recent = inspected(folder).output
    assert "2 copies, the newest 3 hours old." in recent
    assert "-> Make one" not in recent


def test_a_row_that_its_room_cannot_read_is_named(folder: Path) -> None:
    change(folder, "UPDATE cars SET pitch = 'cubits:3'")
    found = inspected(folder)
    assert isinstance(found.exception, DataError)
    assert "NOT SOUND: In cars, row 1, pitch" in found.output
    assert "Correct that row" in found.output


def test_a_reference_to_nothing_is_found(folder: Path) -> None:
    change(
        folder,
        "INSERT INTO gear_fits (car_id, pinion_teeth, spur_teeth, internal_ratio, "
        "tyre_diameter_mm, fitted_at) VALUES (77, 40, 66, 1.9, 63, '2026-01-01T00:00:00Z')",
    )
    found = inspected(folder)
    assert found.exit_code == 1
    assert "foreign_key_check: gear_fits" in found.output


def test_a_shut_folder_is_told_and_still_read(app: Flask, folder: Path) -> None:
    app.extensions["pitapp.db"].close()
    with permissions_bind():
        shut(folder)
        found = inspected(folder)
        open_again(folder)
    assert isinstance(found.exception, DataError)
    assert f"NOT SOUND: {folder} cannot be written by you." in found.output
    assert "pitapp.sqlite3 cannot be written by you." in found.output
    assert "sound. 0 runs" in found.output


def test_a_folder_that_others_can_look_into_is_told(folder: Path) -> None:
    assert folder.stat().st_mode & 0o077 == 0, "a new folder is its owner's own"
    assert "Other users" not in inspected(folder).output
    folder.chmod(0o755)
    found = inspected(folder)
    assert found.exit_code == 0
    assert f"chmod 700 {folder}" in found.output


def test_little_room_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(1, 1, 5 * 2**20))
    found = inspected(folder)
    assert "NOT SOUND: 5 MB of room left." in found.output
    assert "Make room" in found.output


def test_a_run_that_lies_ahead_points_at_the_clock(folder: Path) -> None:
    change(
        folder,
        "INSERT INTO runs (uuid, car_id, started_at, time_zone, snapshot) "
        "VALUES ('3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70', 1, '2099-01-01T00:00:00Z', 'UTC', '{}')",
    )
    assert "Look at this machine's clock" in inspected(folder).output


def test_an_older_schema_is_told(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "pitapp.sqlite3", isolation_level=None)) as made:
        for statement in statements(migrations()[0][1].read_text(encoding="utf-8")):
            made.execute(statement)
        made.execute("PRAGMA user_version = 1")
    found = inspected(tmp_path)
    assert found.exit_code == 0
    assert "Its schema 1 is older" in found.output
    assert "brought up to date, after a copy" in found.output


def damage(path: Path) -> None:
    with closing(connect(path)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xa5" * (len(content) - 4096)
    path.write_bytes(content)


@pytest.mark.parametrize("where", [0, 4096])
def test_damaged_data_is_set_aside_for_the_newest_sound_copy(
    app: Flask, folder: Path, db: sqlite3.Connection, where: int
) -> None:
    now = datetime.now(UTC)
    sound = store.keep_copy(db, folder, "by-hand", now - timedelta(hours=2))
    damage(store.keep_copy(db, folder, "by-hand", now - timedelta(hours=1)))
    app.extensions["pitapp.db"].close()
    path = folder / "pitapp.sqlite3"
    content = path.read_bytes()
    path.write_bytes(content[:where] + b"\xa5" * (len(content) - where))
    found = inspected(folder)
    assert isinstance(found.exception, DataError)
    assert f"pitapp restore {sound}" in found.output
    done = CliRunner().invoke(cli, ["restore", str(sound), "--yes", "--data", str(folder)])
    assert done.exit_code == 0, done.output
    assert len(list(folder.glob("damaged-*.sqlite3"))) == 1
    again = create_app(folder).extensions["pitapp.db"]
    assert [car.name for car in kit.cars(again.connection())] == ["Car"]
    again.close()
    assert inspected(folder).exit_code == 0
