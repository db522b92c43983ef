"""What is kept of every write stays small for ever, and no write is forgotten that may come again."""

from __future__ import annotations

import json
import re
import sqlite3
import threading
from datetime import timedelta
from typing import Any, cast
from uuid import uuid4

import pytest
from flask import Flask

from pitapp.copies import daily
from pitapp.db import idempotency, undo
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import RACE_MORNING, Clock, PageClient

CAR = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
PAIR = {"pinion": "45", "spur": "66"}
BYTES_A_WRITE = 90


@pytest.fixture
def car(db: sqlite3.Connection) -> int:
    return kit.save_car(db, CAR, RACE_MORNING)[0]


def fits(db: sqlite3.Connection) -> int:
    return cast(int, db.execute("SELECT count(*) FROM gear_fits").fetchone()[0])


def wait_for_the_daily_copy() -> None:
    for thread in threading.enumerate():
        if thread.daemon and getattr(thread, "_target", None) is daily._copy:
            thread.join()


@pytest.mark.parametrize("weeks", [1, 8, 9, 30, 520])
def test_a_write_that_comes_again_after_weeks_is_done_once(
    app: Flask, client: PageClient, db: sqlite3.Connection, car: int, clock: Clock, weeks: int
) -> None:
    """A phone's answer was lost; it lay in a drawer, and the server forgot answers day by day."""
    daily.start(app)
    key = {"Idempotency-Key": str(uuid4())}
    first = client.post_form("/gearing/fit", PAIR, headers=key)
    assert first.status_code == 303
    clock.tick(weeks * 7 * 24 * 3600)
    client.get("/")
    wait_for_the_daily_copy()
    again = client.post_form("/gearing/fit", PAIR, headers=key)
    assert again.status_code < 400
    assert again.headers["Idempotent-Replayed"] == "true"
    assert fits(db) == 1
    kept = db.execute("SELECT location FROM answered_writes").fetchall()
    assert (kept[0][0] is not None) == (weeks * 7 <= idempotency.ANSWERS_KEPT.days)


def test_fifty_thousand_writes_stay_small(db: sqlite3.Connection) -> None:
    """8.7 MB before; by hand: 36 characters of a key and 20 of a moment, and what a row costs."""
    answer = idempotency.Answer(
        303, "/gearing", "application/json", b'[["good", "Fitted 45 / 66"]]'
    )
    with db:
        db.execute("BEGIN")
        for _ in range(50_000):
            idempotency.keep(db, str(uuid4()), answer, RACE_MORNING)
    idempotency.forget_old_answers(db, RACE_MORNING + timedelta(days=30))
    assert idempotency.find(db, idempotency.keys(db)[0][0]) == answer
    idempotency.forget_old_answers(db, RACE_MORNING + timedelta(days=61))
    assert len(idempotency.keys(db)) == 50_000
    assert idempotency.find(db, idempotency.keys(db)[0][0]) == idempotency.Answer(
        0, None, None, b""
    )
    pages = "SELECT sum(pgsize) FROM dbstat WHERE name = 'answered_writes'"
    db.execute("VACUUM")
    assert db.execute(pages).fetchone()[0] < 50_000 * BYTES_A_WRITE


def test_steps_back_are_bounded_in_number_and_size(db: sqlite3.Connection, car: int) -> None:
    long_one = "x" * 1_000_000
    tokens = []
    for number in range(30):
        with undo.step(db, "Wrote much", RACE_MORNING) as step:
            step.record_before("cars", car)
            words = f"{number} {long_one}"
            db.execute("UPDATE cars SET remarks = ? WHERE id = ?", (words, car))
        tokens.append(step.token)
    size, many = db.execute("SELECT sum(length(images)), count(*) FROM undo_steps").fetchone()
    assert size < undo.MOST_CHARACTERS + 3 * len(json.dumps(long_one))
    assert many >= 3
    undo.undo(db, tokens[-1], RACE_MORNING)
    undo.undo(db, tokens[-2], RACE_MORNING)


def test_one_step_that_is_larger_than_all_that_is_kept_can_be_undone(
    db: sqlite3.Connection, car: int
) -> None:
    with undo.step(db, "Wrote very much", RACE_MORNING) as step:
        step.record_before("cars", car)
        db.execute("UPDATE cars SET remarks = ? WHERE id = ?", ("x" * 9_000_000, car))
    undo.undo(db, step.token, RACE_MORNING)
    assert kit.car(db, car).remarks == ""


def test_a_days_entries_sent_at_once_leave_a_cookie_that_a_browser_takes(
    client: PageClient, db: sqlite3.Connection, car: int
) -> None:
    """RFC 6265, 6.1: a browser need keep no more than 4096 bytes of a cookie with its attributes."""
    sent: Any = None
    for number in range(60):
        pair = PAIR | {"pinion": str(30 + number % 20)}
        sent = client.post_form("/gearing/fit", pair, headers={"Idempotency-Key": str(uuid4())})
        assert sent.status_code == 303
        assert all(len(cookie) < 4096 for cookie in sent.headers.getlist("Set-Cookie"))
    page = client.get("/gearing").text
    assert len(re.findall(r'action="/undo/', page)) >= 1
