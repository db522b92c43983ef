"""The calendar file, from the meeting to the phone's downloads."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page, expect

from e2e.pages.meetings import MeetingPage
from e2e.server import Live
from pitapp.demo import fill


def test_the_timetable_goes_into_the_phones_calendar(live: Live, page: Page) -> None:
    fill(live.app)
    screen = MeetingPage(page, live.url)
    page.goto(f"{live.url}/meetings")
    page.get_by_role("link", name="today").first.tap()
    page.get_by_role("link", name="Into your calendar").tap()
    expect(page.get_by_label("Ring before each start")).to_be_visible()
    screen.check_usable()
    page.get_by_label("Ring before each start").select_option(label="10 min")
    with page.expect_download() as download:
        page.get_by_role("button", name="Get the calendar file").tap()
    assert download.value.suggested_filename.endswith(".ics")
    text = Path(download.value.path()).read_bytes().decode()
    assert text.count("BEGIN:VEVENT") >= 5
    assert "TRIGGER:-PT10M" in text
    expect(page.get_by_role("heading", name="Into your calendar")).to_be_visible()
