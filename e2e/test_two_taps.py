"""Two devices tap "+5 min": the heats move once, and the second is told and sees the present times."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime, timedelta

from playwright.sync_api import BrowserContext, Page, expect

from e2e.pages.offline import Outbox, Phone, bars, visit_once
from e2e.server import ServerProcess, rows
from e2e.watch import Watch


def to_come(server: ServerProcess) -> dict[int, datetime]:
    """The starts of the heats of today's meeting that are not done, by their ids."""
    found = rows(
        server,
        "SELECT id, starts_at FROM heats WHERE removed_at IS NULL AND done_at IS NULL "
        "AND kind = 'heat' AND starts_at > strftime('%Y-%m-%dT%H:%M:%SZ', 'now') "
        "AND meeting_id = (SELECT max(id) FROM meetings WHERE removed_at IS NULL)",
    )
    return {heat_id: datetime.fromisoformat(starts_at) for heat_id, starts_at in found}


def moved(server: ServerProcess, before: dict[int, datetime]) -> set[timedelta]:
    """By how much the heats were moved."""
    return {starts_at - before[heat_id] for heat_id, starts_at in to_come(server).items()}


def heat_page(server: ServerProcess) -> str:
    return f"{server.url}/meetings/heats/{min(to_come(server))}"


def later(page: Page) -> None:
    page.get_by_role("button", name="This and all after it: 5 min later").tap()


def test_the_second_device_is_told_and_sees_the_present_times(
    server: ServerProcess, new_context: Callable[..., BrowserContext], watch: Watch
) -> None:
    watch.allow("status of 409")
    before = to_come(server)
    first, second = new_context().new_page(), new_context().new_page()
    for page in (first, second):
        page.goto(heat_page(server))
    later(first)
    expect(first.locator("#notices")).to_contain_text("5 min later")
    later(second)
    expect(second.locator("#notices")).to_contain_text("was changed on another screen")
    clock = first.locator("#heat-now time").inner_text()
    expect(second.locator("#heat-now time")).to_have_text(clock)
    assert moved(server, before) == {timedelta(minutes=5)}
    later(second)
    expect(second.locator("#notices")).to_contain_text("5 min later")
    assert moved(server, before) == {timedelta(minutes=10)}


def test_two_taps_with_no_signal_are_both_done(server: ServerProcess, phone: Phone) -> None:
    before = to_come(server)
    page = phone.open()
    visit_once(page, server.url)
    place = heat_page(server)
    page.goto(place)
    expect(page.locator("#heat-now")).to_be_visible()
    server.kill()
    for count in (1, 2):
        page.goto(place)
        later(page)
        expect(bars(page).locator(".waiting-line")).to_have_count(count, timeout=15_000)
    server.start()
    expect(bars(page)).to_contain_text("Sent: 2 entries", timeout=20_000)
    assert moved(server, before) == {timedelta(minutes=10)}


def test_a_tap_that_waited_is_not_added_to_another_devices(
    server: ServerProcess, phone: Phone, watch: Watch
) -> None:
    watch.allow("status of 409")
    before = to_come(server)
    page = phone.open()
    visit_once(page, server.url)
    page.goto(heat_page(server))
    expect(page.locator("#heat-now")).to_be_visible()
    server.kill()
    later(page)
    expect(bars(page)).to_contain_text("Saved on this phone", timeout=15_000)
    with closing(sqlite3.connect(server.data_dir / "pitapp.sqlite3")) as database:
        for heat_id, starts_at in before.items():
            text = f"{starts_at + timedelta(minutes=5):%Y-%m-%dT%H:%M:%SZ}"
            database.execute(
                "UPDATE heats SET starts_at = ?, version = version + 1 WHERE id = ?",
                (text, heat_id),
            )
        database.commit()
    server.start()
    expect(bars(page)).to_contain_text("Refused: 1 entry", timeout=20_000)
    assert moved(server, before) == {timedelta(minutes=5)}

    outbox = Outbox(page, server.url)
    outbox.open()
    expect(outbox.entries()).to_contain_text("was changed on another screen. It is at")
    outbox.check_usable()
    outbox.press("Send again")
    outbox.expect_waiting(0)
    assert moved(server, before) == {timedelta(minutes=10)}
