"""Charging by steps: what is dangerous cannot be tapped by a slip, and the countdown is right."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from e2e.pages.base import Screen
from e2e.pages.packs import Charge, Countdown
from e2e.server import Live, ServerProcess
from e2e.watch import Watch
from pitapp.db.connect import connect
from pitapp.packs import store
from pitapp.packs.charging import store as charging
from tests.packs_walk import add_pack, walk
from tests.support import RACE_MORNING


def database(live: Live) -> sqlite3.Connection:
    connection: sqlite3.Connection = live.app.extensions["pitapp.db"].connection()
    return connection


def run_charge(
    connection: sqlite3.Connection, minutes: float, now: datetime = RACE_MORNING
) -> tuple[int, str]:
    """A pack that has been put on the charger for so long; returns its id and the charge's uuid."""
    pack_id = add_pack(connection)
    item = charging.charge(connection, walk(connection, pack_id))
    figures = {"cells_set": 2, "current_a": 6.0, "start_percent": 40.0}
    due_at = now + timedelta(minutes=minutes)
    charging.start(connection, item.model_copy(update=figures | {"due_at": due_at}), "On", now)
    return pack_id, item.uuid


def started(connection: sqlite3.Connection) -> int:
    row = connection.execute("SELECT count(*) FROM pack_charges WHERE started_at IS NOT NULL")
    return int(row.fetchone()[0])


@pytest.mark.alone
@pytest.mark.every_engine
def test_a_charge_by_steps_ends_in_a_countdown(live: Live, page: Page) -> None:
    pack_id = add_pack(database(live))
    charge = Charge(page, live.url, pack_id).to_the_start()
    charge.check_usable()
    charge.press("It is charging: start the clock")
    expect(page.get_by_text("This is only a clock")).to_be_visible()
    assert started(database(live)) == 1
    page.get_by_label("The charger shows").fill("3700")
    page.get_by_role("button", name="It is full").tap()
    expect(page.get_by_text("Full, charged today 09:00.")).to_be_visible()
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_role("link", name="Countdown")).to_be_visible()


def test_no_tap_starts_a_charge_over_the_labels_rate(live: Live, page: Page, watch: Watch) -> None:
    watch.allow("status of 422")
    charge = Charge(page, live.url, add_pack(database(live))).up_to_the_program()
    charge.program("2", "12")
    expect(page.get_by_text("Over the label's rate: 12 A is more than 6 A (1C).")).to_be_visible()
    expect(page.get_by_label("Current it shows")).to_have_value("12")
    charge.expect_step("Set the charger")
    expect(page.get_by_role("button", name="It is charging: start the clock")).to_have_count(0)
    charge.check_usable()
    assert started(database(live)) == 0


def test_no_tap_starts_a_charge_with_a_wrong_cell_count(
    live: Live, page: Page, watch: Watch
) -> None:
    watch.allow("status of 422")
    charge = Charge(page, live.url, add_pack(database(live))).up_to_the_program()
    charge.program("3", "6")
    expect(
        page.get_by_text("Wrong cell count: the charger shows 3, the pack has 2 in series.")
    ).to_be_visible()
    expect(page.get_by_role("button", name="It is charging: start the clock")).to_have_count(0)
    assert started(database(live)) == 0


@pytest.mark.parametrize(
    ("condition", "reason"),
    [
        ("damaged", "The pack is damaged (swollen). Do not charge it."),
        ("retired", "The pack is retired. Do not charge it."),
    ],
)
def test_no_tap_starts_a_charge_of_a_damaged_or_retired_pack(
    live: Live, page: Page, watch: Watch, condition: Any, reason: str
) -> None:
    watch.allow("status of 409")
    pack_id = add_pack(database(live))
    charge = Charge(page, live.url, pack_id).to_the_start()
    store.set_condition(database(live), pack_id, condition, "swollen", RACE_MORNING)
    charge.press("It is charging: start the clock")
    expect(page.get_by_text(reason)).to_be_visible()
    expect(page.get_by_role("button", name="It is charging: start the clock")).to_have_count(0)
    page.goto(f"{live.url}/packs/{pack_id}")
    expect(page.get_by_role("link", name="Charge by steps")).to_have_count(0)
    charge.begin()
    expect(page.get_by_text(reason)).to_be_visible()
    assert started(database(live)) == 0


def test_without_the_balance_lead_it_does_not_go_on(live: Live, page: Page) -> None:
    charge = Charge(page, live.url, add_pack(database(live))).up_to_the_leads()
    charge.press("Not both")
    expect(page.get_by_text("no charger sees a single cell run over")).to_be_visible()
    charge.expect_step("Plug it in")
    charge.press("Both are in")
    charge.expect_step("Measure each cell")


def test_the_countdown_is_right_after_the_page_was_closed_for_twenty_minutes(
    live: Live, page: Page, new_context: Any
) -> None:
    _, uuid = run_charge(database(live), 47)
    Countdown(page, live.url, uuid).go().expect_seconds(47 * 60)
    page.close()
    live.clock.tick(20 * 60)
    again: BrowserContext = new_context()
    Countdown(again.new_page(), live.url, uuid).go().expect_seconds(27 * 60)


