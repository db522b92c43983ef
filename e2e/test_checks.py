"""The controller before a race: read off step by step, judged, and due again when the plan changes."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.pages.board import Board
from e2e.pages.checks import Card, Checks, NewController, Plan, RunThrough
from e2e.server import Live
from e2e.watch import Watch
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.db.connect import connect
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass

NAMES = [step.name for step in STARTING_LIST]
PLAN = {
    "Rev limit": "14600",
    "Signal at switch-on": "yes",
    "Timing advance": "0",
    "Advance and boost at zero": "yes",
    "Throttle response": "5",
    "Response at small throttle": "4",
    "Drive frequency": "8",
    "Motor direction": "as wired",
    "Reverse": "off",
    "Drag brake": "10",
    "Where braking starts": "4",
    "Brake strength": "80",
    "Brake frequency": "2",
    "Cut-off per cell": "3,2",
    "Cut-off for the pack": "6,4",
    "Heat protection of the controller": "100",
    "Heat protection of the motor": "90",
    "Fan turns, nothing in its way": "yes",
    "Sensor lead seated, not chafed": "yes",
    "Capacitor firm and not swollen": "yes",
    "Supply voltage for the servo": "6",
    "Deadband": "3",
    "Trim and end points": "yes",
    "Fail-safe stops the car": "yes",
}
SIGNAL = "Lamp: long, short, short, long (invented)"


@pytest.fixture
def controller(live: Live, page: Page) -> Page:
    """A meeting today in a class with limits, and a controller with every setting planned."""
    with closing(connect(live.database)) as db:
        motor = Motor(name="Invented motor", kv_rpm_per_v=2380)
        motor_id, _ = kit.save_motor(db, motor, live.clock())
        car = Car(
            name="Invented TC",
            internal_ratio=1.9,
            pitch="dp:64",
            tyre_diameter_mm=63,
            motor_id=motor_id,
        )
        car_id, _ = kit.save_car(db, car, live.clock())
        race_class = RaceClass(
            name="Invented class",
            rev_limit_rpm=14_600,
            timing_fixed=True,
            timing_deg=41,
            timing_tolerance_deg=2,
            least_mass_g=1350,
            most_start_v=8.40,
        )
        class_id, _ = meetings.save_class(db, race_class, live.clock())
        meeting = Meeting(
            day=live.clock().date(), time_zone="UTC", race_class_id=class_id, car_id=car_id
        )
        meetings.save_meeting(db, meeting, live.clock())
    NewController(page, live.url).open().add("Invented controller", "1.0", SIGNAL)
    Screen(page, live.url).press("Plan them all")
    Plan(page, live.url).write(PLAN)
    expect(page.get_by_text("Saved the plan")).to_be_visible()
    return page


def answers(live: Live, walk: int) -> dict[str, tuple[str, str]]:
    """What stands in the database for a run-through: the reading and the reason, by the step."""
    with closing(sqlite3.connect(live.database)) as db:
        return {
            name: (shown, reason)
            for name, shown, reason in db.execute(
                "SELECT name, shown, reason FROM check_answers "
                "JOIN check_steps ON check_steps.id = step_id WHERE walk_id = ?",
                (walk,),
            )
        }


@pytest.mark.every_engine
def test_a_mismatch_and_an_illegal_value_left_half_way_and_taken_up_again(
    controller: Page, live: Live, watch: Watch
) -> None:
    assert list(PLAN) == NAMES
    watch.allow("status of 422")
    run = Checks(controller, live.url).open().run_through()
    run.expect_step("Rev limit", "1 of 24")
    run.enter(16_000)
    expect(run.stop()).to_contain_text("Shows 16 000 rpm, class limit at most 14 600 rpm")
    run.check_usable()
    run.let_stand("ok")
    expect(run.page.locator("#reason-error")).to_contain_text("Say why, in two words")
    expect(run.title()).to_have_text("Rev limit")
    run.let_stand("The official lent me this one")
    for place, name in enumerate(NAMES[1:12], start=2):
        run.expect_step(name, f"{place} of 24")
        if name == "Drag brake":
            run.enter("5")
        else:
            run.confirm()
    run.expect_step(NAMES[12], "13 of 24")

    board = Board(controller, live.url).open()
    expect(board.line("Controller")).to_contain_text("shows 16\u202f000 rpm, limit 14\u202f600 rpm")
    assert board.line("Controller").get_attribute("class") == "verdict verdict-stop"
    live.clock.tick(600)
    run = Checks(controller, live.url).open().run_through()
    for place, name in enumerate(NAMES[12:], start=13):
        run.expect_step(name, f"{place} of 24")
        run.confirm()

    expect(run.verdict()).to_contain_text("Not legal")
    expect(run.findings("Outside the class")).to_contain_text("The official lent me this one")
    expect(run.findings("Planned but different").get_by_role("listitem")).to_have_text(
        ["Drag brakeShows 5 %, planned 10 %"]
    )
    run.check_usable()
    kept = answers(live, 1)
    assert set(kept) == set(NAMES)
    assert kept["Rev limit"] == ("16000", "The official lent me this one")
    assert kept["Drag brake"] == ("5", "")
    assert kept["Cut-off per cell"] == ("3.2", "")
    with closing(sqlite3.connect(live.database)) as db:
        assert db.execute("SELECT count(*), count(ended_at) FROM check_walks").fetchone() == (1, 1)
    expect(Board(controller, live.url).open().line("Controller")).to_contain_text("not legal")


def test_one_tap_a_setting_then_a_changed_plan_makes_it_due(controller: Page, live: Live) -> None:
    run = Checks(controller, live.url).open().run_through()
    for place, name in enumerate(NAMES, start=1):
        run.expect_step(name, f"{place} of 24")
        run.confirm()
    expect(run.verdict()).to_contain_text("Legal")
    board = Board(controller, live.url).open()
    expect(board.line("Controller")).to_contain_text("Legal, as planned")

    card = Card(controller, live.url).open()
    assert card.value("card-rev_limit") == 14_600
    expect(controller.get_by_text(SIGNAL)).to_be_visible()
    last = controller.locator(".card-lines").first.locator("li").last
    foot = controller.locator(".foot")
    assert controller.locator(".card-lines").first.locator("li").count() == 6
    lowest, edge = last.bounding_box(), foot.bounding_box()
    assert lowest
    assert edge
    assert lowest["y"] + lowest["height"] <= edge["y"]

    Checks(controller, live.url).open().press("Controller settings and plan Invented controller")
    Screen(controller, live.url).press("Drag brake 10 %")
    controller.get_by_label("Planned").fill("15")
    Screen(controller, live.url).press("Save")
    expect(controller.get_by_text("Saved Drag brake")).to_be_visible()
    line = Board(controller, live.url).open().line("Controller")
    expect(line).to_contain_text("The plan of Drag brake changed.")
    line.tap()
    RunThrough(controller, live.url).expect_step("Drag brake", "10 of 24")


def test_the_last_reading_tapped_in_at_a_step_is_judged(
    controller: Page, live: Live, watch: Watch
) -> None:
    watch.allow("status of 422")
    run = Checks(controller, live.url).open().run_through()
    run.expect_step("Rev limit", "1 of 24")
    run.slow_down()
    run.confirm()
    run.enter(16_000)
    expect(run.stop()).to_contain_text("Shows 16 000 rpm")
    controller.wait_for_timeout(1500)
    expect(run.title()).to_have_text("Rev limit")
    assert answers(live, 1)["Rev limit"][0] == "16000"


def test_a_step_tapped_twice_leaves_what_is_typed_at_the_next(controller: Page, live: Live) -> None:
    run = Checks(controller, live.url).open().run_through()
    for place, name in enumerate(NAMES[:3], start=1):
        run.expect_step(name, f"{place} of 24")
        run.confirm()
    run.expect_step("Advance and boost at zero", "4 of 24")
    run.slow_down()
    run.tap_twice(controller.locator("button[name=take]"))
    run.expect_step("Throttle response", "5 of 24")
    shown = controller.locator("#shown")
    shown.fill("6")
    controller.wait_for_timeout(1500)
    run.expect_step("Throttle response", "5 of 24")
    expect(shown).to_have_value("6")


def test_every_screen_is_usable(controller: Page, live: Live) -> None:
    for path in (
        "/checks",
        "/checks/card",
        "/checks/controllers",
        "/checks/controllers/1",
        "/checks/controllers/1/edit",
        "/checks/lists/4/run",
        "/checks/lists/6",
        "/checks/lists/6/plan",
        "/checks/lists/6/run",
        "/checks/lists/steps/43",
        "/checks/lists/6/past",
    ):
        screen = Screen(controller, live.url)
        controller.goto(live.url + path)
        screen.check_usable()
