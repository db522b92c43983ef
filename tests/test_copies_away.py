"""How old the last copy is that left: on the Board of a phone alone, on the Copies screen everywhere."""

from __future__ import annotations

import io
import re
import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from flask import Flask

from pitapp.copies import away, store
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting
from pitapp.packs import store as packs
from pitapp.packs.models import Pack
from pitapp.runs import store as runs
from pitapp.runs.models import FittedCar, Run, Snapshot
from tests.support import RACE_MORNING, Clock, PageClient

CAR = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)


@pytest.fixture
def alone(app: Flask) -> Flask:
    """The app as it runs in a phone's own browser."""
    app.config["PITAPP_IN_BROWSER"] = True
    return app


@pytest.fixture
def car(db: sqlite3.Connection) -> Car:
    car_id, _ = kit.save_car(db, CAR, RACE_MORNING)
    gearing.fit(db, kit.car(db, car_id), 45, 69, RACE_MORNING)
    return kit.car(db, car_id)


def log_run(db: sqlite3.Connection, car: Car, clock: Clock) -> None:
    snapshot = Snapshot(car=FittedCar(id=car.id, name=car.name))
    runs.save_run(db, Run(car_id=car.id, started_at=clock(), snapshot=snapshot), clock())


def copy_line(client: PageClient) -> tuple[str, str] | None:
    """The level of the Board's line about copies, and what it says."""
    found = re.search(
        r'class="verdict verdict-(\w+)" href="/copies">.*?<b>(Copy: [^<]*)</b>',
        client.get("/").text,
        re.S,
    )
    return (found[1], found[2]) if found else None


def newest(app: Flask) -> str:
    return store.list_copies(app.config["PITAPP_DATA_DIR"])[0].name


def test_the_board_says_how_old_the_last_copy_is_that_left(
    alone: Flask, client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    assert copy_line(client) is None
    log_run(db, car, clock)
    assert copy_line(client) == ("look", "Copy: none taken away yet")
    clock.tick(60)
    client.post_form("/copies")
    assert copy_line(client) == ("look", "Copy: none taken away yet")
    assert client.get(f"/copies/{newest(alone)}").status_code == 200
    assert copy_line(client) == ("good", f"Copy: of today {clock():%H:%M}")
    taken = clock()
    clock.tick(24 * 3600)
    assert copy_line(client) == ("good", f"Copy: of yesterday {taken:%H:%M}")
    log_run(db, car, clock)
    assert copy_line(client) == ("look", f"Copy: of yesterday {taken:%H:%M}")


def test_a_server_says_it_on_its_copies_screen_alone(
    app: Flask, client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    log_run(db, car, clock)
    assert copy_line(client) is None
    assert "None was downloaded or shared yet" in client.get("/copies").text
    client.post_form("/copies")
    client.get(f"/copies/{newest(app)}")
    assert f"today {clock():%H:%M}" in client.get("/copies").text
    assert "None was downloaded" not in client.get("/copies").text


def test_only_what_left_counts_and_the_newest_of_it(
    alone: Flask, client: PageClient, clock: Clock
) -> None:
    folder = alone.config["PITAPP_DATA_DIR"]
    client.post_form("/copies")
    older = newest(alone)
    clock.tick(3600)
    client.post_form("/copies")
    newer = newest(alone)
    client.head(f"/copies/{newer}")
    client.get(f"/copies/{newer}?share=yes")
    client.get("/copies/2026-01-01T000000Z-by-hand.sqlite3")
    client.post_form("/copies/2026-01-01T000000Z-by-hand.sqlite3/shared")
    assert away.moments(folder).taken_at is None
    client.post_form(f"/copies/{newer}/shared")
    assert away.moments(folder).taken_at == store.made_at(newer)
    client.get(f"/copies/{older}")
    assert away.moments(folder).taken_at == store.made_at(newer)


def test_what_is_brought_from_a_file_is_in_that_file_and_what_is_put_back_is_not(
    alone: Flask, client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    log_run(db, car, clock)
    client.post_form("/copies")
    content = client.get(f"/copies/{newest(alone)}?share=yes").data
    clock.tick(60)
    looked = client.post_form(
        "/copies/uploaded",
        {"file": (io.BytesIO(content), "copy.sqlite3")},
        content_type="multipart/form-data",
    )
    action = re.search(r'action="(/copies/uploaded/[0-9a-f]+/restore)"', looked.text)
    assert action
    client.post_form(action[1])
    level = copy_line(client)
    assert level
    assert level[0] == "good"
    clock.tick(60)
    client.post_form(f"/copies/{newest(alone)}/restore")
    level = copy_line(client)
    assert level
    assert level[0] == "look"


def test_after_the_last_heat_a_copy_is_what_is_due(
    alone: Flask, client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    item = Meeting(day=RACE_MORNING.date(), time_zone="UTC", car_id=car.id)
    heat = Entry("heat", RACE_MORNING + timedelta(minutes=10))
    meeting_id = meetings.save_meeting(db, item, RACE_MORNING, [heat])[0]
    log_run(db, car, clock)
    assert copy_line(client) is None  # there are other worries before a heat
    clock.tick(1800)
    (entry,) = meetings.heats(db, meeting_id)
    meetings.finish_heat(db, entry.id, clock())

    def due() -> str:
        found = re.search(r'main-action" href="[^"]*">([^<]*)</a>', client.get("/").text)
        assert found
        return found[1]

    assert due() == "Packs to storage"  # a pack at rest comes first
    packs.save_pack(db, Pack(mark="A", capacity_mah=4000, cells_series=2), clock())
    assert due() == "Take a copy away"
    clock.tick(60)
    client.post_form("/copies")
    client.get(f"/copies/{newest(alone)}")
    assert due() == "See the day&#39;s runs"


def test_a_moment_that_cannot_be_read_is_none(tmp_path: Path) -> None:
    for content in ("", "{", "[]", "7", '{"taken_at": 5, "brought_at": null}', '{"taken_at": "x"}'):
        (tmp_path / away.FILE).write_text(content, encoding="utf-8")
        assert away.moments(tmp_path) == away.Away()
    away.note_taken(tmp_path, RACE_MORNING)
    assert away.moments(tmp_path).taken_at == RACE_MORNING
