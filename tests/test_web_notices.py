"""A notice belongs to its write: where that fails, nothing says that it was done."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask, redirect

from pitapp.errors import Refused
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.web.http.htmx import show_part
from pitapp.web.writes.transactions import once, write
from pitapp.web.writes.undo import notice
from tests.faulty import disk_full, no_room_at_commit, use_faulty
from tests.runs_support import form_values
from tests.support import Clock, PageClient

CAR = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
KEY = {"Idempotency-Key": "0b2b5d0e-3c60-4f0c-9a2e-6c1f2f6f1a11"}
SAID = "The test did something"
EARLIER = "Saved Beck Lane"


@pytest.fixture
def app(monkeypatch: pytest.MonkeyPatch, app: Flask) -> Flask:
    app.extensions["pitapp.db"].close()
    use_faulty(monkeypatch)
    return app


@pytest.mark.parametrize("hx", [{}, {"HX-Request": "true"}])
def test_a_run_that_found_no_room_at_commit_is_not_called_logged(
    client: PageClient, db: sqlite3.Connection, clock: Clock, hx: dict[str, str]
) -> None:
    kit.save_car(db, CAR, clock())
    form = form_values(client.get("/runs/new").text) | {"laps": "20"}
    with no_room_at_commit():
        full = client.post_form("/runs/new", form, headers=KEY | hx)
    assert full.status_code == 507
    for page in (full.text, client.get("/runs").text):
        assert "Logged the run" not in page
        assert "/undo/" not in page
    assert db.execute("SELECT count(*) FROM runs").fetchone()[0] == 0
    again = client.post_form("/runs/new", form, headers=KEY | hx)
    assert again.status_code == 303
    assert "Idempotent-Replayed" not in again.headers
    assert client.get("/runs").text.count("Logged the run") == 1
    assert db.execute("SELECT count(*) FROM runs").fetchone()[0] == 1


def _sent_on() -> Any:
    return redirect("/tracks", 303)


def _drawn() -> Any:
    return show_part("errors/page.html", title="Drawn", sentence="Here", again=None)


def _refused() -> Any:
    return show_part("errors/page.html", 422, title="Drawn", sentence="Here", again=None)


def _no_such_thing() -> Any:
    raise Refused("No.")


def _no_room() -> Any:
    raise disk_full()


def _defect() -> Any:
    _drawn()
    raise ZeroDivisionError


@pytest.mark.parametrize("answer", [_sent_on, _drawn, _refused, _no_such_thing, _no_room, _defect])
@pytest.mark.parametrize("unread", [False, True])
@pytest.mark.parametrize("hx", [{}, {"HX-Request": "true"}])
def test_no_notice_outlives_its_write_and_none_of_another_is_lost(
    app: Flask,
    client: PageClient,
    answer: Callable[[], Any],
    unread: bool,
    hx: dict[str, str],
) -> None:
    app.testing = False

    @app.post("/test-only")
    @write
    def view(connection: sqlite3.Connection) -> Any:
        connection.execute("INSERT INTO settings VALUES ('test', 'only')")
        notice(SAID, "token")
        return answer()

    if unread:
        client.post_form("/tracks/new", {"name": "Beck Lane"})
    form = {"csrf_token": client.csrf_token()}
    with no_room_at_commit():
        failed = client.post("/test-only", data=form, headers=hx)
    assert failed.status_code >= 400
    pages = [failed.text, client.get("/tracks").text, client.get("/tracks").text]
    shown = "".join(pages)
    if answer is _refused:
        shown = "".join(pages[1:])
    assert SAID not in shown
    assert "".join(pages).count(EARLIER) == int(unread)


@pytest.mark.parametrize("answer", [_refused, _no_such_thing, _no_room, _defect])
def test_nor_does_that_of_what_is_done_once(
    app: Flask, client: PageClient, answer: Callable[[], Any]
) -> None:
    app.testing = False

    @app.post("/test-only")
    @once
    def view() -> Any:
        notice(SAID, "token")
        return answer()

    for headers in ({}, KEY):
        assert client.post_form("/test-only", headers=headers).status_code >= 400
        assert SAID not in client.get("/tracks").text


def test_a_notice_outside_a_write_is_a_defect(app: Flask) -> None:
    with app.test_request_context("/"), pytest.raises(RuntimeError, match="belongs to a write"):
        notice(SAID)
