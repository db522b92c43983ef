"""A clock that jumps, backwards or forwards: nothing is lost, refused or done twice for it."""

from __future__ import annotations

import re
import sqlite3
import time
from datetime import timedelta
from typing import cast

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.copies import store as copies
from pitapp.demo import fill
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.web.view.nav import FOOT, MORE
from tests.support import RACE_MORNING, Clock, PageClient

CAR = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
PAIR = {"pinion": "45", "spur": "66"}
KEY = {"Idempotency-Key": "3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70"}
A_DAY_S = 86400
JUMPS = pytest.mark.parametrize("days", [-7300, -3, 3, 7300])


@pytest.fixture
def car(db: sqlite3.Connection, clock: Clock) -> int:
    return kit.save_car(db, CAR, clock())[0]


@JUMPS
def test_undo_goes_back_over_the_jump(
    client: PageClient, db: sqlite3.Connection, car: int, clock: Clock, days: int
) -> None:
    client.post_form("/gearing/fit", PAIR)
    clock.tick(days * A_DAY_S)
    (token,) = re.findall(r'action="(/undo/[^"]+)"', client.get("/gearing").text)
    assert client.post_form(token).status_code == 303
    assert gearing.log(db, car) == []


@JUMPS
def test_a_write_sent_twice_across_the_jump_is_done_once(
    client: PageClient, db: sqlite3.Connection, car: int, clock: Clock, days: int
) -> None:
    assert client.post_form("/gearing/fit", PAIR, headers=KEY).status_code == 303
    clock.tick(days * A_DAY_S)
    again = client.post_form("/gearing/fit", PAIR, headers=KEY)
    assert again.headers["Idempotent-Replayed"] == "true"
    assert len(gearing.log(db, car)) == 1


@JUMPS
def test_a_page_that_was_open_is_not_too_old(
    app: Flask, client: PageClient, car: int, days: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    form = {"csrf_token": client.csrf_token(), **PAIR}
    real = time.time()
    monkeypatch.setattr(time, "time", lambda: real + days * A_DAY_S)
    started_again = create_app(app.config["PITAPP_DATA_DIR"])
    other = started_again.test_client()
    cookie = client.get_cookie(app.config["SESSION_COOKIE_NAME"])
    assert cookie is not None
    other.set_cookie(cookie.key, cookie.value)
    assert other.post("/gearing/fit", data=form).status_code == 303
    started_again.extensions["pitapp.db"].close()


@JUMPS
def test_the_gear_fitted_last_is_the_gear_in_the_car(
    client: PageClient, db: sqlite3.Connection, car: int, clock: Clock, days: int
) -> None:
    client.post_form("/gearing/fit", PAIR)
    clock.tick(days * A_DAY_S)
    client.post_form("/gearing/fit", {"pinion": "44", "spur": "66"})
    fitted = gearing.fitted(db, car)
    assert fitted is not None
    assert fitted.pinion_teeth == 44
    told = "The clock went back" in client.get("/").text
    assert told == (days < 0)


def test_a_gear_that_waited_on_a_phone_does_not_replace_a_later_one(
    client: PageClient, db: sqlite3.Connection, car: int, clock: Clock
) -> None:
    client.post_form("/gearing/fit", PAIR)
    late = {"X-Waited-Seconds": "3600"}
    client.post_form("/gearing/fit", {"pinion": "44", "spur": "66"}, headers=late)
    fitted = gearing.fitted(db, car)
    assert fitted is not None
    assert fitted.pinion_teeth == 45


@pytest.mark.parametrize("ahead_days", [1, 400])
def test_copies_of_a_clock_that_ran_ahead_push_out_no_new_one(
    app: Flask, db: sqlite3.Connection, clock: Clock, ahead_days: int
) -> None:
    folder = app.config["PITAPP_DATA_DIR"]
    for number in range(copies.KEPT_EACH):
        wrong = clock() + timedelta(days=ahead_days + number)
        copies.keep_copy(db, folder, copies.DAILY, wrong)
    made = []
    for _ in range(3):
        assert copies.daily_due(folder, clock())
        made.append(copies.keep_copy(db, folder, copies.DAILY, clock()))
        assert not copies.daily_due(folder, clock())
        clock.tick(A_DAY_S)
    assert all(path.is_file() for path in made)
    assert len(copies.list_copies(folder)) == copies.KEPT_EACH


def without_tokens(html: str) -> str:
    """The page less its form tokens, which tell when they were made."""
    return re.sub(r'name="csrf_token" value="[^"]*"', "", html)


def test_every_screen_opens_whenever_the_clock_says_it_is(clock: Clock, app: Flask) -> None:
    fill(app)
    client = cast(PageClient, app.test_client())
    board = without_tokens(client.get("/").text)
    for days in (-7300, -1, 1, 7300):
        clock.set(RACE_MORNING + timedelta(days=days))
        for place in (*FOOT, *MORE):
            assert client.get(place.path).status_code == 200, (days, place.path)
    clock.set(RACE_MORNING)
    assert without_tokens(client.get("/").text) == board, "the countdown is back where it was"
