"""Parts with hours: added in one tap, a limit that the Board shows, new again, and back by Undo."""

from __future__ import annotations

from datetime import timedelta

from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.server import Live
from pitapp.db.connect import connect
from pitapp.runs import store as runs
from tests.runs_support import a_run, furnish


class Wear(Screen):
    path = "/kit/wear"


def test_a_limit_shows_on_the_board_until_the_part_is_new(live: Live, page: Page) -> None:
    db = connect(live.database)
    furnish(db, live.clock())
    screen = Wear(page, live.url).open()
    screen.check_usable()
    page.get_by_role("button", name="Add the usual parts").tap()
    expect(page.get_by_role("link", name="Belt")).to_be_visible()
    for _ in range(2):
        runs.save_run(db, a_run(run_s=300, started_at=live.clock()), live.clock())
    db.close()
    live.clock.set(live.clock() + timedelta(minutes=10))
    page.get_by_role("link", name="Belt").tap()
    expect(screen.figure("runs")).to_have_text("2")
    page.get_by_label("Limit, runs").fill("2")
    screen.check_usable()
    screen.press("Save")
    expect(page.get_by_text("Belt: over the limit")).to_be_visible()
    screen.check_usable()
    page.goto(live.url)
    page.get_by_role("link", name="Parts: 1 over the limit").tap()
    page.get_by_role("link", name="Belt").tap()
    screen.press("New or rebuilt now")
    expect(page.get_by_text("over the limit")).to_have_count(0)
    screen.press("Undo")
    expect(page.get_by_text("Belt: over the limit")).to_be_visible()
