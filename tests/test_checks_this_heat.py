"""Before a heat: what it takes to race comes first, what was read for it is not asked again, all can be skipped.

The rules are the room's own; the figures are made up.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest

from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Checklist, Controller, Step
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.db import to_db
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.runs import store as runs
from tests.runs_support import a_run
from tests.support import RACE_MORNING, Clock, PageClient

NEEDED = ["Rev limit", "Signal at switch-on", "Timing advance", "Advance and boost at zero",
          "Fail-safe stops the car"]  # fmt: skip
NAMES = [step.name for step in STARTING_LIST]


@pytest.fixture
def settings(db: sqlite3.Connection) -> list[Step]:
    """All settings of the controller in the only car, at a meeting whose heat starts in 40 minutes."""
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    car_id, _ = kit.save_car(db, car, RACE_MORNING)
    limited = RaceClass(name="Invented", rev_limit_rpm=14_600, timing_fixed=True)
    class_id, _ = meetings.save_class(db, limited, RACE_MORNING)
    meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=class_id)
    meeting_id, _ = meetings.save_meeting(db, meeting, RACE_MORNING)
    starts = RACE_MORNING + timedelta(minutes=40)
    db.execute(
        "INSERT INTO heats (meeting_id, number, kind, starts_at) VALUES (?, 1, 'heat', ?)",
        (meeting_id, to_db(starts)),
    )
    new_id, _ = controllers.add(
        db, Controller(name="Invented"), STARTING_LIST, car_id, RACE_MORNING
    )
    return lists.steps(db, lists.settings_list(db, new_id).id)


class Walker:
    """A racer who goes where a page's first form leads, and taps its buttons."""

    def __init__(self, client: PageClient) -> None:
        self.client, self.page, self.address = client, "", ""

    def open(self, address: str) -> Walker:
        answer = self.client.get(address, follow_redirects=True)
        assert answer.status_code == 200, address
        self.page, self.address = answer.get_data(as_text=True), answer.request.full_path
        return self

    @property
    def step(self) -> str:
        """The name of the step on the screen; empty at the verdict."""
        title = re.search(r'id="step-title"[^>]*>([^<]*)<', self.page)
        return unescape(title[1]) if title else ""

    def tap(self, **button: str) -> Walker:
        form = re.search(r'<form [^>]*class="walk".*?</form>', self.page, re.S)
        assert form
        action = unescape(re.search(r'action="([^"]*)"', form[0])[1])  # type: ignore[index]
        hidden = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)"', form[0])
        fields = {name: unescape(value) for name, value in hidden if name != "csrf_token"}
        answer = self.client.post_form(action, fields | button, follow_redirects=True)
        assert answer.status_code == 200, answer.get_data(as_text=True)
        self.page = answer.get_data(as_text=True)
        return self

    def answer(self) -> Walker:
        """Answer the step: what the class allows, a choice that is offered, or a yes."""
        choice = re.search(r'class="options">\s*<button name="shown" value="([^"]*)"', self.page)
        number = "5" if 'inputmode="decimal"' in self.page else "yes"
        return self.tap(shown=ALLOWED.get(self.step) or (choice[1] if choice else number))

    def read(self) -> list[str]:
        """Answer step by step until the verdict; the names of the steps."""
        names = []
        while name := self.step:
            names.append(name)
            self.answer()
        return names


ALLOWED = {"Rev limit": "14600", "Timing advance": "0"}


