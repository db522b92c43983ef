"""Results: points, a season with a drop score, and two meetings counted, all typed on the phone."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.server import Live
from pitapp.db.connect import connect
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting


class Seasons(Screen):
    path = "/meetings/seasons"


def test_a_season_of_three_rounds_with_one_drop_score(live: Live, page: Page) -> None:
    db = connect(live.database)
    ids = [
        meetings.save_meeting(
            db,
            Meeting(day=f"2026-0{month}-03", time_zone="UTC", name=f"Round {month}"),
            live.clock(),
        )[0]
        for month in (2, 3, 4)
    ]
    db.close()
    screen = Seasons(page, live.url).open()
    screen.check_usable()
    screen.press("Add a points table")
    screen.fill("Name", "Club points")
    screen.fill("Points from first place on", "10 8 6 5 4")
    screen.check_usable()
    screen.press("Save")
    expect(page.get_by_role("link", name="Club points")).to_be_visible()
    screen.press("Add a season")
    screen.fill("Name", "Winter")
    page.get_by_label("Points for a round").select_option(label="Club points")
    page.get_by_label("Drop scores").fill("1")
    screen.press("Save")
    expect(page.get_by_role("heading", name="Winter")).to_be_visible()
    for meeting_id, place in zip(ids, (2, 5, 1), strict=True):
        page.goto(f"{live.url}/meetings/{meeting_id}/results")
        page.get_by_label("Place overall").fill(str(place))
        page.get_by_label("Season").select_option(label="Winter")
        screen.press("Save")
        expect(screen.figure("final-place")).to_have_text(str(place))
        screen.check_usable()
    page.get_by_role("link", name="Winter").tap()
    expect(screen.figure("season-total")).to_have_text("18")  # 8 + 10, the 4 is dropped
    expect(page.get_by_role("link", name="Round 3")).to_contain_text("dropped")
    screen.check_usable()
