"""What a step changes, notes and puts back: rows added, changed by version, and removed."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from datetime import timedelta

import pytest

from pitapp.db import undo
from pitapp.errors import ChangedMeanwhile, NotThere
from tests.support import RACE_MORNING

MOTOR = {"name": "Invented motor", "kv_rpm_per_v": 2380.0}


def names(db: sqlite3.Connection) -> list[tuple[str, int, bool]]:
    rows = db.execute("SELECT name, version, removed_at IS NULL FROM motors ORDER BY id")
    return [(row[0], row[1], bool(row[2])) for row in rows]


def saved(
    db: sqlite3.Connection, row_id: int = 0, version: int = 1, **values: object
) -> tuple[int, str]:
    with undo.step(db, "Saved", RACE_MORNING) as step:
        return step.save("motors", row_id, version, MOTOR | values), step.token


def test_a_row_is_added_then_changed_and_each_is_undone(db: sqlite3.Connection) -> None:
    motor_id, added = saved(db)
    again, changed = saved(db, motor_id, name="Other")
    assert again == motor_id
    assert names(db) == [("Other", 2, True)]
    undo.undo(db, changed, RACE_MORNING)
    assert names(db) == [("Invented motor", 1, True)]
    undo.undo(db, added, RACE_MORNING)
    assert names(db) == []


def test_an_old_version_changes_nothing(db: sqlite3.Connection) -> None:
    motor_id, _ = saved(db)
    saved(db, motor_id, name="Other")
    with pytest.raises(ChangedMeanwhile, match="on another screen"):
        saved(db, motor_id, version=1, name="Late")
    assert names(db) == [("Other", 2, True)]


def test_a_removed_row_is_kept_not_changed_and_comes_back(db: sqlite3.Connection) -> None:
    motor_id, _ = saved(db)
    with undo.step(db, "Removed", RACE_MORNING) as step:
        step.remove("motors", motor_id, RACE_MORNING + timedelta(minutes=1))
    assert names(db) == [("Invented motor", 1, False)]
    with pytest.raises(ChangedMeanwhile):
        saved(db, motor_id, name="Late")
    undo.undo(db, step.token, RACE_MORNING)
    assert names(db) == [("Invented motor", 1, True)]
    with pytest.raises(NotThere):
        undo.undo(db, step.token, RACE_MORNING)


def test_a_row_is_changed_whatever_its_version_or_deleted_and_comes_back(
    db: sqlite3.Connection,
) -> None:
    motor_id, _ = saved(db)
    with undo.step(db, "Renamed", RACE_MORNING) as renamed:
        renamed.change("motors", motor_id, {"name": "Other"})
    with undo.step(db, "Deleted", RACE_MORNING) as deleted:
        deleted.delete("motors", motor_id)
    assert names(db) == []
    undo.undo(db, deleted.token, RACE_MORNING)
    assert names(db) == [("Other", 1, True)]
    undo.undo(db, renamed.token, RACE_MORNING)
    assert names(db) == [("Invented motor", 1, True)]


def test_a_step_from_before_a_column_was_added_is_undone(db: sqlite3.Connection) -> None:
    motor_id, _ = saved(db)
    _, token = saved(db, motor_id, name="Other")
    images = json.loads(db.execute("SELECT images FROM undo_steps WHERE id = 2").fetchone()[0])
    for image in images:
        del image["before"]["mass_g"], image["after"]["mass_g"]
    db.execute("UPDATE undo_steps SET images = ? WHERE id = 2", (json.dumps(images),))
    undo.undo(db, token, RACE_MORNING)
    assert names(db) == [("Invented motor", 1, True)]


@pytest.mark.parametrize("name", ["motors; DROP TABLE motors", "Motors", "", "motors--"])
def test_only_plain_names_become_sql(db: sqlite3.Connection, name: str) -> None:
    changes: tuple[Callable[[undo.Step], object], ...] = (
        lambda step: step.insert(name, MOTOR),
        lambda step: step.insert("motors", MOTOR | {name: 1}),
        lambda step: step.remove(name, 1, RACE_MORNING),
        lambda step: step.delete(name, 1),
        lambda step: step.change("motors", 1, {name: 1}),
        lambda step: step.save("motors", 1, 1, {name: 1}),
    )
    for change in changes:
        with (
            pytest.raises(ValueError, match="no table or column name"),
            undo.step(db, "Saved", RACE_MORNING) as step,
        ):
            change(step)
    assert names(db) == []
