"""What a form is about was removed since its page was made: said, with what was typed, and nothing written."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import cast
from uuid import UUID

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.demo import fill
from pitapp.meetings import store as meetings
from tests.support import RACE_MORNING, Clock, PageClient

TABLES = {
    "car_id": "cars",
    "motor_id": "motors",
    "controller_id": "controllers",
    "profile_id": "controller_profiles",
    "pack_id": "packs",
    "charger_id": "chargers",
    "set_id": "tyre_sets",
    "entry_id": "car_setup",
    "checklist_id": "checklists",
    "step_id": "check_steps",
    "track_id": "tracks",
    "class_id": "race_classes",
    "lead_id": "leads",
    "part_id": "weighed_parts",
    "meeting_id": "meetings",
    "heat_id": "heats",
    "run_id": "runs",
    "fit_id": "gear_fits",
    "test_id": "tilt_tests",
    "check_id": "motor_checks",
    "comparison_id": "sound_comparisons",
    "rev_check_id": "rev_checks",
    "reading_id": "pack_readings",
    "weighing_id": "corner_weighings",
    "season_id": "seasons",
    "table_id": "point_tables",
    "worn_id": "worn_parts",
    "photograph_id": "photographs",
}
NEVER_MARKED = {"gear_id", "device_id"}
"""Rows that are deleted, or whose removal has a meaning of its own."""
KEEPS_WHAT_WAS_READ = "checks.answer"


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season") / "data"
    app = create_app(folder, clock=Clock())
    fill(app)
    app.extensions["pitapp.db"].close()
    return folder


@pytest.fixture
def demo(season: Path, tmp_path: Path) -> Iterator[Flask]:
    app = create_app(shutil.copytree(season, tmp_path / "demo"), clock=Clock())
    app.test_client_class = PageClient
    yield app
    app.extensions["pitapp.db"].close()


def dump(database: sqlite3.Connection) -> list[str]:
    return [line for line in database.iterdump() if '"wrong_guesses"' not in line]


def test_no_write_goes_to_a_row_that_was_removed(demo: Flask) -> None:
    client = cast(PageClient, demo.test_client())
    database: sqlite3.Connection = demo.extensions["pitapp.db"].connection()
    database.execute(
        "INSERT INTO chargers (name, outputs, amps_per_output, watts_per_output) "
        "VALUES ('Invented charger', 1, 10, 150)"
    )
    places, met = demo.url_map.bind("localhost"), set()
    for rule in demo.url_map.iter_rules():
        numbers = set(re.findall(r"<int:(\w+)>", rule.rule)) - NEVER_MARKED
        if (
            "POST" not in (rule.methods or ())
            or not numbers
            or rule.endpoint == KEEPS_WHAT_WAS_READ
        ):
            continue
        for gone in sorted(numbers):
            table = TABLES[gone]
            (row_id,) = database.execute(f"SELECT max(id) FROM {table}").fetchone()
            rest = {"uuid": UUID("8b5ff2be-3b2b-4a55-95d5-0d7b2d94bd33"), "key": "look"}
            known = dict.fromkeys(numbers, 1) | rest | {gone: row_id}
            values = {name: known[name] for name in rule.arguments}
            address = places.build(rule.endpoint, values, method="POST")
            database.execute(f"UPDATE {table} SET removed_at = '2026' WHERE id = ?", (row_id,))
            before = dump(database)
            answer = client.post_form(address, {"remarks": "Typed all the same"})
            assert answer.status_code == 409, rule
            assert "removed after this page was opened" in unescape(answer.text), rule
            assert 'name="remarks" value="Typed all the same"' in answer.text, rule
            assert dump(database) == before, rule
            database.execute(f"UPDATE {table} SET removed_at = NULL WHERE id = ?", (row_id,))
            met.add(gone)
    assert met == set(TABLES)


def test_a_heat_goes_with_its_meeting(demo: Flask) -> None:
    client = cast(PageClient, demo.test_client())
    database: sqlite3.Connection = demo.extensions["pitapp.db"].connection()
    heat_id, meeting_id = database.execute("SELECT id, meeting_id FROM heats").fetchone()
    meetings.remove(database, "meetings", meeting_id, RACE_MORNING)
    assert client.post_form(f"/meetings/heats/{heat_id}/done").status_code == 409


def test_a_reading_of_a_step_since_removed_is_kept(demo: Flask) -> None:
    client = cast(PageClient, demo.test_client())
    database: sqlite3.Connection = demo.extensions["pitapp.db"].connection()
    step = database.execute("SELECT id FROM check_steps WHERE kind = 'do' LIMIT 1").fetchone()[0]
    database.execute("UPDATE check_steps SET removed_at = '2026' WHERE id = ?", (step,))
    address = f"/checks/walks/8b5ff2be-3b2b-4a55-95d5-0d7b2d94bd33/steps/{step}"
    assert client.post_form(address, {"take": "1", "expected": "done"}).status_code == 303


def test_what_is_sent_again_after_an_undo_is_saved(demo: Flask) -> None:
    client = cast(PageClient, demo.test_client())
    database: sqlite3.Connection = demo.extensions["pitapp.db"].connection()
    database.execute("UPDATE packs SET removed_at = '2026' WHERE id = 1")
    key = "8b5ff2be-3b2b-4a55-95d5-0d7b2d94bd34"
    page = client.post_form(
        "/packs/1/store", {"place": "Tin box"}, headers={"Idempotency-Key": key}
    ).text
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))
    assert fields["idempotency_key"] == key
    database.execute("UPDATE packs SET removed_at = NULL WHERE id = 1")
    assert client.post("/packs/1/store", data=fields).status_code == 303
    newest = database.execute("SELECT place FROM pack_storages ORDER BY id DESC").fetchone()
    assert newest[0] == "Tin box"