def test_with_a_heat_near_what_it_takes_to_race_comes_first_and_the_rest_is_one_tap_away(
    client: PageClient, settings: list[Step], db: sqlite3.Connection
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    racer = Walker(client).open(f"{run}?steps=legal")
    assert racer.read() == NEEDED
    assert "Go on with the other 19" in racer.page
    # What was answered for this heat is not asked again, and all can be asked again.
    rest = Walker(client).open(run)
    assert (rest.step, "5 of 24" in rest.page) == ("Throttle response", True)
    assert "Ask all" in rest.page
    assert Walker(client).open(f"{run}?anew=1").step == "Rev limit"
    taken = [name for name in NAMES if name not in NEEDED]
    assert rest.read() == taken
    read = db.execute(
        "SELECT count(*), sum(skipped) FROM check_answers WHERE walk_id = 2"
    ).fetchone()
    assert tuple(read) == (24, 0)


def test_the_board_and_checks_lead_there_within_the_hour(
    client: PageClient, settings: list[Step], clock: Clock
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    clock.tick(-3600)
    assert f'href="{run}"' in client.get("/checks").get_data(as_text=True)
    assert f'href="{run}?steps=legal"' not in client.get("/").get_data(as_text=True)
    clock.tick(3600)
    assert f'href="{run}?steps=legal"' in client.get("/").get_data(as_text=True)
    assert "Needed to race (5)" in client.get("/checks").get_data(as_text=True)
    Walker(client).open(f"{run}?steps=legal").read()
    assert f'href="{run}?steps=legal"' not in client.get("/").get_data(as_text=True)


def test_what_was_read_for_a_heat_is_asked_again_after_the_car_was_out(
    client: PageClient, settings: list[Step], db: sqlite3.Connection, clock: Clock
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    Walker(client).open(f"{run}?steps=legal").read()
    clock.tick(3600)
    car_id = kit.cars(db)[0].id
    runs.save_run(
        db, a_run(car_id=car_id, track_id=None, started_at=clock() - timedelta(minutes=10)), clock()
    )
    assert Walker(client).open(run).step == "Rev limit"


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE controllers SET firmware = '2.0'",
        "UPDATE race_classes SET rev_limit_rpm = 14000",
        "UPDATE check_steps SET planned = '14500' WHERE topic = 'rev_limit'",
    ],
)
def test_what_changed_since_is_asked_again(
    client: PageClient, settings: list[Step], db: sqlite3.Connection, change: str
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    Walker(client).open(f"{run}?steps=legal").read()
    assert Walker(client).open(run).step == "Throttle response"
    assert db.execute(change).rowcount == 1
    assert Walker(client).open(run).step == "Rev limit"


def test_every_step_can_be_skipped_and_is_noted_as_skipped(
    client: PageClient, settings: list[Step], db: sqlite3.Connection
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    racer = Walker(client).open(run)
    for name in NAMES:
        assert racer.step == name
        assert re.search(r'name="skip" value="1"', racer.page), name
        racer.tap(skip="1")
    assert "Legal not proven" in racer.page
    assert (
        db.execute("SELECT count(*) FROM check_answers WHERE skipped AND shown = ''").fetchone()[0]
        == 24
    )
    # Skipped is not answered: it is asked again, and the Board says so.
    assert Walker(client).open(run).step == "Rev limit"
    assert "not all read" in client.get("/").get_data(as_text=True)


def test_needed_and_skipped_is_not_ready(
    client: PageClient, settings: list[Step], db: sqlite3.Connection
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run?steps=legal"
    racer = Walker(client).open(run)
    while racer.step != NEEDED[-1]:
        racer.answer()
    racer.tap(skip="1")
    assert "Fail-safe stops the car was skipped." in client.get("/").get_data(as_text=True)
    again = Walker(client).open(run)
    assert again.read() == [NEEDED[-1]]
    assert "not all read" not in client.get("/").get_data(as_text=True)


def test_a_whole_group_is_left_out_at_one_tap(
    client: PageClient, settings: list[Step], db: sqlite3.Connection
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    racer = Walker(client).open(run)
    for _ in range(4):
        racer.answer()
    assert racer.step == "Throttle response"
    racer.tap(shown="5")
    assert 'value="group"' in racer.page
    racer.tap(skip="group")
    assert racer.step == "Drag brake"
    stored = dict(
        db.execute(
            "SELECT name, skipped FROM check_answers JOIN check_steps ON check_steps.id = step_id "
            "WHERE group_name = 'drive'"
        ).fetchall()
    )
    assert stored == {name: int(name != "Throttle response") for name in NAMES[4:9]}
    # The last of a group has none after it.
    for _ in range(3):
        racer.tap(skip="1")
    assert racer.step == "Brake frequency"
    assert 'value="group"' not in racer.page


def test_a_list_for_a_heat_that_was_left_half_way_begins_anew_after_it(
    client: PageClient, settings: list[Step], db: sqlite3.Connection, clock: Clock
) -> None:
    grid = [Step(name="Body pins in"), Step(name="Transponder on")]
    list_id, _ = lists.add_checklist(db, Checklist(name="Grid", occasion="heat"), grid, clock())
    run = f"/checks/lists/{list_id}/run"
    Walker(client).open(run).tap(take="1", expected="done")
    assert Walker(client).open(run).step == "Transponder on"
    clock.tick(3600)
    car_id = kit.cars(db)[0].id
    runs.save_run(
        db, a_run(car_id=car_id, track_id=None, started_at=clock() - timedelta(minutes=10)), clock()
    )
    assert Walker(client).open(run).step == "Body pins in"


def test_a_post_without_what_the_page_showed_begins_with_nothing_answered(
    client: PageClient, settings: list[Step], db: sqlite3.Connection
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    Walker(client).open(f"{run}?steps=legal").read()
    uuid, step = uuid4(), settings[9]
    answer = client.post_form(f"/checks/walks/{uuid}/steps/{step.id}", {"shown": "10"})
    assert answer.status_code == 303
    assert db.execute("SELECT count(*) FROM check_answers WHERE walk_id = 2").fetchone()[0] == 1
    # Nor is anything taken over that was not read.
    other = {"shown": "10", "known": f"{settings[5].id} x 99999999999999999999"}
    assert client.post_form(f"/checks/walks/{uuid4()}/steps/{step.id}", other).status_code == 303
    assert db.execute("SELECT count(*) FROM check_answers WHERE walk_id = 3").fetchone()[0] == 1


# --- what counts as driven ---------------------------------------------------------------------


def log_run(client: PageClient, **more: str) -> None:
    assert client.post_form("/runs/new", {"car_id": "1", "pack_id": ""} | more).status_code == 303


def done_without_a_run(client: PageClient, db: sqlite3.Connection, clock: Clock) -> None:
    clock.tick(46 * 60)
    meetings.finish_heat(db, 1, clock())
    clock.tick(20 * 60)


def overdue(client: PageClient, db: sqlite3.Connection, clock: Clock) -> None:
    clock.tick(56 * 60)


def logged_with_the_time_of_its_heat_which_was_late(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    """Read at 09:00, heat 1 moved up to 08:55, driven at 09:08 and logged at 09:13."""
    db.execute("UPDATE heats SET starts_at = ?", (to_db(RACE_MORNING - timedelta(minutes=5)),))
    clock.tick(13 * 60)
    log_run(client, heat_id="1", run_s="300")


def logged_before_its_time(client: PageClient, db: sqlite3.Connection, clock: Clock) -> None:
    clock.tick(35 * 60)
    log_run(client, heat_id="1", run_s="300")
    assert runs.runs(db)[0].started_at > clock()


@pytest.mark.parametrize(
    "pass_heat_1",
    [
        done_without_a_run,
        overdue,
        logged_with_the_time_of_its_heat_which_was_late,
        logged_before_its_time,
    ],
)
def test_after_heat_1_all_is_asked_for_heat_2(
    client: PageClient,
    settings: list[Step],
    db: sqlite3.Connection,
    clock: Clock,
    pass_heat_1: Callable[[PageClient, sqlite3.Connection, Clock], None],
) -> None:
    grid = [Step(name=name) for name in ("Body pins in", "Wheel nuts tight", "Transponder on")]
    list_id, _ = lists.add_checklist(db, Checklist(name="Grid", occasion="heat"), grid, clock())
    Walker(client).open(f"/checks/lists/{list_id}/run").tap(take="1", expected="done")
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    Walker(client).open(f"{run}?steps=legal").read()
    assert Walker(client).open(run).step == "Throttle response"
    assert Walker(client).open(f"/checks/lists/{list_id}/run").step == "Wheel nuts tight"
    pass_heat_1(client, db, clock)
    assert Walker(client).open(run).step == "Rev limit"
    assert Walker(client).open(f"/checks/lists/{list_id}/run").step == "Body pins in"


def test_what_was_read_after_a_run_stands_though_it_is_logged_later(
    client: PageClient, settings: list[Step], db: sqlite3.Connection, clock: Clock
) -> None:
    clock.tick(46 * 60)
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    Walker(client).open(f"{run}?steps=legal").read()
    clock.tick(4 * 60)
    log_run(client, heat_id="1", run_s="300")
    assert Walker(client).open(run).step == "Throttle response"


def test_a_heat_that_another_car_drove_is_not_this_cars(
    client: PageClient, settings: list[Step], db: sqlite3.Connection, clock: Clock
) -> None:
    other, _ = kit.save_car(
        db, kit.cars(db)[0].model_copy(update={"id": 0, "name": "Other"}), RACE_MORNING
    )
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    Walker(client).open(f"{run}?steps=legal").read()
    clock.tick(46 * 60)
    log_run(client, car_id=str(other), heat_id="1")
    assert Walker(client).open(run).step == "Throttle response"


def test_the_list_for_after_a_heat_is_not_lost_when_its_run_is_logged(
    client: PageClient, settings: list[Step], db: sqlite3.Connection, clock: Clock
) -> None:
    (own,) = [each for each in lists.checklists(db) if each.occasion == "after"]
    run = f"/checks/lists/{own.id}/run"
    racer = Walker(client).open(run)
    steps = [each.name for each in lists.steps(db, own.id)]
    for _ in range(2):
        racer.tap(shown="20")
    assert racer.step == steps[2]
    clock.tick(120)
    log_run(client)
    assert Walker(client).open(run).step == steps[2]
    assert "Left half-way" in client.get("/checks").get_data(as_text=True)
    clock.tick(40 * 60)
    log_run(client)
    assert Walker(client).open(run).step != steps[2]


def test_ask_all_is_offered_where_it_asks_more(
    client: PageClient, settings: list[Step], db: sqlite3.Connection
) -> None:
    (own,) = [each for each in lists.checklists(db) if each.occasion == "after"]
    log_run(client, can_c="60", read_after_s="20")
    page = Walker(client).open(f"/checks/lists/{own.id}/run").page
    assert 'name="known"' in page
    assert "Ask all" not in page


# --- what is not legal stays so ------------------------------------------------------------------


@pytest.mark.parametrize("skip", ["1", "group"])
def test_what_is_kept_outside_the_class_is_not_skipped_away(
    client: PageClient, settings: list[Step], db: sqlite3.Connection, skip: str
) -> None:
    racer = Walker(client).open(f"/checks/lists/{settings[0].checklist_id}/run")
    racer.tap(shown="15000")
    racer.tap(stand="1", reason="No cable with me")
    assert racer.step == NEEDED[1]
    (address,) = re.findall(r'class="button" href="([^"]*/steps/[^"]*)">Back', racer.page)
    assert 'name="skip"' not in racer.open(unescape(address)).page
    assert client.post_form(unescape(address), {"skip": skip}).status_code == 422
    assert tuple(db.execute("SELECT shown, skipped, reason FROM check_answers").fetchone()) == (
        "15000",
        0,
        "No cable with me",
    )
    # What was read anew inside the class may be left out again.
    racer.tap(shown="14600")
    assert client.post_form(unescape(address), {"skip": "1"}).status_code == 303
