"""The day's charge plan in one hand, and every screen of the packs in every look."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.pages.board import Board
from e2e.pages.packs import Packs, Plan
from e2e.server import Live
from e2e.test_packs import database, run_charge
from e2e.watch import Watch
from pitapp.kit import store as kit
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting
from pitapp.packs import store
from pitapp.packs.models import Reading
from tests.packs_walk import add_pack
from tests.support import RACE_MORNING
from tests.test_packs_late import CAR


def race_day(live: Live, *minutes: int) -> None:
    """A meeting with heats so many minutes after nine o'clock."""
    item = Meeting(day=RACE_MORNING.date(), time_zone="UTC", name="Invented round")
    entries = [Entry("heat", RACE_MORNING + timedelta(minutes=each)) for each in minutes]
    meetings.save_meeting(database(live), item, RACE_MORNING, entries)


def at_rest(live: Live, mark: str, cell_v: float) -> int:
    """A pack that rests at that voltage."""
    pack_id = add_pack(database(live), mark=mark)
    reading = Reading(pack_id=pack_id, read_at=RACE_MORNING, cell_v=(cell_v, cell_v))
    store.add_reading(database(live), reading, RACE_MORNING)
    return pack_id


@pytest.mark.alone
@pytest.mark.every_engine
def test_a_plan_is_made_and_made_again_when_the_day_runs_late(live: Live, page: Page) -> None:
    at_rest(live, "A", 3.83)
    race_day(live, 90, 180)
    plan = Plan(page, live.url).open()
    plan.press("Write down the charger")
    for label, typed in (
        ("Outputs", "1"),
        ("Amps at most, each output", "10"),
        ("Watts at most, each output", "150"),
    ):
        plan.fill(label, typed)
    plan.unfold("A run takes, cooling, times")
    plan.fill("A run takes about", "3000")
    plan.watchers("Somebody does")
    plan.press("Save and plan")
    expect(page.locator(".timeline")).to_contain_text("Heat 1: pack A")
    first, second = plan.rows(), ["10:30 Heat 1: pack A", "12:00 Heat 2: pack A"]
    assert [row[: len(second[0])] for row in first if "Heat" in row] == second
    plan.check_usable()
    page.get_by_role("button", name="+15").tap()
    expect(page.get_by_text("Planned 15 min later")).to_be_visible()
    assert [row[:5] for row in plan.rows() if "Heat" in row] == ["10:45", "12:15"]
    expect(page.get_by_text("out of date")).to_have_count(0)


def test_two_figures_make_a_first_plan_and_one_tap_on_the_board_the_next(
    live: Live, page: Page
) -> None:
    at_rest(live, "A", 3.83)
    race_day(live, 90, 180)
    kit.save_car(database(live), CAR, RACE_MORNING)
    plan = Plan(page, live.url).open()
    plan.press("Write down the charger")
    plan.fill("Amps at most, each output", "10")
    plan.fill("Watts at most, each output", "150")
    plan.watchers("Somebody does")
    plan.press("Save and plan")
    expect(page.locator(".timeline")).to_contain_text("10:30 Heat 1: pack A")
    first = meetings.heats(database(live), 1)[0]
    later = timedelta(minutes=10)
    meetings.shift_heats(database(live), first, later, following=True, now=RACE_MORNING)
    board = Board(page, live.url).open()
    expect(page.get_by_text("Charge plan: out of date")).to_be_visible()
    board.check_usable()
    board.press("Plan the charges again")
    expect(page.locator(".timeline")).to_contain_text("10:40 Heat 1: pack A")
    board.open()
    expect(page.get_by_text("Charge plan: out of date")).to_have_count(0)


