"""Run-throughs of some of the settings: what the class fixes in five taps, and after a reset with no server."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from e2e import a11y
from e2e.pages.checks import Checks, RunThrough
from e2e.pages.offline import Phone, bars, visit_once
from e2e.server import ServerProcess, rows
from e2e.thumb import Thumb

LEGAL = ("Rev limit", "Signal at switch-on", "Timing advance", "Advance and boost at zero")
CHANGED = ("Rev limit", "Signal at switch-on", "Advance and boost at zero", "Throttle response")
READ = (
    "SELECT scope, name, shown FROM check_answers JOIN check_walks ON check_walks.id = walk_id "
    "JOIN check_steps ON check_steps.id = step_id ORDER BY check_answers.id"
)
ENDED = "SELECT scope, ended_at IS NOT NULL FROM check_walks ORDER BY id"


def expect_title(run: RunThrough, name: str, place: str) -> None:
    """Wait for a step below the bar that says how old the copy is."""
    expect(run.title()).to_have_text(name)
    expect(run.page.locator(".step-place span").first).to_have_text(place)


@pytest.mark.every_engine
def test_legal_only_then_after_a_reset_with_no_server(server: ServerProcess, phone: Phone) -> None:
    before = rows(server, READ)
    page = phone.open()
    thumb = Thumb(page)
    visit_once(page, server.url)
    checks = Checks(page, server.url).open()
    checks.check_usable()
    already = thumb.taps
    checks.press("Legal only (4)")
    run = RunThrough(page, server.url)
    for place, name in enumerate(LEGAL, start=1):
        run.expect_step(name, f"{place} of 4")
        run.confirm()
    expect(run.verdict()).to_contain_text("Legal")
    expect(page.get_by_text("Legal only: 4 of 24 settings")).to_be_visible()
    assert thumb.taps - already == 5
    run.check_usable()
    visit_once(page, server.url)
    server.kill()

    page.goto(f"{server.url}/checks")
    expect(bars(page)).to_contain_text("Kept copy")
    checks.press("After a reset or update (5)")
    for place, name in enumerate(CHANGED, start=1):
        expect_title(run, name, f"{place} of 5")
        run.confirm()
    expect_title(run, "Drag brake", "5 of 5")
    run.enter("60")
    expect(page.get_by_text("Outside the range noted here (0 % to 50 %).")).to_be_visible()
    expect(page.locator("#shown")).to_have_value("60")
    a11y.check(page)
    run.enter("6")
    expect(run.title()).to_have_count(0)
    page.goto(f"{server.url}/checks")
    checks.press("Planned only (6)")
    expect_title(run, "Rev limit", "1 of 6")
    run.enter("700")
    run.press("It is right: save it")
    expect_title(run, "Signal at switch-on", "2 of 6")
    phone.close()

    server.start()
    page = phone.open()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 6 entries", timeout=20_000)
    new = rows(server, READ)[len(before) :]
    assert [(scope, name) for scope, name, _ in new] == [
        *(("legal", name) for name in LEGAL),
        *(("reset", name) for name in (*CHANGED, "Drag brake")),
        ("planned", "Rev limit"),
    ]
    assert [shown for _, _, shown in new][-2:] == ["6", "700"]
    assert rows(server, ENDED)[-3:] == [("legal", 1), ("reset", 1), ("planned", 0)]
