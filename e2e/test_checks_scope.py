"""Run-throughs of some of the settings: what it takes to race in six taps, and after a reset with no server."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from e2e import a11y
from e2e.pages.checks import Checks, RunThrough
from e2e.pages.offline import Phone, bars, post, visit_once, wait_until_run_is_kept
from e2e.server import ServerProcess, rows
from e2e.thumb import Thumb

FAIL_SAFE = "Fail-safe stops the car"
LEGAL = (
    "Rev limit",
    "Signal at switch-on",
    "Timing advance",
    "Advance and boost at zero",
    FAIL_SAFE,
)
DRIVE = (
    "Throttle response",
    "Response at small throttle",
    "Drive frequency",
    "Motor direction",
    "Reverse",
)
CHANGED = ("Rev limit", "Signal at switch-on", "Advance and boost at zero", "Throttle response")
READ = (
    "SELECT scope, name, shown FROM check_answers JOIN check_walks ON check_walks.id = walk_id "
    "JOIN check_steps ON check_steps.id = step_id ORDER BY check_answers.id"
)
KEPT_OUTSIDE = (
    "SELECT name, shown, reason FROM check_answers "
    "JOIN check_steps ON check_steps.id = step_id ORDER BY check_answers.id"
)
ENDED = "SELECT scope, ended_at IS NOT NULL FROM check_walks ORDER BY id"


READ_IS_KEPT = (
    '(runs) => runs.find(({ begin }) => begin.endsWith("/lists/6/run"))?.settled.length === 5'
)

GROWN_OLD = """async () => {
    for (const name of await caches.keys()) {
        const kept = name.startsWith("pages-") && (await caches.open(name));
        const copy = kept && (await kept.match("/offline/runs"));
        if (!copy) continue;
        const runs = (await copy.json()).map((run) => ({ ...run, since: run.since - run.known_for - 1000 }));
        await kept.put("/offline/runs", new Response(JSON.stringify(runs), { headers: copy.headers }));
    }
}"""


def read_what_is_needed(page: Page, url: str) -> RunThrough:
    """Read from the Checks what it takes to race, all of it legal."""
    Checks(page, url).press("Needed to race (5)")
    run = RunThrough(page, url)
    for place, name in enumerate(LEGAL, start=1):
        run.expect_step(name, f"{place} of 5")
        run.confirm()
    expect(run.verdict()).to_contain_text("Legal")
    return run


def keep_what_was_read(page: Page, url: str) -> None:
    """Wait until the phone can go on from that with no server."""
    visit_once(page, url)
    wait_until_run_is_kept(page, READ_IS_KEPT)


def expect_title(run: RunThrough, name: str, place: str) -> None:
    """Wait for a step below the bar that says how old the copy is."""
    expect(run.title()).to_have_text(name)
    expect(run.page.locator(".step-place span").first).to_have_text(place)


@pytest.mark.every_engine
def test_needed_to_race_then_after_a_reset_with_no_server(
    server: ServerProcess, phone: Phone
) -> None:
    before = rows(server, READ)
    page = phone.open()
    thumb = Thumb(page)
    visit_once(page, server.url)
    checks = Checks(page, server.url).open()
    checks.check_usable()
    already = thumb.taps
    run = read_what_is_needed(page, server.url)
    expect(page.get_by_text("Needed to race: 5 of 24 settings")).to_be_visible()
    assert thumb.taps - already == 6
    run.check_usable()
    keep_what_was_read(page, server.url)
    server.kill()

    page.goto(f"{server.url}/checks")
    expect(bars(page)).to_contain_text("Kept copy")
    checks.run_through()
    expect_title(run, "Throttle response", "5 of 24")
    run.press("Skip group drive")
    expect_title(run, "Drag brake", "10 of 24")
    page.goto(f"{server.url}/checks")
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
    expect(bars(page)).to_contain_text("Sent: 7 entries", timeout=20_000)
    new = rows(server, READ)[len(before) :]
    assert [(scope, name) for scope, name, _ in new] == [
        *(("legal", name) for name in LEGAL),
        *(("all", name) for name in (*LEGAL, *DRIVE)),
        *(("reset", name) for name in (*CHANGED, "Drag brake")),
        ("planned", "Rev limit"),
    ]
    assert [shown for _, _, shown in new][-2:] == ["6", "700"]
    assert rows(server, ENDED)[-3:] == [("all", 0), ("reset", 1), ("planned", 0)]


@pytest.mark.parametrize("by", ["a run that waits to be sent", "the next heat"])
def test_with_no_server_what_was_read_holds_until_the_car_is_driven(
    server: ServerProcess, phone: Phone, by: str
) -> None:
    page = phone.open()
    visit_once(page, server.url)
    checks = Checks(page, server.url).open()
    run = read_what_is_needed(page, server.url)
    keep_what_was_read(page, server.url)
    server.kill()

    page.goto(f"{server.url}/checks")
    checks.run_through()
    expect_title(run, "Throttle response", "5 of 24")
    page.goto(f"{server.url}/checks")
    if by == "the next heat":
        page.evaluate(GROWN_OLD)
    else:
        post(page, "/runs/new", {"car_id": "1", "pack_id": "", "can_c": "61"})
    checks.run_through()
    expect_title(run, "Rev limit", "1 of 24")
    phone.close()


def test_with_no_server_what_is_kept_outside_the_class_is_not_skipped_away(
    server: ServerProcess, phone: Phone
) -> None:
    before = rows(server, KEPT_OUTSIDE)
    page = phone.open()
    visit_once(page, server.url)
    server.kill()

    page.goto(f"{server.url}/checks")
    run = Checks(page, server.url).run_through()
    expect_title(run, "Rev limit", "1 of 24")
    run.enter("15000")
    run.let_stand("No cable with me")
    expect_title(run, "Signal at switch-on", "2 of 24")
    for way in ("Skip", "Skip group legal"):
        run.press("Back")
        expect_title(run, "Rev limit", "1 of 24")
        run.press(way)
        expect(page.get_by_text("It is outside the class.")).to_be_visible()
        expect_title(run, "Rev limit", "1 of 24")
        page.goto(f"{server.url}/checks")
        Checks(page, server.url).run_through()
        expect_title(run, "Signal at switch-on", "2 of 24")
    phone.close()

    server.start()
    page = phone.open()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent:", timeout=20_000)
    new = rows(server, KEPT_OUTSIDE)[len(before) :]
    assert new == [("Rev limit", "15000", "No cable with me")]