def test_a_second_charger_is_written_down_and_nobody_watches(
    live: Live, page: Page, watch: Watch
) -> None:
    """Two packs for heats ten minutes apart: one charger has time for one, two for both."""
    watch.allow("status of 422")
    for mark in "AB":
        at_rest(live, mark, 3.7)
    race_day(live, 90, 100)
    plan = Plan(page, live.url).open()
    plan.press("Write down the charger")
    for label, typed in (
        ("Outputs", "1"),
        ("Amps at most, each output", "10"),
        ("Watts at most, each output", "150"),
    ):
        plan.fill(label, typed)
    plan.unfold("A run takes, cooling, times")
    plan.fill("A run takes about", "3000")
    plan.press("Save and plan")
    expect(page.get_by_text("Say who watches: somebody, or nobody.")).to_be_visible()
    plan.check_usable()
    plan.watchers("Nobody")
    plan.press("Save and plan")
    expect(page.get_by_text("has no full pack")).to_have_count(1)
    expect(page.get_by_role("heading", name="What would help")).to_be_visible()
    expect(page.get_by_text("Nobody watches:")).to_be_visible()
    plan.check_usable()
    page.get_by_role("link", name="Charger and limits").tap()
    page.get_by_role("link", name="Add another charger").tap()
    for label, typed in (
        ("Outputs", "1"),
        ("Amps at most, each output", "8"),
        ("Watts at most, each output", "100"),
    ):
        plan.fill(label, typed)
    plan.check_usable()
    plan.press("Save")
    expect(page.get_by_text("out of date")).to_be_visible()
    plan.press("Plan again")
    expect(page.get_by_text("has no full pack")).to_have_count(0)
    assert [row[6:] for row in plan.rows() if "Heat" in row] == [
        "Heat 1: pack A full",
        "Heat 2: pack B full",
    ]
    expect(page.locator(".timeline")).to_contain_text("Second charger")
    plan.check_usable()


def test_a_conflict_is_told_in_words(live: Live, page: Page) -> None:
    pack_id = at_rest(live, "A", 4.2)
    race_day(live, 20, 60)
    plan = Plan(page, live.url).open()
    plan.press("Write down the charger")
    for label, typed in (
        ("Outputs", "1"),
        ("Amps at most, each output", "10"),
        ("Watts at most, each output", "150"),
    ):
        plan.fill(label, typed)
    plan.unfold("A run takes, cooling, times")
    plan.fill("A run takes about", "1800")
    plan.watchers("Somebody does")
    plan.press("Save and plan")
    expect(page.get_by_text("Heat 2 has no full pack")).to_be_visible()
    # 70 % of the pack is left: 3.909 V by the published table (Ai et al., 2020).
    expect(page.get_by_text("run A as it is, about 3.91 V/cell")).to_be_visible()
    plan.check_usable()
    store.set_condition(database(live), pack_id, "damaged", "swollen", RACE_MORNING)
    plan.open()
    expect(page.get_by_text("out of date")).to_be_visible()
    plan.press("Plan again")
    expect(page.get_by_text("Heat 1 has no full pack: no pack is free for it.")).to_be_visible()
    expect(page.get_by_text("Not planned with: A (damaged).")).to_be_visible()


@pytest.mark.parametrize("theme", ["light", "dark", "glare"])
def test_every_screen_is_usable(live: Live, page: Page, watch: Watch, theme: str) -> None:
    watch.allow("status of 4")
    page.context.add_cookies([{"name": "pitapp_theme", "value": theme, "url": live.url}])
    for empty in (Packs, Plan):
        empty(page, live.url).open().check_usable()
    pack_id, uuid = run_charge(database(live), 40)
    other = at_rest(live, "B with quite a long mark on it", 4.1)
    store.set_condition(database(live), add_pack(database(live)), "damaged", "", RACE_MORNING)
    for path in (
        "/packs",
        "/packs/new",
        f"/packs/{pack_id}",
        f"/packs/{other}/edit",
        f"/packs/{other}/history",
        f"/packs/{other}/reading",
        f"/packs/{other}/condition",
        f"/packs/{other}/trouble",
        f"/packs/{other}/store",
        f"/packs/{other}/charge",
        f"/packs/charges/{uuid}",
        f"/packs/sums?pack={other}",
        "/packs/emergency",
    ):
        page.goto(live.url + path)
        Screen(page, live.url).check_usable()
