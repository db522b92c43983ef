"""The bundle of what a phone keeps is, byte for byte, what a server that remembers nothing would make."""

from __future__ import annotations

import re
import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import timedelta
from itertools import count
from threading import Event

import pytest
from flask import Flask

from pitapp.checks.lists import store as lists
from pitapp.db import settings
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.offline.latest import Latest
from pitapp.packs import store as packs
from pitapp.packs.models import Reading
from pitapp.web.memory import Memory
from tests.packs_walk import add_pack, walk
from tests.support import RACE_MORNING, Clock, PageClient


def bundle(client: PageClient) -> bytes:
    answer = client.get("/offline/pages")
    assert answer.status_code == 200
    return bytes(answer.data)


@pytest.fixture
def meeting(db: sqlite3.Connection) -> int:
    race_class = RaceClass(name="Invented", least_mass_g=1350, most_start_v=8.40)
    class_id, _ = meetings.save_class(db, race_class, RACE_MORNING)
    made, _ = meetings.save_meeting(
        db,
        Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=class_id),
        RACE_MORNING,
    )
    starts = [RACE_MORNING + timedelta(minutes=minutes) for minutes in (20, 50)]
    meetings.add_heats(db, made, [Entry("heat", at) for at in starts], RACE_MORNING)
    return made


def test_it_is_what_a_server_without_memory_makes(
    app: Flask,
    client: PageClient,
    db: sqlite3.Connection,
    clock: Clock,
    meeting: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    first = add_pack(db)

    def answer_a_step() -> None:
        page = client.get(f"/checks/lists/{lists.checklists(db)[0].id}/run").text
        action = re.search(r'action="(/checks/walks/[^"]+)"', page)
        expected = re.search(r'name="expected" value="([^"]+)"', page)
        assert action
        assert expected
        typed = {"take": "1", "expected": expected[1]}
        assert client.post_form(action[1], typed).status_code == 303

    def low_cell() -> None:
        low = Reading(pack_id=first, read_at=clock(), cell_v=(2.9, 3.7))
        packs.add_reading(db, low, clock())

    def other_class() -> None:
        held = meetings.race_classes(db)[0]
        meetings.save_class(db, held.model_copy(update={"least_mass_g": 1400}), clock())

    writes = (
        lambda: None,
        answer_a_step,
        lambda: settings.save(db, "mass_unit", "imperial"),
        low_cell,
        lambda: walk(db, add_pack(db, mark="B"), leave_out=("stay",), place="no"),
        other_class,
        lambda: clock.tick(120),
    )
    seen = set()
    for write in writes:
        write()
        mine = bundle(client)
        with monkeypatch.context() as forgetful:
            for memory in ("pitapp.remembered", "pitapp.standing", "pitapp.as_written"):
                forgetful.setitem(app.extensions, memory, Memory())
            forgetful.setitem(app.extensions, "pitapp.bundle", Latest())
            assert bundle(client) == mine
        assert bundle(client) == mine
        seen.add(mine)
    assert len(seen) == len(writes)


def test_what_another_process_writes_is_in_it_at_once(
    app: Flask, client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    assert b"Written elsewhere" not in bundle(client)
    with closing(sqlite3.connect(app.extensions["pitapp.db"].path)) as other, other:
        other.execute("UPDATE packs SET mark = 'Written elsewhere' WHERE id = ?", (pack_id,))
    assert b"Written elsewhere" in bundle(client)


def test_it_tells_the_time_anew(client: PageClient, clock: Clock, meeting: int) -> None:
    assert b"in 20 min" in bundle(client)
    clock.tick(60)
    assert b"in 19 min" in bundle(client)
    clock.set(RACE_MORNING)
    assert b"in 20 min" in bundle(client)


def test_each_phone_gets_its_own_look(client: PageClient) -> None:
    assert b"data-theme=\x7flight\x7f" not in bundle(client)
    client.set_cookie("pitapp_theme", "light")
    assert b"data-theme=\x7flight\x7f" in bundle(client)
    client.delete_cookie("pitapp_theme")
    assert b"data-theme=\x7flight\x7f" not in bundle(client)


def test_a_failure_is_not_given_out_again(
    client: PageClient, db: sqlite3.Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = bundle(client)
    settings.save(db, "mass_unit", "imperial")
    with monkeypatch.context() as patched:
        patched.setattr("pitapp.offline.pages.runs", lambda *_: 1 // 0)
        assert client.get("/offline/pages").status_code == 500
    after = bundle(client)
    assert b'"unit":" oz"' in after
    assert after != before


def test_every_commit_counts_as_written(app: Flask, db: sqlite3.Connection) -> None:
    database = app.extensions["pitapp.db"]
    before = database.written()
    assert database.written() == before
    settings.save(db, "mass_unit", "imperial")
    after = database.written()
    assert after != before
    database.close()
    assert database.written() != after


def test_who_waits_while_one_is_made_share_the_next(clock: Clock) -> None:
    """All that was written before they asked is in it, since it is begun after."""
    latest, going, made = Latest(), Event(), []
    numbers = count()

    def make() -> bytes:
        made.append(next(numbers))
        if len(made) == 1:
            assert going.wait(10)
        return b"made %d" % made[-1]

    def ask(phone: int) -> bytes:
        return latest.of("look", lambda: next(numbers), clock, make)

    with ThreadPoolExecutor(6) as pool:
        first = pool.submit(ask, 0)
        while not made:
            time.sleep(0.001)
        others = [pool.submit(ask, phone) for phone in range(1, 6)]
        time.sleep(0.2)
        going.set()
        bodies = {each.result(10) for each in others}
    assert first.result() not in bodies
    assert len(bodies) == 1
    assert len(made) == 2


def test_who_waits_for_another_look_gets_that_one(clock: Clock) -> None:
    latest, going, made = Latest(), Event(), []

    def ask(look: str) -> bytes:
        def make() -> bytes:
            made.append(look)
            if len(made) == 1:
                assert going.wait(10)
            return look.encode()

        return latest.of(look, lambda: 0, clock, make)

    with ThreadPoolExecutor(3) as pool:
        asked = [pool.submit(ask, look) for look in ("light", "dark", "light")]
        while not made:
            time.sleep(0.001)
        time.sleep(0.1)
        going.set()
        assert [each.result(10) for each in asked] == [b"light", b"dark", b"light"]


def test_of_a_failure_who_waits_makes_its_own(clock: Clock) -> None:
    latest, going, begun = Latest(), Event(), Event()

    def fail() -> bytes:
        begun.set()
        assert going.wait(10)
        raise ZeroDivisionError

    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(latest.of, "", lambda: 0, clock, fail)
        assert begun.wait(10)
        second = pool.submit(latest.of, "", lambda: 0, clock, lambda: b"whole")
        time.sleep(0.1)
        going.set()
        assert second.result(10) == b"whole"
        assert isinstance(first.exception(10), ZeroDivisionError)
