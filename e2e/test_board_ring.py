"""The Board rings before a heat: when, how often, with sound, vibration and a screen that stays on."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.board import Board
from e2e.server import Live
from e2e.test_board import begin

# What the phone would sound, shake and lock, written down in its place.
PHONE = """
globalThis.did = { tones: 0, shakes: 0, locks: 0, released: 0 };
const gain = { setValueAtTime() {}, exponentialRampToValueAtTime() {} };
const parts = { connect: (next) => next, frequency: {}, gain };
globalThis.AudioContext = class {
  state = "suspended"; currentTime = 0; destination = {};
  async resume() { this.state = "running"; }
  async suspend() { this.state = "suspended"; }
  createGain() { return parts; }
  createOscillator() { return { ...parts, start() { did.tones += 1; }, stop() {} }; }
};
const asNamed = (name, value) => Object.defineProperty(navigator, name, { configurable: true, value });
asNamed("vibrate", () => { did.shakes += 1; return true; });
asNamed("wakeLock", { request: async () => { did.locks += 1; return { release() { did.released += 1; } }; } });
"""
TONES = 3  # of one ring


def did(page: Page, what: str) -> int:
    """Return how often the phone did that."""
    times: int = page.evaluate("(what) => did[what]", what)
    return times


@pytest.fixture
def waiting(live: Live, page: Page) -> Page:
    """The Board half an hour before the first of two heats, on a phone that writes down what it does."""
    begin(live)
    page.add_init_script(PHONE)
    page.clock.set_fixed_time(live.clock())
    Board(page, live.url).open()
    page.get_by_text("Ring before a heat").tap()
    return page


def minutes_on(page: Page, live: Live, minutes: float) -> None:
    page.clock.set_fixed_time(live.clock() + timedelta(minutes=minutes))


def test_it_rings_for_each_call_until_it_was_heard(live: Live, waiting: Page) -> None:
    call, turn = waiting.locator("#ring-call"), waiting.locator("#ring-on")
    turn.tap()
    expect(turn).to_have_attribute("aria-pressed", "true")
    expect(waiting.locator("#ring-note")).to_contain_text("The screen stays on")
    assert (did(waiting, "tones"), did(waiting, "locks")) == (TONES, 1)  # so sounds a ring
    expect(call).to_be_hidden()

    minutes_on(waiting, live, 18)
    expect(call).to_contain_text("Tyres on: Heat 1 at 09:30")
    waiting.wait_for_function("() => did.tones >= 9")  # again and again
    assert did(waiting, "shakes") >= 3
    waiting.get_by_role("button", name="Heard").tap()
    expect(call).to_be_hidden()

    heard = did(waiting, "tones")
    minutes_on(waiting, live, 24)
    expect(call).to_contain_text("Pack in: Heat 1 at 09:30")
    assert did(waiting, "tones") >= heard + TONES
    minutes_on(waiting, live, 27)
    expect(call).to_contain_text("To the grid: Heat 1 at 09:30")
    minutes_on(waiting, live, 36)
    expect(call).to_contain_text("Marshal")


def test_it_is_silent_until_asked_and_when_turned_off(live: Live, waiting: Page) -> None:
    minutes_on(waiting, live, 18)
    waiting.wait_for_timeout(2500)  # two looks at the clock
    assert did(waiting, "tones") == did(waiting, "shakes") == did(waiting, "locks") == 0
    turn = waiting.locator("#ring-on")
    turn.tap()
    expect(waiting.locator("#ring-call")).to_be_visible()
    turn.tap()
    expect(turn).to_have_attribute("aria-pressed", "false")
    expect(waiting.locator("#ring-call")).to_be_hidden()
    assert did(waiting, "released") == 1
    tones = did(waiting, "tones")
    minutes_on(waiting, live, 24)
    waiting.wait_for_timeout(4500)  # longer than between two rings
    assert did(waiting, "tones") == tones


def test_a_phone_that_slept_over_a_call_does_not_ring_for_it(live: Live, waiting: Page) -> None:
    waiting.locator("#ring-on").tap()
    minutes_on(waiting, live, 20)
    waiting.wait_for_timeout(2500)
    assert did(waiting, "tones") == TONES
    expect(waiting.locator("#ring-call")).to_be_hidden()


def test_which_calls_and_how_early_is_kept_on_this_phone(live: Live, waiting: Page) -> None:
    waiting.locator("[data-call=tyres]").uncheck()
    waiting.locator("[data-minutes=pack]").fill("7,5")
    waiting.locator("[data-minutes=pack]").press("Tab")
    waiting.reload()
    waiting.get_by_text("Ring before a heat").tap()
    expect(waiting.locator("[data-call=tyres]")).not_to_be_checked()
    expect(waiting.locator("[data-minutes=pack]")).to_have_value("7,5")
    waiting.locator("#ring-on").tap()
    minutes_on(waiting, live, 18)
    waiting.wait_for_timeout(2500)
    expect(waiting.locator("#ring-call")).to_be_hidden()
    minutes_on(waiting, live, 22.6)
    expect(waiting.locator("#ring-call")).to_contain_text("Pack in: Heat 1 at 09:30")