def test_the_countdown_is_right_after_the_server_was_killed(
    pitapp_process: ServerProcess, page: Page, watch: Watch
) -> None:
    watch.allow("ERR_CONNECTION_REFUSED", "ERR_EMPTY_RESPONSE", "ERR_CONNECTION_RESET")
    connection = connect(pitapp_process.data_dir / "pitapp.sqlite3")
    now = datetime.now(UTC).replace(microsecond=0)
    _, uuid = run_charge(connection, 30, now)
    connection.close()

    def left() -> float:
        return (now + timedelta(minutes=30) - datetime.now(UTC)).total_seconds()

    countdown = Countdown(page, pitapp_process.url, uuid).go()
    countdown.expect_seconds(left())
    pitapp_process.kill()
    page.wait_for_timeout(1500)
    assert abs(countdown.seconds() - left()) < 3
    pitapp_process.start()
    countdown.go().expect_seconds(left())


@pytest.mark.parametrize("moved_h", [-2, 2])
def test_the_countdown_is_right_with_the_phones_clock_moved(
    live: Live, page: Page, moved_h: int
) -> None:
    _, uuid = run_charge(database(live), 40)
    at_server = int(RACE_MORNING.timestamp() * 1000)
    page.add_init_script(
        f"const began = performance.now(); globalThis.moved = {moved_h} * 3600000;"
        f"Date.now = () => {at_server} + globalThis.moved + performance.now() - began;"
    )
    countdown = Countdown(page, live.url, uuid).go()
    countdown.expect_seconds(40 * 60)
    page.evaluate("() => { globalThis.moved += 3 * 3600000; }")
    page.wait_for_timeout(1500)
    countdown.expect_seconds(40 * 60, within=5)
    expect(page.locator("#time-is-up")).to_be_hidden()
    expect(page.locator("#clock-source")).to_be_hidden()


def test_with_no_server_a_phone_that_slept_does_not_ring_late(
    live: Live, page: Page, watch: Watch
) -> None:
    watch.allow("ERR_INTERNET_DISCONNECTED")
    _, uuid = run_charge(database(live), 40)
    page.add_init_script(
        "const real = Date.now.bind(Date); globalThis.slept = 0;"
        "Date.now = () => real() + globalThis.slept;"
    )
    countdown = Countdown(page, live.url, uuid).go()
    countdown.expect_seconds(40 * 60)
    page.context.set_offline(True)
    page.evaluate("() => { globalThis.slept = 30 * 60000; }")
    countdown.expect_seconds(10 * 60, within=6)
    expect(page.get_by_text("counted by this phone's clock")).to_be_visible()
    page.evaluate("() => { globalThis.slept = 41 * 60000; }")
    expect(page.get_by_text("Time is up. Go and look at it.")).to_be_visible()
    page.context.set_offline(False)


RECORDER = """
    globalThis.rung = { tones: 0, buzzes: 0 };
    const start = OscillatorNode.prototype.start;
    OscillatorNode.prototype.start = function (...given) {
      globalThis.rung.tones += 1;
      return start.apply(this, given);
    };
    navigator.vibrate = () => { globalThis.rung.buzzes += 1; return true; };
"""


def test_it_sounds_and_vibrates_until_somebody_looks(live: Live, page: Page) -> None:
    _, uuid = run_charge(database(live), 0.1)
    page.add_init_script(RECORDER)
    Countdown(page, live.url, uuid).go()
    page.get_by_role("button", name="Sound and screen: turn on").tap()
    expect(page.get_by_role("button", name="Sound is on: try it")).to_be_visible()
    page.wait_for_function("() => rung.tones >= 3 && rung.buzzes >= 1")
    expect(page.get_by_text("Time is up. Go and look at it.")).to_be_visible(timeout=10000)
    page.wait_for_function("() => rung.tones >= 6 && rung.buzzes >= 2")
    Screen(page, live.url).check_usable()
    page.get_by_role("button", name="I am looking at it").tap()
    rung = page.evaluate("() => rung.buzzes")
    page.wait_for_timeout(2500)
    assert page.evaluate("() => rung.buzzes") == rung


def test_what_to_do_in_an_emergency_is_one_tap_away_without_a_network(
    live: Live, page: Page, watch: Watch
) -> None:
    watch.allow("ERR_INTERNET_DISCONNECTED")
    pack_id, uuid = run_charge(database(live), 40)
    for path in (
        "/packs",
        f"/packs/{pack_id}",
        f"/packs/{pack_id}/history",
        f"/packs/{pack_id}/reading",
        f"/packs/charges/{uuid}",
        "/packs/plan",
        "/packs/sums",
        "/packs/new",
    ):
        page.goto(live.url + path)
        page.context.set_offline(True)
        page.get_by_text("Hot, swollen, smoking pack?").tap()
        expect(page.get_by_text("Do not touch it, move it")).to_be_visible()
        page.context.set_offline(False)
