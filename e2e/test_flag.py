"""The flag on the Board: one tap, a clock that runs on the log, and no server needed for either."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta

from playwright.sync_api import Page, expect

from e2e.pages.board import Board
from e2e.pages.offline import Phone, bars, visit_once
from e2e.pages.runs import NewRun
from e2e.server import Live, ServerProcess, rows
from pitapp.db.connect import connect
from pitapp.runs import store as runs
from tests.runs_support import furnish


def six_minutes_ago() -> str:
    return f"{datetime.now(UTC) - timedelta(minutes=6):%Y-%m-%dT%H:%M:%SZ}"


def change(server: ServerProcess, statement: str, *values: object) -> None:
    """What the timetable says by now."""
    with closing(sqlite3.connect(server.data_dir / "pitapp.sqlite3")) as database:
        database.execute(statement, values)
        database.commit()


def test_one_tap_starts_the_clock_that_fills_read_after(live: Live, page: Page) -> None:
    db = connect(live.database)
    pit = furnish(db, live.clock())
    flag_at = live.clock()
    page.clock.set_fixed_time(flag_at)
    board = Board(page, live.url).open()
    board.check_usable()
    page.get_by_role("button", name="Flag of Heat 1").tap()
    form = NewRun(page, live.url)
    expect(page.get_by_role("timer")).to_have_text("0:00")
    form.check_usable()
    page.clock.set_fixed_time(flag_at + timedelta(seconds=52))
    expect(page.get_by_role("timer")).to_have_text("0:52")
    form.temperature(6)
    page.clock.set_fixed_time(flag_at + timedelta(seconds=57))
    form.temperature(64)
    expect(page.locator("#read_after_s")).to_have_value("52")
    form.save()
    (run,) = runs.runs(db)
    assert (run.can_c, run.read_after_s, run.heat_id) == (64, 52, pit.heats[0])
    db.close()


def test_the_flag_needs_no_server(server: ServerProcess, phone: Phone) -> None:
    ((heat_id,),) = rows(
        server,
        "SELECT id FROM heats WHERE done_at IS NULL AND kind <> 'marshal' "
        "AND meeting_id = (SELECT max(id) FROM meetings) "
        "AND removed_at IS NULL ORDER BY starts_at LIMIT 1",
    )
    change(server, "UPDATE heats SET starts_at = ? WHERE id = ?", six_minutes_ago(), heat_id)
    page = phone.open()
    visit_once(page, server.url)
    page.goto(server.url)
    server.kill()
    page.get_by_role("button", name="Flag of").tap()
    expect(page.get_by_role("timer")).to_have_text(re.compile(r"0:\d\d"), timeout=30_000)
    expect(bars(page)).to_contain_text("Flag", timeout=20_000)
    page.get_by_label("Can temperature").fill("64")
    expect(page.locator("#read_after_s")).to_have_value(re.compile(r"\d+"))
    server.start()
    page.goto(server.url)
    expect(bars(page)).not_to_contain_text("Waiting", timeout=60_000)
    assert rows(server, f"SELECT flag_at IS NOT NULL FROM heats WHERE id = {heat_id}") == [(1,)]
