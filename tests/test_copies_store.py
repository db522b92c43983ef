"""Copies: consistent while in use, examined, kept ten deep, brought back in one piece or not at all."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from pitapp.copies import store
from pitapp.db.connect import connect
from pitapp.db.migrate import migrate, migrations, statements
from pitapp.devices import store as devices
from pitapp.devices.guesses import Guesses
from pitapp.errors import DataError, Refused
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import Clock


@pytest.fixture
def data_dir(app: Flask) -> Path:
    folder: Path = app.config["PITAPP_DATA_DIR"]
    return folder


def add_car(db: sqlite3.Connection, clock: Clock, name: str) -> None:
    car = Car(name=name, internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    kit.save_car(db, car, clock())


def test_a_copy_holds_what_was_there(db: sqlite3.Connection, clock: Clock, tmp_path: Path) -> None:
    add_car(db, clock, "First")
    found = store.write_copy(db, tmp_path / "copy.sqlite3")
    assert (found.cars, found.runs) == (1, 0)
    add_car(db, clock, "Second")
    with closing(sqlite3.connect(tmp_path / "copy.sqlite3")) as copy:
        assert copy.execute("SELECT name FROM cars").fetchall() == [("First",)]
    assert list(tmp_path.glob("*.part")) == []


def test_a_copy_is_taken_while_another_connection_writes(
    db: sqlite3.Connection, clock: Clock, data_dir: Path, tmp_path: Path
) -> None:
    with closing(connect(data_dir / "pitapp.sqlite3")) as writer:
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("INSERT INTO settings VALUES ('half', 'done')")
        store.write_copy(db, tmp_path / "copy.sqlite3")
        writer.execute("COMMIT")
    with closing(sqlite3.connect(tmp_path / "copy.sqlite3")) as copy:
        assert copy.execute("SELECT count(*) FROM settings").fetchone()[0] == 0


def test_bringing_back_and_the_way_back(
    db: sqlite3.Connection, clock: Clock, data_dir: Path, tmp_path: Path
) -> None:
    add_car(db, clock, "First")
    store.write_copy(db, tmp_path / "copy.sqlite3")
    add_car(db, clock, "Second")
    before = store.restore(db, tmp_path / "copy.sqlite3", data_dir, clock())
    assert [car.name for car in kit.cars(db)] == ["First"]
    with closing(connect(data_dir / "pitapp.sqlite3")) as other:
        assert [car.name for car in kit.cars(other)] == ["First"]
    store.restore(db, before, data_dir, clock())
    assert [car.name for car in kit.cars(db)] == ["First", "Second"]
    assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert list(data_dir.glob(".restore-*")) == []


def test_no_write_falls_between_the_copy_and_the_change(
    db: sqlite3.Connection,
    clock: Clock,
    data_dir: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    store.write_copy(db, tmp_path / "copy.sqlite3")
    made = store.keep_copy

    def keep_copy(*arguments: Any) -> Path:
        path = made(*arguments)
        with closing(connect(data_dir / "pitapp.sqlite3")) as other:
            other.execute("PRAGMA busy_timeout = 0")
            with pytest.raises(sqlite3.OperationalError, match="locked"):
                other.execute("INSERT INTO settings VALUES ('a', 'write')")
        return path

    monkeypatch.setattr(store, "keep_copy", keep_copy)
    store.restore(db, tmp_path / "copy.sqlite3", data_dir, clock())
    assert len(store.list_copies(data_dir)) == 1


def test_a_copy_lets_no_removed_device_back_in(
    db: sqlite3.Connection, clock: Clock, data_dir: Path, tmp_path: Path
) -> None:
    code = devices.new_code(db, clock()).code
    token = devices.pair(db, Guesses(), code, "Phone", "192.168.7.20", clock()).token
    assert token
    store.write_copy(db, tmp_path / "copy.sqlite3")
    devices.remove(db, devices.devices(db)[0].id, clock())
    add_car(db, clock, "Later")
    store.restore(db, tmp_path / "copy.sqlite3", data_dir, clock())
    assert kit.cars(db) == []
    assert devices.device_by_token(db, token) is None


def test_what_a_killed_process_left_is_cleared_away(
    db: sqlite3.Connection, clock: Clock, data_dir: Path
) -> None:
    kept = store.keep_copy(db, data_dir, store.DAILY, clock())
    for name in (f"copies/.{kept.name}.0a1b.part", ".restore-0a1b.sqlite3", ".uploaded-00.sqlite3"):
        (data_dir / name).touch()
    store.tidy(data_dir)
    assert sorted(path.name for path in data_dir.iterdir() if path.name[0] == ".") == []
    assert list((data_dir / "copies").iterdir()) == [kept]


def test_a_copy_of_an_older_schema_is_brought_up_to_date(
    db: sqlite3.Connection, clock: Clock, data_dir: Path, tmp_path: Path
) -> None:
    old = tmp_path / "old.sqlite3"
    with closing(sqlite3.connect(old, isolation_level=None)) as made:
        for statement in statements(migrations()[0][1].read_text(encoding="utf-8")):
            made.execute(statement)
        made.execute("INSERT INTO settings VALUES ('speed_unit', 'imperial')")
        made.execute("PRAGMA user_version = 1")
    store.restore(db, old, data_dir, clock())
    assert db.execute("SELECT value FROM settings").fetchone()[0] == "imperial"
    assert db.execute("PRAGMA user_version").fetchone()[0] == migrations()[-1][0]


def broken(kind: str, path: Path) -> Path:
    if kind == "text":
        path.write_text("no database", encoding="utf-8")
        return path
    if kind == "empty":
        path.touch()
        return path
    if kind == "utf-16":
        with closing(sqlite3.connect(path)) as file:
            file.executescript("PRAGMA encoding = 'UTF-16le'; CREATE TABLE x (y); DROP TABLE x")
    migrate(path)
    with closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA journal_mode = DELETE")
        if kind in ("other-type", "null"):
            other_rules(file, kind)
        if kind == "trigger":
            file.execute("CREATE TRIGGER bad AFTER INSERT ON settings BEGIN DELETE FROM cars; END")
        if kind == "view":
            file.execute("CREATE VIEW bad AS SELECT * FROM cars")
        if kind == "foreign":
            file.execute("DROP TABLE settings")
        if kind == "newer":
            file.execute("PRAGMA user_version = 9999")
        if kind == "reference":
            file.execute("PRAGMA foreign_keys = OFF")
            file.execute(
                "INSERT INTO gear_fits (car_id, pinion_teeth, spur_teeth, internal_ratio, "
                "tyre_diameter_mm, fitted_at) VALUES (77, 40, 66, 1.9, 63, '2026-01-01T00:00:00Z')"
            )
        file.commit()
    if kind in ("cut", "noise"):
        content = bytearray(path.read_bytes())
        content = content[:5000] if kind == "cut" else content
        if kind == "noise":
            content[4096:60_000:3] = b"\xa5" * len(content[4096:60_000:3])
        path.write_bytes(content)
    return path


def other_rules(file: sqlite3.Connection, kind: str) -> None:
    """Write a row under a looser schema, and then say that it was the right one."""
    (rule,) = file.execute("SELECT sql FROM sqlite_master WHERE name = 'settings'").fetchone()
    file.execute("DROP TABLE settings")
    file.execute(rule.replace(" STRICT", "").replace("NOT NULL", ""))
    file.execute(
        "INSERT INTO settings VALUES ('x', ?)", (b"\x00" if kind == "other-type" else None,)
    )
    file.execute("PRAGMA writable_schema = ON")
    file.execute("UPDATE sqlite_master SET sql = ? WHERE name = 'settings'", (rule,))
    file.execute("PRAGMA writable_schema = OFF")
    file.commit()


@pytest.mark.parametrize(
    "kind",
    [
        "text",
        "empty",
        "trigger",
        "view",
        "foreign",
        "newer",
        "reference",
        "cut",
        "noise",
        "utf-16",
        "other-type",
        "null",
    ],
)
def test_a_broken_or_hostile_file_is_refused_and_changes_nothing(
    db: sqlite3.Connection, clock: Clock, data_dir: Path, tmp_path: Path, kind: str
) -> None:
    add_car(db, clock, "First")
    with pytest.raises(Refused):
        store.restore(db, broken(kind, tmp_path / "x.sqlite3"), data_dir, clock())
    assert [car.name for car in kit.cars(db)] == ["First"]
    assert store.list_copies(data_dir) == []


def test_the_last_ten_of_a_kind_are_kept(
    db: sqlite3.Connection, clock: Clock, data_dir: Path
) -> None:
    store.keep_copy(db, data_dir, "by-hand", clock())
    for _ in range(13):
        assert store.daily_due(data_dir, clock())
        store.keep_copy(db, data_dir, store.DAILY, clock())
        assert not store.daily_due(data_dir, clock())
        clock.tick(24 * 3600)
    kinds = [copy.why for copy in store.list_copies(data_dir)]
    assert kinds.count(store.DAILY) == 10
    assert kinds.count("by-hand") == 1


def test_a_day_that_begins_early_has_its_copy(
    db: sqlite3.Connection, clock: Clock, data_dir: Path
) -> None:
    store.keep_copy(db, data_dir, store.DAILY, clock())
    clock.tick(13 * 3600)
    assert not store.daily_due(data_dir, clock())
    clock.tick(9 * 3600)  # from ten in the morning to eight on the next
    assert store.daily_due(data_dir, clock())


def test_a_clock_that_jumped_back_does_not_stop_the_daily_copy(
    db: sqlite3.Connection, clock: Clock, data_dir: Path
) -> None:
    store.keep_copy(db, data_dir, store.DAILY, clock() + timedelta(days=400))
    assert store.daily_due(data_dir, clock())


def test_a_folder_that_is_not_there_is_a_sentence(db: sqlite3.Connection, tmp_path: Path) -> None:
    with pytest.raises(DataError, match="cannot be written"):
        store.write_copy(db, tmp_path / "nowhere" / "copy.sqlite3")
