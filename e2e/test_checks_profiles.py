"""A controller with two profiles: added, planned, and the wrong one noticed at a setting, with no server too."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from e2e.pages.base import Screen
from e2e.pages.checks import Checks, RunThrough
from e2e.pages.offline import Phone, bars, visit_once, wait_until_run_is_kept
from e2e.server import ServerProcess, rows

READ = "SELECT shown, planned FROM check_answers ORDER BY id DESC LIMIT 1"
PLANS = (
    "SELECT name, profile_plans.planned FROM profile_plans JOIN check_steps ON check_steps.id = step_id "
    "WHERE profile_id = (SELECT max(id) FROM controller_profiles) ORDER BY step_id"
)
PLAN_IS_KEPT = '(runs) => JSON.stringify(runs).includes("Carpet")'


@pytest.mark.every_engine
def test_a_profile_is_added_and_its_value_is_recognised(
    server: ServerProcess, phone: Phone
) -> None:
    page = phone.open()
    screen = Screen(page, server.url)
    page.goto(f"{server.url}/checks/controllers/1")
    screen.press("Add a profile")
    page.locator("#name").fill("Carpet")
    screen.check_usable()
    screen.press("Save")
    expect(page.get_by_text("Added Profile 3, Carpet")).to_be_visible()
    screen.press("Plan this profile")
    screen.fill("Drag brake", "14")
    screen.press("Save the plan")
    expect(page.get_by_text("Saved the plan")).to_be_visible()
    screen.check_usable()
    assert dict(rows(server, PLANS))["Drag brake"] == "14"

    visit_once(page, server.url)
    wait_until_run_is_kept(page, PLAN_IS_KEPT)
    server.kill()
    page.goto(f"{server.url}/checks")
    Checks(page, server.url).press("After a reset or update (5)")
    run = RunThrough(page, server.url)
    for name in ("Rev limit", "Signal at switch-on", "Advance and boost at zero"):
        expect(run.title()).to_have_text(name)
        run.confirm()
    expect(run.title()).to_have_text("Throttle response")
    run.enter("6")
    expect(page.get_by_text("That looks like profile 2, Open practice")).to_be_visible()
    expect(page.locator("#shown")).to_have_value("6")
    run.enter("4")
    expect(run.title()).to_have_text("Drag brake")
    run.enter("14")
    expect(page.get_by_text("That looks like profile 3, Carpet. Is it right?")).to_be_visible()
    run.press("It is right: save it")
    expect(run.title()).to_have_count(0)
    phone.close()

    server.start()
    page = phone.open()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 5 entries", timeout=20_000)
    assert rows(server, READ) == [("14", "8")]
