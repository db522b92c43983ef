"""Clocked or typed laps saved to a run: the newest one where none is named."""

from __future__ import annotations

import sqlite3
from datetime import timedelta

import pytest

from pitapp.runs import store
from pitapp.runs.laps import store as laps_store
from pitapp.runs.models import FittedCar, Run, Snapshot
from tests.runs_support import Pit, furnish
from tests.support import RACE_MORNING, Clock, PageClient


@pytest.fixture
def pit(db: sqlite3.Connection, clock: Clock) -> Pit:
    return furnish(db)


def logged(db: sqlite3.Connection, pit: Pit, minutes: float) -> int:
    snapshot = Snapshot(car=FittedCar(id=pit.car, name="Example car"))
    started = RACE_MORNING + timedelta(minutes=minutes)
    item = Run(car_id=pit.car, started_at=started, snapshot=snapshot)
    return store.save_run(db, item, RACE_MORNING)[0]


def test_clocked_laps_go_to_the_newest_run_that_has_begun(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    first, second, ahead = (logged(db, pit, minutes) for minutes in (-60, -20, 60))
    answer = client.post_form("/runs/clock", {"times": "14.873\r\n1:02,5\r\n"})
    assert answer.status_code == 303
    assert answer.location.endswith(f"/runs/{second}")
    assert laps_store.laps(db, second) == (14.873, 62.5)
    assert store.run(db, second).best_lap_s == 14.873
    assert laps_store.laps(db, first) == laps_store.laps(db, ahead) == ()


def test_clocked_laps_go_to_the_run_that_is_chosen(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    first, second = logged(db, pit, -60), logged(db, pit, -20)
    client.post_form("/runs/clock", {"times": "14.9", "run_id": str(first)})
    assert (laps_store.laps(db, first), laps_store.laps(db, second)) == ((14.9,), ())


def test_a_run_that_has_laps_is_asked_about(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    first, second = logged(db, pit, -60), logged(db, pit, -20)
    client.post_form("/runs/clock", {"times": "14.9"})
    answer = client.post_form("/runs/clock", {"times": "15.1"})
    assert answer.status_code == 422
    assert 'id="run_id-error"' in answer.text
    assert "15.1" in answer.text
    assert laps_store.laps(db, second) == (14.9,)
    client.post_form("/runs/clock", {"times": "15.1", "run_id": str(first)})
    assert laps_store.laps(db, first) == (15.1,)


@pytest.mark.parametrize("times", ["", "14.9\nfast", "0", "14.9\n-3", "5000", "15\n" * 601])
def test_what_is_no_lap_is_named_and_kept(
    client: PageClient, db: sqlite3.Connection, pit: Pit, times: str
) -> None:
    run_id = logged(db, pit, -20)
    answer = client.post_form("/runs/clock", {"times": times})
    assert answer.status_code == 422
    assert 'id="times-error"' in answer.text
    assert times.splitlines()[:1] == [] or times.splitlines()[-1] in answer.text
    assert laps_store.laps(db, run_id) == ()


def test_without_a_run_it_is_asked_to_be_logged(client: PageClient, pit: Pit) -> None:
    answer = client.post_form("/runs/clock", {"times": "14.9"})
    assert answer.status_code == 422
    assert 'id="run_id-error"' in answer.text


def test_the_clock_is_kept_for_a_dead_server(client: PageClient, pit: Pit) -> None:
    assert "/runs/clock" in client.get("/offline/pages").text
