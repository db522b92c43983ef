"""Conditions of the day: noted with one run, there for the next, and in the log."""

from __future__ import annotations

from datetime import timedelta

from playwright.sync_api import Page, expect

from e2e.pages.runs import NewRun, Runs
from e2e.server import Live
from pitapp.db.connect import connect
from tests.runs_support import furnish


def test_what_was_noted_of_the_track_is_there_for_the_next_run(live: Live, page: Page) -> None:
    db = connect(live.database)
    furnish(db, live.clock())
    db.close()
    form = NewRun(page, live.url).open()
    form.temperature(64)
    page.get_by_label("Track temperature").fill("31")
    page.get_by_label("Grip").select_option("high")
    page.get_by_label("Dust").select_option("some")
    form.check_usable()
    form.save()
    log = Runs(page, live.url)
    expect(log.lines().first).to_contain_text("high grip, some dust")
    log.check_usable()
    live.clock.set(live.clock() + timedelta(minutes=40))
    form.open()
    expect(page.get_by_label("Grip")).to_have_value("high")
    expect(page.get_by_label("Track temperature")).to_have_value("31")
    expect(page.get_by_label("Wind")).to_have_value("")
