"""What the controller's line on the Board says of readings that the class does not allow."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from uuid import uuid4

import pytest

from pitapp.board.models import ReadyLine, Situation
from pitapp.checks import ready
from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller, Step
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from tests.support import RACE_MORNING, Clock, PageClient

RED = "Rev limit shows 14\u202f900 rpm, limit 14\u202f600 rpm."


@pytest.fixture
def settings(db: sqlite3.Connection) -> list[Step]:
    """A controller with two settings, in the only car; the class limits the first of them."""
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    car_id, _ = kit.save_car(db, car, RACE_MORNING)
    limited = RaceClass(name="Invented", rev_limit_rpm=14_600)
    class_id, _ = meetings.save_class(db, limited, RACE_MORNING)
    meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=class_id)
    meetings.save_meeting(db, meeting, RACE_MORNING)
    chosen = [STARTING_LIST[0], STARTING_LIST[8]]
    new_id, _ = controllers.add(db, Controller(name="Invented"), chosen, car_id, RACE_MORNING)
    return lists.steps(db, lists.settings_list(db, new_id).id)


def line(client: PageClient, db: sqlite3.Connection, clock: Clock) -> ReadyLine:
    with client.application.test_request_context("/"):
        meeting = meetings.current_meeting(db, clock())
        car = kit.cars(db)[0]
        race_class = meetings.class_raced(db, meeting, car.id)
        return ready.line(
            db, Situation(car=car, now=clock(), meeting=meeting, race_class=race_class)
        )


def read(client: PageClient, step: Step, uuid: str, shown: str, **more: str) -> None:
    address = f"/checks/walks/{uuid}/steps/{step.id}"
    assert client.post_form(address, {"shown": shown} | more).status_code == 303


def test_a_reading_outside_the_class_is_red_before_the_run_through_is_over(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    read(client, settings[0], str(uuid4()), "14900")
    told = line(client, db, clock)
    assert (told.level, told.reason) == ("stop", RED)
    # Also when it was left for so long that the next run-through begins anew.
    clock.tick(13 * 3600)
    assert line(client, db, clock).level == "stop"
    # A newer reading inside the class clears it, though that run-through is not over either.
    read(client, settings[0], str(uuid4()), "14500")
    told = line(client, db, clock)
    assert (told.level, told.word) == ("look", "check half done")


def test_a_run_through_begun_anew_hides_nothing_illegal_that_was_read_before(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    first = str(uuid4())
    read(client, settings[0], first, "14900")
    read(client, settings[0], first, "", stand="1", reason="Lent by the official")
    read(client, settings[1], first, "on")
    clock.tick(600)
    read(client, settings[1], str(uuid4()), "on")
    told = line(client, db, clock)
    assert (told.level, told.reason) == ("stop", RED)


def test_a_reading_legal_in_one_class_is_red_in_a_stricter_one(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    db.execute("UPDATE race_classes SET rev_limit_rpm = 15000")
    uuid = str(uuid4())
    read(client, settings[0], uuid, "14900")
    read(client, settings[1], uuid, "on")
    assert line(client, db, clock).level == "good"
    db.execute("UPDATE race_classes SET rev_limit_rpm = 14600")
    told = line(client, db, clock)
    assert told.level == "stop"
    assert RED in told.reason


def test_a_reading_off_another_controller_says_nothing_of_this_one(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    read(client, settings[0], str(uuid4()), "14900")
    other = Controller(name="Other")
    controllers.add(db, other, [STARTING_LIST[0]], kit.cars(db)[0].id, clock() + timedelta(1))
    assert line(client, db, clock).level == "look"


def test_the_board_says_how_much_of_the_class_was_read_for_scrutineering(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    # The class limits one thing, the rev limit.
    assert "Scrutineering: 0 of 1 read" in client.get("/").text
    read(client, settings[0], str(uuid4()), "14600")
    board = client.get("/").text
    assert "Scrutineering: 1 of 1 read" in board
    assert 'href="/checks/card"' in board
    read(client, settings[0], str(uuid4()), "14900")
    assert "Rev limit outside the class" in client.get("/").text.replace("rev limit", "Rev limit")


def test_the_tilt_test_is_on_the_board_when_asked_for(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    gearing.fit(db, kit.cars(db)[0], 40, 80, RACE_MORNING)
    assert "Parked car" not in client.get("/").text
    assert 'href="/roll"' in client.get("/checks").text
    client.post_form("/settings/board", {"tilt": "yes"})
    assert "Parked car: not tested" in client.get("/").text
    client.post_form("/settings/board", {"tilt": "no"})
    assert "Parked car" not in client.get("/").text
