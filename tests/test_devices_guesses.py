"""Guessing a pairing code: each address waits by itself, a code ends, and nobody else is kept out."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import timedelta
from functools import partial
from statistics import median
from typing import Any, cast

import pytest
from flask import Flask

from e2e.server import Served
from pitapp.devices import guard, store
from pitapp.devices.formulas import FREE_GUESSES, MOST_WRONG
from pitapp.devices.guesses import MOST_ADDRESSES, Guesses, MustWait
from pitapp.devices.sharing import invitation, open_to
from pitapp.web.server import make_server, visitors
from tests.soak.phone import Form, Phone
from tests.support import RACE_MORNING, Clock, PageClient

SERVER = "192.168.7.1"
ADDRESSES = 200
KEPT_OUT_S = 2.0


@pytest.fixture
def shared(app: Flask) -> Flask:
    open_to(app, SERVER, shared=True, https=False)
    return app


class Stranger:
    """Another device at an address of its own, with a page to pair it open."""

    def __init__(self, app: Flask, address: str) -> None:
        self._client = cast(PageClient, app.test_client())
        own = {"REMOTE_ADDR": address, "HTTP_HOST": SERVER}
        self._client.environ_base = {**self._client.environ_base, **own}
        found = re.search(r'name="csrf_token" value="([^"]+)"', self._client.get("/pair").text)
        assert found is not None
        self._token = found[1]

    def guess(self, code: str, **more: str) -> int:
        """The status that a guess is answered with."""
        form = {"csrf_token": self._token, "code": code, "name": "Phone", **more}
        return self._client.post("/pair", data=form).status_code


def wrong(code: str) -> str:
    return f"{(int(code) + 1) % 10**8:08}"


def at_once(work: list[Callable[[], Any]]) -> list[Any]:
    """What each gives, all begun at the same moment in threads of their own."""
    begin, given = threading.Barrier(len(work)), []

    def run(one: Callable[[], Any]) -> None:
        begin.wait()
        given.append(one())

    threads = [threading.Thread(target=run, args=(one,)) for one in work]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return given


def test_one_who_guesses_keeps_nobody_else_out(
    shared: Flask, db: sqlite3.Connection, clock: Clock
) -> None:
    code = store.new_code(db, clock()).code
    stranger, racer = Stranger(shared, "10.0.0.66"), Stranger(shared, "10.0.0.7")
    for _ in range(57):
        stranger.guess(wrong(code))
        clock.tick(3)
    assert stranger.guess(wrong(code)) == 429
    assert racer.guess(code) == 303


@pytest.mark.parametrize("keyed", [False, True])
def test_guesses_sent_together_are_counted_one_by_one(
    shared: Flask, db: sqlite3.Connection, clock: Clock, keyed: bool
) -> None:
    code = store.new_code(db, clock()).code
    strangers = [Stranger(shared, "10.0.0.66") for _ in range(30)]
    keys = [{"idempotency_key": f"{n:032x}"} if keyed else {} for n in range(len(strangers))]
    answers = at_once(
        [partial(one.guess, wrong(code), **key) for one, key in zip(strangers, keys, strict=True)]
    )
    assert Counter(answers) == {403: FREE_GUESSES, 429: len(strangers) - FREE_GUESSES}


def test_a_code_lets_one_in_however_many_send_it_together(
    shared: Flask, db: sqlite3.Connection, clock: Clock
) -> None:
    code = store.new_code(db, clock()).code
    racers = [Stranger(shared, f"10.0.0.{n}") for n in range(12)]
    answers = at_once([partial(one.guess, code) for one in racers])
    assert Counter(answers) == {303: 1, 403: 11}
    assert len(store.devices(db)) == 1


def test_a_code_ends_after_so_many_wrong_guesses_and_the_next_is_shown(
    shared: Flask,
    client: PageClient,
    db: sqlite3.Connection,
    clock: Clock,
    capsys: pytest.CaptureFixture[str],
) -> None:
    invitation(shared, 8510)
    found = store.open_code(db, clock())
    assert found is not None
    first, guesses = found.code, shared.extensions["pitapp.guesses"]
    looked_at = 0
    while (now := store.open_code(db, clock())) is not None and now.code == first:
        address = f"10.1.{looked_at // 250}.{looked_at % 250}"
        store_answer = store.pair(db, guesses, wrong(first), "Phone", address, clock())
        assert store_answer.token == ""
        looked_at += 1
        assert looked_at <= MOST_WRONG
        if looked_at == MOST_WRONG - 1:
            break
    assert Stranger(shared, "10.2.0.1").guess(wrong(first)) == 403
    assert looked_at + 1 == MOST_WRONG
    following = store.open_code(db, clock())
    assert following is not None
    assert following.code != first
    assert following.spaced in capsys.readouterr().out
    assert following.spaced in client.get("/devices").text
    part = client.get("/devices/code/part").text
    assert following.spaced in part
    assert "<html" not in part
    racer = Stranger(shared, "10.2.0.2")
    assert racer.guess(first) == 403
    assert racer.guess(following.code) == 303


def test_a_code_is_over_also_where_the_next_cannot_be_made(
    shared: Flask, db: sqlite3.Connection, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = store.new_code(db, clock()).code
    guesses, made = Guesses(), store.new_code

    def full(*_: Any) -> Any:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(store, "new_code", full)
    for number in range(MOST_WRONG):
        address = f"10.{number // 250}.0.{number % 250}"
        with suppress(sqlite3.OperationalError):
            store.pair(db, guesses, wrong(code), "x", address, clock())
    with pytest.raises(sqlite3.OperationalError):
        store.pair(db, guesses, code, "Phone", "10.9.0.1", clock())
    monkeypatch.setattr(store, "new_code", made)
    following = store.pair(db, guesses, code, "Phone", "10.9.0.2", clock())
    assert following.token == ""
    assert following.next_code is not None
    right = store.pair(db, guesses, following.next_code.code, "Phone", "10.9.0.3", clock())
    assert right.token


def test_two_hundred_addresses_in_parallel_are_counted_each_by_itself(
    shared: Flask, db: sqlite3.Connection, clock: Clock
) -> None:
    code, guesses = store.new_code(db, clock()).code, Guesses()
    database = shared.extensions["pitapp.db"]

    def guess(address: str) -> Counter[str]:
        seen: Counter[str] = Counter()
        for _ in range(10):
            try:
                store.pair(database.connection(), guesses, wrong(code), "x", address, clock())
                seen["looked at"] += 1
            except MustWait:
                seen["waits"] += 1
        return seen

    addresses = [f"10.3.{number}.1" for number in range(ADDRESSES)]
    counts: list[Counter[str]] = at_once([partial(guess, each) for each in addresses])
    seen = sum(counts, Counter[str]())
    assert seen == {"looked at": FREE_GUESSES * ADDRESSES, "waits": 7 * ADDRESSES}
    assert store.pair(db, guesses, code, "Phone", "10.4.0.1", clock()).token


@pytest.mark.parametrize(
    ("first", "second", "same"),
    [
        ("10.0.0.1", "10.0.0.2", False),
        ("10.0.0.1", "::ffff:10.0.0.1", True),
        ("fd00:0:0:7::1", "fd00:0:0:7:a:b:c:d", True),
        ("fd00:0:0:7::1", "fd00:0:0:8::1", False),
    ],
)
def test_a_network_of_64_bits_counts_as_one(first: str, second: str, same: bool) -> None:
    guesses = Guesses()
    for _ in range(FREE_GUESSES):
        with guesses.attempt(first, RACE_MORNING) as look:
            look.wrong("12345678")
    if same:
        with pytest.raises(MustWait), guesses.attempt(second, RACE_MORNING):
            pass
    else:
        with guesses.attempt(second, RACE_MORNING) as look:
            assert not look.is_over("12345678")


def test_only_so_many_addresses_are_remembered() -> None:
    guesses = Guesses()
    for number in range(3 * MOST_ADDRESSES):
        with guesses.attempt(f"fd00:{number:x}::1", RACE_MORNING) as look:
            over = look.wrong("12345678")
    assert len(guesses) == MOST_ADDRESSES
    assert over


@pytest.fixture
def afar(app: Flask, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """The app served, with a clock that runs; every address but 127.0.0.1 is another device's."""
    begun = time.monotonic()
    app.extensions["pitapp.clock"] = lambda: (
        RACE_MORNING + timedelta(seconds=time.monotonic() - begun)
    )
    for module in (guard, visitors):
        monkeypatch.setattr(module, "is_this_machine", lambda address: address == "127.0.0.1")
    open_to(app, "127.0.0.1", shared=True, https=False)
    served = Served(app, make_server)
    yield served
    served.stop()


