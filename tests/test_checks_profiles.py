"""A controller with several profiles: each with its plan, which one counts, and which one a reading looks like."""

from __future__ import annotations

import json
import re
import sqlite3
from html import unescape
from uuid import uuid4

import pytest

from pitapp.board.models import ReadyLine, Situation
from pitapp.checks import ready
from pitapp.checks import store as checks
from pitapp.checks.controllers import store as controllers
from pitapp.checks.controllers.profiles import store as profile_store
from pitapp.checks.controllers.profiles.formulas import OtherPlan, in_use, looks_like
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller, Profile, Step
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.db import undo
from pitapp.errors import NotThere, Refused
from pitapp.exchange import document
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.web.clock import now
from tests.support import RACE_MORNING, Clock, PageClient

REV = STARTING_LIST[0]
DRAG = next(step for step in STARTING_LIST if step.name == "Drag brake")
REVERSE = next(step for step in STARTING_LIST if step.name == "Reverse")
PAGE = "/checks/controllers/1"


@pytest.fixture
def settings(db: sqlite3.Connection) -> list[Step]:
    """Three settings of the controller in the car, in the first of two classes."""
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    car_id, _ = kit.save_car(db, car, RACE_MORNING)
    stock, _ = meetings.save_class(
        db, RaceClass(name="Invented stock", rev_limit_rpm=14_600), RACE_MORNING
    )
    meetings.save_class(db, RaceClass(name="Invented open"), RACE_MORNING)
    meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=stock)
    meetings.save_meeting(db, meeting, RACE_MORNING)
    chosen = [
        REV.model_copy(update={"planned": "14600"}),
        DRAG.model_copy(update={"planned": "10"}),
        REVERSE.model_copy(update={"planned": "off"}),
    ]
    controllers.add(db, Controller(name="Invented controller"), chosen, car_id, RACE_MORNING)
    return lists.steps(db, lists.settings_list(db, 1).id)


def text(client: PageClient, path: str) -> str:
    answer = client.get(path, follow_redirects=True)
    assert answer.status_code == 200, path
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))).split())


def send(client: PageClient, step: Step, uuid: str, **data: str) -> int:
    return client.post_form(f"/checks/walks/{uuid}/steps/{step.id}", data).status_code


def own(db: sqlite3.Connection) -> Controller:
    return controllers.controller(db, 1)


def planned(db: sqlite3.Connection, profile_id: int | None = None) -> list[str]:
    return [each.planned for each in lists.steps(db, lists.settings_list(db, 1).id, profile_id)]


def second(db: sqlite3.Connection, settings: list[Step], **more: object) -> int:
    plan = {settings[0].id: "18000", settings[1].id: "4"}
    new = Profile(**({"name": "Practice"} | more))
    return profile_store.add(db, own(db), new, plan, RACE_MORNING)[0]


def board_line(client: PageClient, db: sqlite3.Connection, clock: Clock) -> ReadyLine:
    with client.application.test_request_context("/"):
        meeting = meetings.current_meeting(db, clock())
        car = kit.cars(db)[0]
        race_class = meetings.class_raced(db, meeting, car.id)
        return ready.line(db, Situation(car=car, now=now(), meeting=meeting, race_class=race_class))


def test_the_class_decides_then_what_was_chosen_then_the_first() -> None:
    first, second, third = (
        Profile(race_class_id=1),
        Profile(id=8, number=2, chosen=True),
        Profile(id=9, number=3, race_class_id=2),
    )
    held = [first, second, third]
    assert in_use(held, 2) == third
    assert in_use(held, 3) == second
    assert in_use(held, 1) == first
    assert in_use(held, None) == second
    assert in_use([first, third], None) == first


def test_what_it_looks_like_is_never_the_plan_itself() -> None:
    wet = OtherPlan(Profile(id=8, number=2), {1: "12", 2: "Off"})
    drag = DRAG.model_copy(update={"id": 1, "planned": "10"})
    reverse = REVERSE.model_copy(update={"id": 2, "planned": "on"})
    assert looks_like(drag, "12.0", [wet]) == wet.profile
    assert looks_like(reverse, "off", [wet]) == wet.profile
    assert looks_like(drag, "11", [wet]) is None
    assert looks_like(drag.model_copy(update={"planned": "12"}), "12", [wet]) is None


