"""The ways to run the app in a browser test: in this process, and as a process to end."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.server import Live, ServerProcess, answers
from e2e.watch import Watch


def test_the_app_is_served_over_its_own_database(live: Live, page: Page) -> None:
    Screen(page, live.url).open()
    expect(page.get_by_role("main")).to_be_visible()
    assert live.database.parent == live.data_dir
    with closing(sqlite3.connect(live.database)) as database:
        assert database.execute("PRAGMA user_version").fetchone()[0] >= 1


def test_the_clock_is_the_tests(live: Live) -> None:
    live.clock.set(datetime(2026, 7, 1, 12, 0, tzinfo=UTC))
    live.clock.tick(90)
    assert live.app.extensions["pitapp.clock"]() == datetime(2026, 7, 1, 12, 1, 30, tzinfo=UTC)


@pytest.mark.every_engine
def test_a_process_can_be_frozen_killed_and_started_again(
    pitapp_process: ServerProcess, page: Page, watch: Watch
) -> None:
    screen = Screen(page, pitapp_process.url)
    screen.open()
    pitapp_process.freeze()
    assert not answers(pitapp_process.url, seconds=0.5)
    pitapp_process.thaw()
    assert answers(pitapp_process.url, seconds=60)
    pitapp_process.kill()
    assert not answers(pitapp_process.url)
    watch.allow("ERR_CONNECTION_REFUSED")
    pitapp_process.start()
    screen.open()
    expect(page.get_by_role("main")).to_be_visible()
