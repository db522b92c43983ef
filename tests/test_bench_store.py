"""Motor checks in the database."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from typing import Any

import pytest

from pitapp.bench import store
from pitapp.bench.models import MotorCheck
from pitapp.db import undo
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.kit import store as kit
from pitapp.kit.models import Motor
from tests.support import RACE_MORNING


@pytest.fixture
def motor_id(db: sqlite3.Connection) -> int:
    return kit.save_motor(db, Motor(name="Invented", kv_rpm_per_v=2380), RACE_MORNING)[0]


def add(db: sqlite3.Connection, motor_id: int, days: float, **readings: Any) -> int:
    at = RACE_MORNING + timedelta(days=days)
    values = {"free_rpm": 17000.0, "volts": 7.0} | readings
    return store.save_check(db, MotorCheck(motor_id=motor_id, checked_at=at, **values), at)[0]


def test_a_check_comes_back_as_it_was_saved(db: sqlite3.Connection, motor_id: int) -> None:
    saved = MotorCheck(
        motor_id=motor_id,
        checked_at=RACE_MORNING,
        as_new=True,
        free_rpm=17150.5,
        volts=7.01,
        current_a=2.2,
        sensor_a_deg=40,
        sensor_b_deg=-40.5,
        sensor_c_deg=43,
        can_c=24,
        resistance_ohm=0.0225,
        mass_g=165.2,
        remarks="Ölfrei, naïve 🙂",
    )
    check_id, _ = store.save_check(db, saved, RACE_MORNING)
    assert store.check(db, check_id) == saved.model_copy(update={"id": check_id})


def test_checks_come_newest_first_and_in_pages(db: sqlite3.Connection, motor_id: int) -> None:
    ids = [add(db, motor_id, days) for days in (3, 1, 2, 2)]
    ordered = [ids[0], ids[3], ids[2], ids[1]]
    assert [one.id for one in store.checks(db, motor_id)] == ordered
    assert [one.id for one in store.checks(db, motor_id, limit=2, before=ids[3])] == ordered[2:]


def test_new_is_the_last_rotor_that_was_marked_else_the_first(
    db: sqlite3.Connection, motor_id: int
) -> None:
    first, second = add(db, motor_id, 0), add(db, motor_id, 1)
    last = store.check(db, second)
    assert store.check_when_new(db, last).id == first  # type: ignore[union-attr]
    rotor = add(db, motor_id, 2, as_new=True)
    later, newer_rotor = add(db, motor_id, 3), add(db, motor_id, 4, as_new=True)
    assert store.check_when_new(db, last).id == first  # type: ignore[union-attr]
    assert store.check_when_new(db, store.check(db, later)).id == rotor  # type: ignore[union-attr]
    assert store.checks_when_new(db)[motor_id].id == newer_rotor


def test_a_check_of_timing_only_is_nothing_to_compare_with(
    db: sqlite3.Connection, motor_id: int
) -> None:
    add(db, motor_id, 0, free_rpm=None, volts=None, sensor_a_deg=40, as_new=True)
    assert store.checks_when_new(db) == {}


def test_the_newest_of_each_motor(db: sqlite3.Connection, motor_id: int) -> None:
    other, _ = kit.save_motor(db, Motor(name="Other", kv_rpm_per_v=3000), RACE_MORNING)
    gone, _ = kit.save_motor(db, Motor(name="Gone", kv_rpm_per_v=3000), RACE_MORNING)
    add(db, gone, 0)
    newest, _, theirs = add(db, motor_id, 2), add(db, motor_id, 1), add(db, other, 0)
    kit.remove(db, "motors", gone, RACE_MORNING)
    latest = store.latest_checks(db)
    assert {motor: one.id for motor, one in latest.items()} == {motor_id: newest, other: theirs}


def test_a_removed_check_is_gone_until_undone(db: sqlite3.Connection, motor_id: int) -> None:
    check_id = add(db, motor_id, 0)
    assert store.remove_check(db, check_id, RACE_MORNING)[0] == motor_id
    assert store.checks(db, motor_id) == []
    with pytest.raises(NotThere):
        store.check(db, check_id)
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()["token"]
    undo.undo(db, token, RACE_MORNING)
    assert store.check(db, check_id).id == check_id


def test_two_devices_do_not_overwrite_each_other(db: sqlite3.Connection, motor_id: int) -> None:
    opened = store.check(db, add(db, motor_id, 0))
    _, token = store.save_check(db, opened.model_copy(update={"current_a": 2.0}), RACE_MORNING)
    with pytest.raises(ChangedMeanwhile):
        store.save_check(db, opened.model_copy(update={"current_a": 3.0}), RACE_MORNING)
    assert store.check(db, opened.id).current_a == 2
    undo.undo(db, token, RACE_MORNING)
    assert store.check(db, opened.id) == opened


def test_a_motors_page_needs_no_scan(db: sqlite3.Connection, motor_id: int) -> None:
    plan = db.execute(
        "EXPLAIN QUERY PLAN SELECT id FROM motor_checks WHERE motor_id = ? AND removed_at IS NULL "
        "ORDER BY checked_at DESC, id DESC LIMIT 50",
        (motor_id,),
    ).fetchall()
    details = " ".join(row["detail"] for row in plan)
    assert "motor_checks_by_motor" in details
    assert "TEMP B-TREE" not in details
