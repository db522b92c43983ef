"""Other devices: shut out until they are paired, and again when they are removed."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from typing import Any, cast

import pytest
from flask import Flask

from pitapp.db.connect import BUSY_TIMEOUT_MS
from pitapp.devices import store
from pitapp.devices.guard import UNPAIRED_HEADER, cookie_name
from pitapp.devices.sharing import invitation, open_to
from tests.support import Clock, PageClient

SERVER, PHONE = "192.168.7.1", "192.168.7.20"


@pytest.fixture
def phone(app: Flask) -> PageClient:
    """A second device on the network of a shared server."""
    open_to(app, SERVER, shared=True, https=False)
    client = cast(PageClient, app.test_client())
    client.environ_base = {**client.environ_base, "REMOTE_ADDR": PHONE, "HTTP_HOST": SERVER}
    return client


def token_on(client: PageClient) -> str:
    found = re.search(r'name="csrf_token" value="([^"]+)"', client.get("/pair").text)
    assert found is not None
    return found[1]


def pair(client: PageClient, code: str, token: str | None = None, **headers: str) -> Any:
    form = {"code": code, "name": "Test phone", "csrf_token": token or token_on(client)}
    return client.post("/pair", data=form, headers=headers)


def test_an_unpaired_device_meets_the_pairing_page_at_every_address(
    app: Flask, phone: PageClient
) -> None:
    asked = 0
    for rule in app.url_map.iter_rules():
        path = re.sub(r"<(?:path:)?filename>", "css/base.css", rule.rule)
        path = re.sub(r"<(?:\w+:)?\w+>", "1", path)
        if path.startswith("/pair"):
            continue
        for method in sorted(cast(set[str], rule.methods) - {"OPTIONS"}):
            answer = phone.open(path, method=method)
            assert answer.status_code == 401, f"{method} {path}"
            assert UNPAIRED_HEADER in answer.headers
            asked += 1
    assert asked > 100
    for path in ("/nowhere", "/static/js/gearing.js", "/sw.js", "/token"):
        answer = phone.get(path)
        assert answer.status_code == 401
        assert "Pair this device" in answer.text


def test_a_wrong_host_is_refused_before_anything_else(phone: PageClient) -> None:
    for host in ("pit.example", "192.168.7.2", "127.0.0.1.pit.example"):
        answer = phone.get("/pair", headers={"Host": host})
        assert answer.status_code == 400
        assert "Pair this device" not in answer.text


def test_this_machine_needs_no_pairing(client: PageClient) -> None:
    assert client.get("/").status_code == 200


def test_a_code_lets_one_device_in_once(
    app: Flask, phone: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    code = store.new_code(db, clock()).code
    answer = pair(phone, f"{code[:4]} {code[4:]}")
    assert answer.status_code == 303
    cookie = next(
        line
        for line in answer.headers.getlist("Set-Cookie")
        if line.startswith(f"{cookie_name(app)}=")
    )
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert phone.get("/gearing").status_code == 200
    other = cast(PageClient, app.test_client())
    other.environ_base = {**phone.environ_base, "REMOTE_ADDR": "192.168.7.21"}
    assert pair(other, code).status_code == 403
    assert other.get("/").status_code == 401


def test_a_code_is_over_after_five_minutes(
    phone: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    code = store.new_code(db, clock()).code
    clock.tick(299)
    assert store.open_code(db, clock()) is not None
    clock.tick(1)
    assert pair(phone, code).status_code == 403
    assert phone.get("/").status_code == 401


def test_a_phone_that_says_it_waited_gets_no_older_moment(
    phone: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    waited, token = {"X-Waited-Seconds": "600"}, token_on(phone)
    code = store.new_code(db, clock()).code
    clock.tick(301)
    assert pair(phone, code, token, **waited).status_code == 403
    answered = [pair(phone, "12345678", token, **waited).status_code for _ in range(8)]
    assert answered[-1] == 429


def test_a_clock_that_jumped_back_does_not_shut_pairing(
    phone: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    token = token_on(phone)
    clock.tick(30 * 86400)
    while pair(phone, "12345678", token).status_code == 403:
        pass
    clock.tick(-30 * 86400)
    assert pair(phone, store.new_code(db, clock()).code, token).status_code == 303


def test_a_thousand_guesses_are_slowed_and_let_nobody_in(
    phone: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    code = store.new_code(db, clock()).code
    token = token_on(phone)
    looked_at = 0
    for guess in range(1000):
        wrong = f"{(int(code) + 1 + guess) % 10**8:08}"
        answer = pair(phone, wrong, token)
        assert answer.status_code in (403, 429)
        looked_at += answer.status_code == 403
        clock.tick(0.299)
    assert looked_at < 16
    assert pair(phone, code, token).status_code == 429, "even the right code has to wait"
    assert phone.get("/").status_code == 401


def test_a_removed_device_is_out_at_once(
    client: PageClient, phone: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    pair(phone, store.new_code(db, clock()).code)
    assert phone.get("/").status_code == 200
    page = client.get("/devices").text
    assert "Test phone" in page
    assert PHONE in page
    (device,) = store.devices(db)
    assert client.post_form(f"/devices/{device.id}/remove").status_code == 303
    assert phone.get("/").status_code == 401
    assert client.post_form(f"/devices/{device.id}/remove").status_code == 404
    assert store.devices(db) == []


def test_pairing_again_ends_what_the_device_had_before(
    app: Flask, phone: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    pair(phone, store.new_code(db, clock()).code)
    before = phone.get_cookie(cookie_name(app))
    token = re.search(r'csrf_token" value="([^"]+)', phone.get("/settings").text)
    session = phone.get_cookie(app.config["SESSION_COOKIE_NAME"])
    assert before is not None
    assert session is not None
    assert token is not None
    assert pair(phone, store.new_code(db, clock()).code, token[1]).status_code == 303
    phone.get("/settings")
    now = phone.get_cookie(app.config["SESSION_COOKIE_NAME"])
    assert now is not None
    assert now.value != session.value
    assert len(store.devices(db)) == 1
    other = cast(PageClient, app.test_client())
    other.environ_base = dict(phone.environ_base)
    other.set_cookie(before.key, before.value)
    answer = other.get("/")
    assert answer.status_code == 401
    assert answer.headers["Clear-Site-Data"] == '"cache"'


def test_over_https_every_cookie_is_bound_to_this_host(
    app: Flask, db: sqlite3.Connection, clock: Clock
) -> None:
    open_to(app, SERVER, shared=True, https=True)
    client = cast(PageClient, app.test_client())
    client.environ_base = {
        **client.environ_base,
        "REMOTE_ADDR": PHONE,
        "HTTP_HOST": SERVER,
    }
    page = client.get("/pair", base_url=f"https://{SERVER}")
    set_here = page.headers.getlist("Set-Cookie")
    token = re.search(r'csrf_token" value="([^"]+)', page.text)
    assert token is not None
    paired = client.post(
        "/pair",
        data={"code": store.new_code(db, clock()).code, "name": "", "csrf_token": token[1]},
        base_url=f"https://{SERVER}",
        headers={"Referer": f"https://{SERVER}/pair"},
    )
    set_here += [line for line in paired.headers.getlist("Set-Cookie") if "_device=" in line]
    assert len(set_here) == 2
    for line in set_here:
        assert line.startswith("__Host-pitapp_")
        for part in ("Secure", "HttpOnly", "SameSite=Strict", "Path=/"):
            assert part in line
        assert "Domain" not in line


def test_last_seen_is_noted(phone: PageClient, db: sqlite3.Connection, clock: Clock) -> None:
    pair(phone, store.new_code(db, clock()).code)
    clock.tick(3600)
    phone.get("/")
    (device,) = store.devices(db)
    assert device.last_seen_at == clock()


def test_a_held_database_stops_no_reading(
    phone: PageClient, db: sqlite3.Connection, clock: Clock, app: Flask
) -> None:
    pair(phone, store.new_code(db, clock()).code)
    clock.tick(3600)
    with closing(app.extensions["pitapp.db"].another()) as other:
        other.execute("BEGIN IMMEDIATE")
        assert phone.get("/gearing").status_code == 200
    phone.get("/gearing")
    (device,) = store.devices(db)
    assert device.last_seen_at == clock()
    assert db.execute("PRAGMA busy_timeout").fetchone()[0] == BUSY_TIMEOUT_MS


def test_another_origin_changes_nothing(
    phone: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    pair(phone, store.new_code(db, clock()).code)
    headers = {"Origin": "http://pit.example", "Referer": "http://pit.example/"}
    before = db.execute("SELECT count(*) FROM gears").fetchone()[0]
    form = {"kind": "pinion", "teeth": "20", "pitch": "dp:64"}
    answer = phone.post("/kit/gears", data=form, headers=headers)
    assert answer.status_code == 400
    assert db.execute("SELECT count(*) FROM gears").fetchone()[0] == before


@pytest.mark.parametrize("https", [False, True])
def test_the_terminal_says_that_a_line_can_be_read(app: Flask, https: bool) -> None:
    open_to(app, SERVER, shared=True, https=https)
    assert ("others on that network can read" in invitation(app, 8510)) is not https


def test_only_a_shared_server_makes_codes(app: Flask, client: PageClient) -> None:
    assert client.post_form("/devices/code").status_code == 404
    open_to(app, SERVER, shared=True, https=False)
    assert client.post_form("/devices/code").status_code == 303
    page = client.get("/devices").text
    assert 'id="pairing-code"' in page
    assert "<svg" in page
    assert f"http://{SERVER}:" in client.get("/settings").text
