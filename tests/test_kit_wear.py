"""Parts with hours: counted from the log, over a limit on the Board, renewed, removed, taken along."""

from __future__ import annotations

import io
import re
import sqlite3
from contextlib import closing
from datetime import timedelta

import pytest

from pitapp.db import transaction
from pitapp.exchange import document
from pitapp.kit import store as kit
from pitapp.kit.models import Motor
from pitapp.kit.wear import store
from pitapp.kit.wear.formulas import over_limit
from pitapp.kit.wear.models import Hours, WornPart
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.runs import store as runs
from tests.runs_support import Pit, a_run, furnish
from tests.support import RACE_MORNING, Clock, PageClient

START = RACE_MORNING - timedelta(days=2)


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    """A car and five runs on five days: of 300, 360 and 330 s, one with no time, one removed."""
    pit = furnish(db)
    for day, run_s in enumerate((300, 360, None, 330, 300)):
        item = a_run(
            started_at=START + timedelta(days=day - 2),
            run_s=run_s,
            motor_id=pit.motor if day else None,
        )
        run_id, _ = runs.save_run(db, item, RACE_MORNING)
    runs.remove_run(db, run_id, RACE_MORNING)
    return pit


def car_part(**more: object) -> WornPart:
    return WornPart(**{"car_id": 1, "name": "Belt", "since": START - timedelta(days=9)} | more)


def undo_path(page: str) -> str:
    found: list[str] = re.findall(r'action="(/undo/[^"]+)"', page)
    return found[-1]


def test_runs_and_minutes_are_those_of_the_log_since_then(db: sqlite3.Connection, pit: Pit) -> None:
    assert store.hours(db, car_part()) == Hours(4, (300 + 360 + 330) / 60, 1)
    assert store.hours(db, car_part(since=START)) == Hours(2, 330 / 60, 1)
    assert store.hours(db, car_part(since=START, runs_before=7, minutes_before=40)) == Hours(
        9, 40 + 330 / 60, 1
    )
    rotor = WornPart(motor_id=pit.motor, name="Rotor", since=START - timedelta(days=9))
    assert store.hours(db, rotor) == Hours(3, (360 + 330) / 60, 1)
    other, _ = kit.save_motor(db, Motor(name="Spare", kv_rpm_per_v=2380), RACE_MORNING)
    assert store.hours(db, rotor.model_copy(update={"motor_id": other})) == Hours(0, 0)


def test_a_run_without_a_time_lasts_as_long_as_its_class(db: sqlite3.Connection, pit: Pit) -> None:
    race_class = RaceClass(name="Timed", run_length_s=480)
    class_id, _ = meetings.save_class(db, race_class, RACE_MORNING)
    runs.save_run(db, a_run(started_at=START, race_class_id=class_id), RACE_MORNING)
    assert store.hours(db, car_part(since=START)) == Hours(3, (330 + 480) / 60, 1)


@pytest.mark.parametrize(
    ("limits", "hours", "over"),
    [
        ({"most_runs": 40}, Hours(39, 900), False),
        ({"most_runs": 40}, Hours(40, 1), True),
        ({"most_minutes": 300}, Hours(99, 299.9), False),
        ({"most_minutes": 300}, Hours(1, 300), True),
        ({"most_runs": 40, "most_minutes": 300}, Hours(2, 301), True),
        ({}, Hours(9999, 99_999), False),
    ],
)
def test_a_limit_is_reached_by_either(limits: dict[str, int], hours: Hours, over: bool) -> None:
    assert over_limit(car_part(**limits), hours) is over


def test_the_board_says_when_a_limit_is_reached_and_only_of_this_car(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    worn_id, _ = store.save(db, car_part(most_runs=5), RACE_MORNING)
    assert "over the limit" not in client.get("/").get_data(as_text=True)
    item = store.part(db, worn_id).model_copy(update={"most_runs": 4})
    store.save(db, item, RACE_MORNING)
    board = client.get("/").get_data(as_text=True)
    assert "Parts: 1 over the limit" in board
    assert 'href="/kit/wear"' in board
    spare = kit.car(db, pit.car).model_copy(update={"id": 0, "name": "Spare car"})
    other, _ = kit.save_car(db, spare, RACE_MORNING)
    kit.choose_car(db, other)
    assert "over the limit" not in client.get("/").get_data(as_text=True)


def test_renewed_it_counts_from_now_and_undo_takes_that_back(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    worn_id, _ = store.save(db, car_part(runs_before=3), RACE_MORNING)
    page = client.post_form(
        f"/kit/wear/{worn_id}/renew", {"saw": "1"}, follow_redirects=True
    ).get_data(as_text=True)
    item = store.part(db, worn_id)
    assert (item.since, item.runs_before, item.last_runs) == (clock(), 0, 7)
    assert store.hours(db, item) == Hours(0, 0)
    # Another screen that still shows the part as it was does nothing.
    assert client.post_form(f"/kit/wear/{worn_id}/renew", {"saw": "7"}).status_code == 409
    client.post_form(undo_path(page))
    assert store.hours(db, store.part(db, worn_id)).runs == 7


def test_the_usual_parts_are_one_tap_and_each_can_be_removed(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    empty = client.get("/kit/wear").get_data(as_text=True)
    assert 'action="/kit/wear/usual"' in empty
    page = client.post_form(
        "/kit/wear/usual", {"car_id": str(pit.car)}, follow_redirects=True
    ).get_data(as_text=True)
    listed = [(each.part.name, each.place) for each in store.parts(db)]
    assert listed == [
        ("Bearings", "Example car"),
        ("Belt", "Example car"),
        ("Differential", "Example car"),
        ("Rotor", "Example motor"),
    ]
    client.post_form(undo_path(page))
    assert store.parts(db) == []
    worn_id, _ = store.save(db, car_part(), RACE_MORNING)
    page = client.post_form(f"/kit/wear/{worn_id}/remove", follow_redirects=True).get_data(
        as_text=True
    )
    assert store.parts(db) == []
    client.post_form(undo_path(page))
    assert [each.part.id for each in store.parts(db)] == [worn_id]


def test_the_form_says_at_its_fields_what_is_wrong(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    values = {
        "name": "",
        "place": f"car-{pit.car}",
        "since": "2026-05-16T08:00",
        "most_runs": "-3",
        "version": "1",
    }
    answer = client.post_form("/kit/wear/new", values)
    assert answer.status_code == 422
    assert 'id="name-error"' in answer.text
    good = values | {"name": "Belt", "most_runs": "40", "most_minutes": "1 200"}
    assert client.post_form("/kit/wear/new", good).status_code == 303
    (row,) = store.parts(db)
    assert (row.part.most_runs, row.part.most_minutes) == (40, 1200)
    stale = client.post_form(f"/kit/wear/{row.part.id}", good | {"name": "Drive belt"})
    assert stale.status_code == 303
    again = client.post_form(f"/kit/wear/{row.part.id}", good | {"name": "Other"})
    assert again.status_code == 409
    assert client.get("/kit/wear/99").status_code == 404


def test_they_are_in_the_file_of_everything(db: sqlite3.Connection, pit: Pit) -> None:
    store.save(db, car_part(most_runs=40), RACE_MORNING)
    text = "".join(document.write(db, RACE_MORNING))
    store.remove(db, 1, RACE_MORNING)
    with closing(document.read(io.BytesIO(text.encode()))) as contents, transaction(db):
        document.take(db, contents)
    assert [each.part.most_runs for each in store.parts(db)] == [40]
