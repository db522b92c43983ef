"""The Board's countdown: by the phone's own clock, with no server, in any time zone."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from e2e.pages.board import Board
from e2e.pages.meetings import HeatPage, MeetingPage, Meetings, NewClass, NewMeeting
from e2e.server import Live
from e2e.watch import Watch
from pitapp.db.connect import connect
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store
from pitapp.meetings.formulas import even_starts, with_marshalling
from pitapp.meetings.models import Meeting

CAR = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)


def begin(live: Live, zone: str = "UTC") -> None:
    """A meeting with two heats, the first in half an hour, each followed by marshalling."""
    db, now = connect(live.database), live.clock()
    car_id, _ = kit.save_car(db, CAR, now)
    gearing.fit(db, kit.car(db, car_id), 40, 80, now)
    entries = with_marshalling(even_starts(now + timedelta(minutes=30), 40, 2), "heat", 8)
    store.save_meeting(db, Meeting(day=now.date(), time_zone=zone, car_id=car_id), now, entries)
    db.close()


@pytest.fixture
def on_the_day(live: Live, page: Page) -> Page:
    """A page whose clock stands at the server's time until the test moves it."""
    page.clock.set_fixed_time(live.clock())
    return page


def test_it_counts_down_by_the_second(live: Live, on_the_day: Page) -> None:
    begin(live)
    board = Board(on_the_day, live.url).open()
    expect(board.countdown()).to_have_text("30:00")
    on_the_day.clock.set_fixed_time(live.clock() + timedelta(seconds=61))
    expect(board.countdown()).to_have_text("28:59")
    board.check_usable()


def test_a_long_wait_stays_on_the_screen(live: Live, on_the_day: Page) -> None:
    begin(live)
    on_the_day.clock.set_fixed_time(live.clock() + timedelta(days=193))
    board = Board(on_the_day, live.url).open()
    expect(board.countdown()).to_have_text("192 days ago")
    board.check_usable()


def test_it_counts_down_with_no_server(
    live: Live, on_the_day: Page, context: BrowserContext, watch: Watch
) -> None:
    begin(live)
    board = Board(on_the_day, live.url).open()
    on_the_day.wait_for_load_state("networkidle")
    watch.allow("ERR_INTERNET_DISCONNECTED", "Failed to fetch")
    context.set_offline(True)
    on_the_day.clock.set_fixed_time(live.clock() + timedelta(minutes=29))
    expect(board.countdown()).to_have_text("1:00")
    on_the_day.clock.set_fixed_time(live.clock() + timedelta(minutes=32))
    expect(board.countdown()).to_have_text("6:00")
    expect(on_the_day.locator("time")).to_have_text("09:38")  # marshalling
    expect(board.due()).to_have_text("Log the run of Heat 1")
    on_the_day.clock.set_fixed_time(live.clock() + timedelta(minutes=48))
    expect(board.countdown()).to_have_text("22:00")
    expect(on_the_day.locator(".countdown-label")).to_have_text("Heat 2 at 10:10")


def test_at_the_start_the_large_button_turns_to_the_log(live: Live, on_the_day: Page) -> None:
    begin(live)
    live.clock.tick(26 * 60)
    on_the_day.clock.set_fixed_time(live.clock())
    board = Board(on_the_day, live.url).open()
    expect(board.countdown()).to_have_text("4:00")
    expect(board.due()).to_have_text("Go: Heat 1")
    board.due().tap()
    heat = HeatPage(on_the_day, live.url)
    expect(heat.countdown()).to_have_text("4:00")
    heat.check_usable()
    board.open()
    live.clock.tick(4 * 60)
    on_the_day.clock.set_fixed_time(live.clock())
    expect(board.due()).to_have_text("Log the run of Heat 1")
    expect(board.countdown()).to_have_text("8:00")  # marshalling follows by eight minutes


def test_late_by_five_minutes_moves_the_rest_and_stays_on_the_board(
    live: Live, on_the_day: Page
) -> None:
    begin(live)
    board = Board(on_the_day, live.url).open()
    board.later("Heat 1")
    expect(board.countdown()).to_have_text("35:00")
    expect(on_the_day).to_have_url(live.url + "/")
    board.press("Undo")
    expect(board.countdown()).to_have_text("30:00")


def phone_in(zone: str) -> Any:
    return pytest.param(zone, marks=pytest.mark.browser_context_args(timezone_id=zone))


@pytest.mark.parametrize("zone", [phone_in("Asia/Tokyo"), phone_in("America/New_York")])
def test_a_phone_in_another_time_zone(live: Live, on_the_day: Page, zone: str) -> None:
    begin(live, "Europe/Lisbon")
    board = Board(on_the_day, live.url).open()
    shown = "() => Intl.DateTimeFormat().resolvedOptions().timeZone"
    assert on_the_day.evaluate(shown) == zone
    expect(board.countdown()).to_have_text("30:00")
    # Half past nine in Greenwich is half past ten in Lisbon in May (Directive 2000/84/EC).
    expect(on_the_day.locator("time")).to_have_text("10:30")


@pytest.mark.every_engine
def test_a_meeting_is_entered_in_one_form(live: Live, page: Page) -> None:
    NewClass(page, live.url).open().add("Invented spec", rev_limit_rpm="14 600", run_length_s=5)
    form = NewMeeting(page, live.url).open()
    form.check_usable()
    form.enter("2026-05-16", "930", 40, 3, marshal_after_min=8)
    meeting = MeetingPage(page, live.url)
    expect(meeting.entries()).to_have_text(
        [
            "09:30 Heat 1",
            "09:38 Marshal 1",
            "10:10 Heat 2",
            "10:18 Marshal 2",
            "10:50 Heat 3",
            "10:58 Marshal 3",
        ]
    )
    meeting.check_usable()


def test_the_other_screens_can_be_used_by_everybody(live: Live, page: Page) -> None:
    begin(live)
    new_class = NewClass(page, live.url).open()
    new_class.check_usable()
    new_class.press("Save")
    new_class.check_usable()
    Meetings(page, live.url).open().check_usable()
    for path in ("/meetings/1/heats", "/meetings/1/edit", "/meetings/classes"):
        page.goto(live.url + path)
        Meetings(page, live.url).check_usable()