def let_in(served: Served, app: Flask, number: int) -> float:
    """How long a racer takes to be let in by the code that is shown, the page to pair included."""
    host, port = served.netloc.split(":")
    now = app.extensions["pitapp.clock"]
    connection = app.extensions["pitapp.db"].connection()
    store.new_code(connection, now())
    racer = Phone(host, int(port), "Racer", own=f"127.8.0.{number + 1}")
    begun = time.monotonic()
    form = Form(racer.get("/pair"), "/pair")
    while (code := store.open_code(connection, now())) is not None:
        if racer.send(form, code=code.code) is not None:
            break
    racer.close()
    return time.monotonic() - begun


def test_two_hundred_that_guess_keep_the_right_code_out_for_no_longer_than_a_moment(
    app: Flask, afar: Served
) -> None:
    port = afar.netloc.split(":")[1]
    guessers = subprocess.Popen(
        [sys.executable, "-m", "tests.guessers", port, str(ADDRESSES)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert guessers.stdout is not None
        assert guessers.stdin is not None
        assert guessers.stdout.readline() == "begun\n"
        taken = [let_in(afar, app, number) for number in range(7)]
        guessers.stdin.close()
        assert int(guessers.stdout.readline()) > ADDRESSES
        assert median(taken) <= KEPT_OUT_S
    finally:
        guessers.kill()
        guessers.wait(20)


def test_a_server_that_is_not_shared_has_no_code_to_show(app: Flask, client: PageClient) -> None:
    app.extensions.pop("pitapp.sharing", None)
    assert client.get("/devices/code/part").status_code == 404
    assert client.get("/devices").status_code == 200
