"""What the packs say on the Board."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from typing import Literal

import pytest

from pitapp.board.models import ReadyLine, Situation
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings.models import Heat
from pitapp.packs import ready, store
from pitapp.packs.charging import store as charging
from pitapp.packs.models import Reading, Storage
from tests.packs_walk import add_pack, walk
from tests.support import RACE_MORNING, Clock, PageClient

CAR = Car(id=1, name="Test car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
HEAT = Heat(meeting_id=1, number=1, starts_at=RACE_MORNING + timedelta(hours=1))


@pytest.fixture
def line(client: PageClient, db: sqlite3.Connection) -> object:
    """The line, asked inside a request as the Board does."""

    def ask(now: object = RACE_MORNING, heat: Heat | None = HEAT) -> ReadyLine | None:
        with client.application.test_request_context("/"):
            return ready.line(db, Situation(car=CAR, now=now, heat=heat))  # type: ignore[arg-type]

    return ask


def on_the_charger(
    db: sqlite3.Connection,
    pack_id: int,
    minutes: float,
    purpose: Literal["full", "storage"] = "full",
) -> str:
    item = charging.charge(db, walk(db, pack_id, purpose))
    due_at = RACE_MORNING + timedelta(minutes=minutes)
    charging.start(db, item.model_copy(update={"due_at": due_at}), "On", RACE_MORNING)
    return item.uuid


def test_no_pack_says_nothing(line: object) -> None:
    assert line() is None  # type: ignore[operator]


def test_before_a_heat_a_full_pack_is_ready(line: object, db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    told = line()  # type: ignore[operator]
    assert (told.level, told.reason) == ("stop", "Charge one before the heat")
    uuid = on_the_charger(db, pack_id, 30)
    told = line()  # type: ignore[operator]
    assert (told.level, told.reason) == ("look", "A full at about 09:30")
    assert told.href == f"/packs/charges/{uuid}"
    told = line(RACE_MORNING + timedelta(minutes=30))  # type: ignore[operator]
    assert (told.level, told.word) == ("stop", "time is up")
    assert told.reason == "Since 09:30: look at A"
    charging.finish(db, charging.charge(db, uuid), "done", None, RACE_MORNING)
    told = line()  # type: ignore[operator]
    assert (told.level, told.reason) == ("good", "Full: A")
    store.set_condition(db, pack_id, "damaged", "", RACE_MORNING)
    assert line() is None  # type: ignore[operator]


def test_the_only_pack_is_full_too_late_for_the_heat(line: object, db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    uuid = on_the_charger(db, pack_id, 65)
    told = line()  # type: ignore[operator]
    assert (told.level, told.word) == ("stop", "full too late")
    assert told.reason == "A full at about 10:05, 5 min after Heat 1 starts"
    assert told.href == f"/packs/charges/{uuid}"
    on_the_charger(db, add_pack(db, mark="B"), 50)
    told = line()  # type: ignore[operator]
    assert (told.level, told.reason) == ("look", "B full at about 09:50")


def test_a_pack_that_ends_as_the_heat_starts_is_no_minute_late(
    line: object, db: sqlite3.Connection
) -> None:
    on_the_charger(db, add_pack(db), 60)
    assert line().level == "look"  # type: ignore[operator]


def test_a_pack_on_its_way_to_storage_will_not_be_full(
    line: object, db: sqlite3.Connection
) -> None:
    on_the_charger(db, add_pack(db), 30, "storage")
    told = line()  # type: ignore[operator]
    assert (told.level, told.reason) == ("stop", "Charge one before the heat")


def test_after_the_last_heat_storage_is_due_until_it_is_done(
    line: object, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    assert line(heat=None) is None  # type: ignore[operator]
    read = Reading(pack_id=pack_id, read_at=RACE_MORNING, cell_v=(4.1, 4.1))
    store.add_reading(db, read, RACE_MORNING)
    told = line(heat=None)  # type: ignore[operator]
    assert (told.level, told.reason) == ("look", "Not at storage yet: A")
    later = RACE_MORNING + timedelta(minutes=1)
    store.put_away(db, Storage(pack_id=pack_id, stored_at=later), later)
    assert line(heat=None) is None  # type: ignore[operator]


def test_the_board_at_home_shows_storage_and_a_countdown(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    kit.save_car(db, CAR.model_copy(update={"id": 0}), RACE_MORNING)
    pack_id = add_pack(db)
    assert "storage due" not in client.get("/").text
    uuid = on_the_charger(db, pack_id, 30)
    assert "A on the charger until about 09:30. Stay with it." in client.get("/").text
    clock.tick(45 * 60)
    assert "Since 09:30: look at A" in client.get("/").text
    client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "done"})
    assert "Not at storage yet: A" in client.get("/").text
    clock.tick(60)
    client.post_form(f"/packs/{pack_id}/store", {"cell_v": "3.83"})
    assert "storage due" not in client.get("/").text
