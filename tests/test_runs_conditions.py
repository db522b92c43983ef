"""Conditions of a run: preset from the run before, kept where a post says nothing, in log and sheets."""

from __future__ import annotations

import csv
import io
import sqlite3
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from pitapp.exchange import runs_in, sheets
from pitapp.runs import store
from pitapp.runs.changes import changes, in_one_line
from tests.runs_support import Pit, a_run, form_values, furnish
from tests.support import Clock, PageClient

NOTED = {"track_c": "31", "grip": "medium", "wind": "light", "dust": "some", "wet": "dry"}
KEPT = {"track_c": 31, "grip": "medium", "wind": "light", "dust": "some", "wet": "dry"}
ZONE = ZoneInfo("Europe/Lisbon")


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    return furnish(db)


def opened(client: PageClient, path: str = "/runs/new") -> dict[str, str]:
    return form_values(client.get(path).get_data(as_text=True))


def of_newest(db: sqlite3.Connection) -> dict[str, object]:
    return store.runs(db)[0].model_dump(include=set(KEPT))


def test_the_next_run_begins_with_those_of_the_run_before(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    assert {name: opened(client)[name] for name in NOTED} == dict.fromkeys(NOTED, "")
    client.post_form("/runs/new", opened(client) | NOTED)
    assert of_newest(db) == KEPT
    clock.tick(50 * 60)
    assert {name: opened(client)[name] for name in NOTED} == NOTED
    clock.tick(30 * 60)  # the sun moves on: a temperature is good for an hour
    assert {name: opened(client)[name] for name in NOTED} == NOTED | {"track_c": ""}
    clock.tick(24 * 3600)
    assert {name: opened(client)[name] for name in NOTED} == dict.fromkeys(NOTED, "")


def test_a_post_without_them_changes_none(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    """As from a phone that kept the form before there were conditions."""
    client.post_form("/runs/new", opened(client) | NOTED)
    path = f"/runs/{store.runs(db)[0].id}/edit"
    values = {name: value for name, value in opened(client, path).items() if name not in NOTED}
    answer = client.post_form(path, values | {"remarks": "quick"})
    assert answer.status_code == 303
    assert (of_newest(db), store.runs(db)[0].remarks) == (KEPT, "quick")
    emptied = opened(client, path) | dict.fromkeys(NOTED, "")
    client.post_form(path, emptied)
    assert of_newest(db) == dict.fromkeys(KEPT)


def test_a_word_that_is_none_of_the_list_is_refused_at_its_field(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    for name, value in (("grip", "superb"), ("track_c", "200"), ("track_c", "warm")):
        answer = client.post_form("/runs/new", opened(client) | {name: value})
        assert answer.status_code == 422
        assert f'id="{name}-error"' in answer.text
    assert store.runs(db) == []


def test_they_stand_in_the_log_on_the_run_and_in_what_changed(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    client.post_form("/runs/new", opened(client) | NOTED)
    assert "medium grip, light wind, some dust, dry" in client.get("/runs").get_data(as_text=True)
    page = client.get(f"/runs/{store.runs(db)[0].id}").get_data(as_text=True)
    assert '<data id="track-c" value="31' in page
    assert "Medium grip, light wind, some dust, dry" in page
    line = in_one_line(
        changes(a_run(grip="low", track_c=25, wet="damp"), a_run(grip="high", track_c=31))
    )
    assert line == "track +6 °C, low grip → high grip"


def test_a_sheet_holds_them_and_brings_them_back(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    client.post_form("/runs/new", opened(client) | NOTED)
    text = sheets.text(db, sheets.BY_NAME["runs"], ZONE, comma=False)
    (row,) = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    assert [row[name] for name in ("track °C", "grip", "wind", "dust", "wet")] == [
        "31",
        "medium",
        "light",
        "some",
        "dry",
    ]
    store.remove_run(db, store.runs(db)[0].id, clock())
    changed = text.replace(row["key"], "").replace("medium", "HIGH")
    look = runs_in.look(db, changed.encode(), ZONE)
    assert [line.faults for line in look.lines] == [[]]
    runs_in.take(db, look, clock() + timedelta(minutes=1))
    assert of_newest(db) == KEPT | {"grip": "high"}
    wrong = runs_in.look(db, text.replace("medium", "superb").encode(), ZONE)
    assert wrong.lines[0].faults[0].startswith("grip: ")
