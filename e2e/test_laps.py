"""Laps on a phone: pasted, looked at, saved, and beside another run's, on screens that anyone can use."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from e2e import a11y
from e2e.server import ServerProcess, rows

PASTED = "1. 14,87\n2. 15,02\n3. 14,91\n4. 19,50\n5. 14,95\n6. 14,89\nAverage 15,69"
TOTAL = "15.30\n30.40\n45.90\n61.00"
NEWEST = "SELECT id FROM runs ORDER BY started_at DESC, id DESC LIMIT 2"


def paste(page: Page, url: str, run_id: int, text: str) -> None:
    page.goto(f"{url}/runs/{run_id}/laps")
    page.locator("#times").fill(text)
    page.get_by_role("button", name="Look at it").tap()
    expect(page.locator("#reading-1")).to_be_visible()


def test_laps_are_pasted_looked_at_saved_and_compared(server: ServerProcess, page: Page) -> None:
    (run_id,), (other,) = rows(server, NEWEST)
    page.goto(f"{server.url}/runs/{run_id}")
    page.get_by_role("link", name="Add its laps").tap()
    expect(page.locator("#times")).to_be_visible()
    a11y.check(page)
    paste(page, server.url, other, TOTAL)
    expect(page.locator("#reading-2")).to_be_visible()
    a11y.check(page)
    page.get_by_role("button", name="Save these laps").first.tap()
    expect(page.locator("#lap-count")).to_have_attribute("value", "4")
    paste(page, server.url, run_id, PASTED)
    page.get_by_role("button", name="Save these laps").tap()
    expect(page.locator("#lap-best-s")).to_have_attribute("value", "14.87")
    expect(page.locator("#lap-traffic")).to_have_attribute("value", "4")
    a11y.check(page)
    page.get_by_role("link", name="Compare or replace the laps").tap()
    expect(page.locator("#times")).to_be_visible()
    expect(page.locator(".draft")).to_have_count(0)
    page.get_by_role("button", name="Compare").tap()
    expect(page.locator("#behind-4-s")).to_be_visible()
    a11y.check(page)
    page.get_by_role("button", name="Remove the laps").tap()
    expect(page.locator("#lap-count")).to_have_count(0)
    page.get_by_role("button", name="Undo").tap()
    expect(page.locator("#lap-count")).to_have_attribute("value", "6")
