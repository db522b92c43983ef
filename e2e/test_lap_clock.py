"""The lap clock with no server: a tap is never lost, and the laps reach their run."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from e2e import a11y
from e2e.pages.offline import Phone, bars, visit_once
from e2e.server import ServerProcess, rows

LAPS = 20
# "1.0" may still be 0.95 s, and a lap of less than a second is not taken.
OVER_A_SECOND = re.compile(r"^(?:1\.[1-9]|[2-9]\.\d|\d\d+\.\d)$|:")
NEWEST = "SELECT lap_times, best_lap_s, laps FROM runs ORDER BY started_at DESC, id DESC LIMIT 1"


def clock_laps(page: Page, until: int) -> None:
    """Tap a lap whenever the clock would take it, until it counts so many."""
    button, count = page.locator("#clock-tap"), page.locator("#clock-count")
    while int(count.get_attribute("value") or 0) < until:
        before = int(count.get_attribute("value") or 0)
        expect(page.locator("#clock-now")).to_have_text(OVER_A_SECOND, timeout=30_000)
        button.tap()
        expect(count).to_have_attribute("value", str(before + 1))


def test_a_clock_of_twenty_laps_killed_half_way_loses_none(
    server: ServerProcess, phone: Phone
) -> None:
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    page.goto(f"{server.url}/runs/clock")
    page.locator("#clock-tap").tap()
    clock_laps(page, LAPS // 2)
    half = page.evaluate("() => localStorage.getItem('pitapp-lap-clock')")

    fresh = page.context.new_page()
    page.close()
    fresh.goto(f"{server.url}/runs/clock")
    expect(fresh.locator("#clock-count")).to_have_attribute("value", str(LAPS // 2))
    assert fresh.evaluate("() => localStorage.getItem('pitapp-lap-clock')") == half
    phone.close()
    page = phone.open()
    page.goto(f"{server.url}/runs/clock")
    expect(page.locator("#clock-count")).to_have_attribute("value", str(LAPS // 2))
    clock_laps(page, LAPS)
    page.locator("#clock-stop").tap()
    times = page.locator("#times").input_value().splitlines()
    assert len(times) == LAPS
    assert min(map(float, times)) >= 1
    page.reload()
    assert page.locator("#times").input_value().splitlines() == times

    page.get_by_role("button", name="Save", exact=True).tap()
    expect(bars(page)).to_contain_text("Saved on this phone", timeout=15_000)
    server.start()
    expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
    ((column, _, _),) = rows(server, NEWEST)
    assert [int(lap) for lap in column.split()] == [round(1000 * float(lap)) for lap in times]


def test_a_double_tap_counts_once_and_the_last_tap_is_taken_back(
    server: ServerProcess, phone: Phone
) -> None:
    page = phone.open()
    page.goto(f"{server.url}/runs/clock")
    a11y.check(page)
    page.locator("#clock-tap").tap()
    page.locator("#clock-tap").tap()
    expect(page.locator("#clock-count")).to_have_attribute("value", "0")
    clock_laps(page, 2)
    a11y.check(page)
    page.locator("#clock-back").tap()
    expect(page.locator("#clock-count")).to_have_attribute("value", "1")
    page.locator("#clock-tap").focus()
    expect(page.locator("#clock-now")).to_have_text(OVER_A_SECOND, timeout=30_000)
    page.keyboard.press("Space")
    expect(page.locator("#clock-count")).to_have_attribute("value", "2")
    page.locator("#clock-stop").tap()
    expect(page.locator("#times")).to_have_value(re.compile(r"^\d+\.\d{3}\n\d+\.\d{3}$"))
    a11y.check(page)
    page.locator("#clock-new").tap()
    expect(page.locator("#clock-tap")).to_have_text("Start")
    expect(page.locator("#times")).to_have_value("")
    page.locator("#clock-bring").tap()
    expect(page.locator("#times")).to_have_value(re.compile(r"^\d+\.\d{3}\n\d+\.\d{3}$"))