def test_what_was_there_is_the_first_profile_and_stays_as_it_is(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    (only,) = profile_store.profiles(db, own(db))
    assert (only.id, only.title, only.plan_id) == (0, "Profile 1", None)
    assert planned(db) == ["14600", "10", "off"]
    page = text(client, PAGE)
    assert "One plan for all." in page
    assert "Profile 1" not in page
    assert "Profile 1" not in text(client, f"/checks/lists/{settings[0].checklist_id}/run")


def test_a_second_profile_begins_with_a_plan_and_is_then_its_own(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    form = {"name": "Practice", "race_class_id": "", "like": "0"}
    assert client.post_form(f"{PAGE}/profiles/new", form).status_code == 303
    (_, added) = profile_store.profiles(db, own(db))
    assert added.title == "Profile 2, Practice"
    assert planned(db, added.id) == planned(db)
    plan = f"/checks/lists/{settings[0].checklist_id}/plan"
    name = f"planned-{settings[1].id}"
    answer = client.post_form(plan, {name: "4", "profile": str(added.id)})
    assert answer.status_code == 303
    assert (planned(db)[1], planned(db, added.id)[1]) == ("10", "4")
    # The plan of a form that names no profile is that of the one in use.
    client.post_form(plan, {name: "11"})
    assert (planned(db)[1], planned(db, added.id)[1]) == ("11", "4")
    # One setting on its own form, and undone.
    step = lists.step(db, settings[1].id)
    one = {"name": step.name, "kind": "number", "unit": "%", "version": str(step.version)}
    path = f"/checks/lists/steps/{step.id}"
    client.post_form(path, one | {"planned": "5", "profile": str(added.id)})
    assert (planned(db)[1], planned(db, added.id)[1]) == ("11", "5")
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC LIMIT 1").fetchone()[0]
    undo.undo(db, token, RACE_MORNING)
    assert planned(db, added.id)[1] == "4"
    empty = {"name": "", "race_class_id": "", "like": ""}
    client.post_form(f"{PAGE}/profiles/new", empty)
    assert planned(db, profile_store.profiles(db, own(db))[2].id) == ["", "", ""]


def test_racing_its_class_a_profile_is_in_use_and_the_run_through_goes_by_it(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    added = second(db, settings, race_class_id=2)
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    assert "Planned Profile 1 14 600 rpm" in text(client, run)
    first = str(uuid4())
    for step, shown in zip(settings, ("14600", "10", "off"), strict=True):
        assert send(client, step, first, shown=shown) == 303
    assert board_line(client, db, clock).level == "good"
    db.execute("UPDATE meetings SET race_class_id = 2")
    line = board_line(client, db, clock)
    assert (line.level, line.word) == ("look", "check again")
    assert "Profile 2, Practice, in use with Invented open" in text(client, PAGE)
    assert "Planned Profile 2, Practice 18 000 rpm" in text(client, run)
    again = str(uuid4())
    clock.tick(600)
    for step, shown in zip(settings, ("18000", "4", "on"), strict=True):
        assert send(client, step, again, shown=shown) == 303
    walks = db.execute("SELECT profile_id FROM check_walks ORDER BY id").fetchall()
    assert [row[0] for row in walks] == [None, added]
    assert board_line(client, db, clock).level == "good"
    # What was read in that profile does not make the other one illegal.
    db.execute("UPDATE meetings SET race_class_id = 1")
    assert board_line(client, db, clock).level != "stop"


def test_one_that_goes_with_no_class_is_chosen_by_hand(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    added = second(db, settings)
    uuid = str(uuid4())
    for step, shown in zip(settings, ("14600", "10", "off"), strict=True):
        send(client, step, uuid, shown=shown)
    assert client.post_form(f"{PAGE}/profiles/{added}/use").status_code == 303
    assert board_line(client, db, clock).reason.startswith("Another profile is in use.")
    assert "18 000 rpm" in text(client, f"/checks/lists/{settings[0].checklist_id}/run")
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC LIMIT 1").fetchone()[0]
    profile_store.use(db, own(db), profile_store.profiles(db, own(db))[0], RACE_MORNING)
    assert not any(each.chosen for each in profile_store.profiles(db, own(db)))
    profile_store.use(db, own(db), profile_store.profile(db, own(db), added), RACE_MORNING)
    db.execute("UPDATE controller_profiles SET chosen = 0")
    client.post_form(f"{PAGE}/profiles/{added}/use")
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC LIMIT 1").fetchone()[0]
    client.post_form(f"/undo/{token}")
    assert not any(each.chosen for each in profile_store.profiles(db, own(db)))


def test_a_step_that_shows_another_profiles_value_says_which_it_looks_like(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    second(db, settings)
    uuid, (rev, drag, reverse) = str(uuid4()), settings
    answer = client.post_form(f"/checks/walks/{uuid}/steps/{drag.id}", {"shown": "4"})
    assert answer.status_code == 422
    assert "That looks like profile 2, Practice. Is it right?" in answer.get_data(as_text=True)
    assert db.execute("SELECT count(*) FROM check_answers").fetchone()[0] == 0
    assert send(client, drag, uuid, shown="4", sure="1") == 303
    assert send(client, rev, uuid, shown="18000", sure="1") == 303
    assert "Looks like profile 2, Practice." in text(client, f"/checks/walks/{uuid}")
    assert send(client, rev, uuid, shown="14600") == 303
    assert send(client, reverse, uuid, shown="off") == 303
    verdict = text(client, f"/checks/walks/{uuid}")
    assert "Drag brake Shows 4 %, planned 10 %. Looks like profile 2, Practice" in verdict
    # A reading that no other profile plans is not asked about.
    assert send(client, drag, str(uuid4()), shown="7") == 303


def test_names_classes_and_removal_are_kept_in_order(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    added = second(db, settings, race_class_id=2)
    first = {"name": "Stock", "race_class_id": "2", "version": str(own(db).version)}
    assert client.post_form(f"{PAGE}/profiles/0", first).status_code == 422
    first["race_class_id"] = "1"
    assert client.post_form(f"{PAGE}/profiles/0", first).status_code == 303
    stale = client.post_form(f"{PAGE}/profiles/0", first | {"name": "Other"})
    assert stale.status_code == 409
    assert profile_store.profiles(db, own(db))[0].title == "Profile 1, Stock"
    # Changing the controller leaves its profiles alone.
    edit = {"name": "Renamed", "version": str(own(db).version)}
    client.post_form(f"{PAGE}/edit", edit)
    assert (own(db).name, own(db).profile_name, own(db).profile_class_id) == ("Renamed", "Stock", 1)
    with pytest.raises(Refused):
        profile_store.remove(db, profile_store.profiles(db, own(db))[0], RACE_MORNING)
    client.post_form(f"{PAGE}/profiles/{added}/use")
    client.post_form(f"{PAGE}/profiles/{added}/remove")
    assert len(profile_store.profiles(db, own(db))) == 1
    with pytest.raises(NotThere):
        profile_store.profile(db, own(db), added)
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC LIMIT 1").fetchone()[0]
    undo.undo(db, token, RACE_MORNING)
    assert len(profile_store.profiles(db, own(db))) == 2
    assert planned(db, added)[:2] == ["18000", "4"]


@pytest.mark.parametrize("race_class_id", ["99", "x", "-1", "9" * 30])
def test_a_class_that_is_not_offered_is_refused(
    client: PageClient, settings: list[Step], race_class_id: str
) -> None:
    form = {"name": "", "race_class_id": race_class_id, "like": ""}
    assert client.post_form(f"{PAGE}/profiles/new", form).status_code == 422
    assert client.get(f"{PAGE}/profiles/77").status_code == 404


def test_profiles_travel_in_the_file_of_everything(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    added = second(db, settings, race_class_id=2)
    profile_store.use(db, own(db), profile_store.profile(db, own(db), added), RACE_MORNING)
    written = "".join(document.write(db, RACE_MORNING)).encode()
    assert json.loads(written)["tables"]["controller_profiles"][0]["name"] == "Practice"
    db.execute("DELETE FROM profile_plans")
    db.execute("DELETE FROM controller_profiles")
    contents = document.read(written)
    db.execute("BEGIN")
    document.take(db, contents)
    db.execute("COMMIT")
    contents.close()
    assert planned(db, added)[:2] == ["18000", "4"]
    assert profile_store.profile(db, own(db), added).chosen


def test_a_reset_under_one_profile_clears_what_was_read_under_all(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    second(db, settings)
    lists.save_defaults(db, {settings[1].id: "20"}, clock())
    first, practice = profile_store.profiles(db, own(db))

    def read(profile: Profile, step: Step, shown: str, scope: str = "") -> list[str]:
        """Begin with what a page takes as read; what the run-through holds then."""
        clock.tick(60)
        profile_store.use(db, own(db), profile, clock())
        uuid = str(uuid4())
        data = {"shown": shown, "sure": "1", "known": str(settings[1].id)}
        address = f"/checks/walks/{uuid}/steps/{step.id}{scope}"
        assert client.post_form(address, data).status_code == 303
        return [each.shown for each in checks.answers(db, checks.checklist_run(db, uuid).id)]

    assert read(practice, settings[1], "4") == ["4"]
    assert read(practice, settings[2], "off") == ["4", "off"]
    read(first, settings[1], "10", "?steps=reset")
    assert read(practice, settings[2], "off") == ["off"]
