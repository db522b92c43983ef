"""What is wanted twice a year is one tap deeper than what is wanted on a race day."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.server import Live
from pitapp.demo import fill

SELDOM = (
    ("/kit", "Wiring", "a[href='/kit/leads']"),
    ("/packs", "Seldom wanted", "a[href='/packs/sums']"),
    ("/packs/1", "Charge rate, energy, air travel, sums", "a[href^='/packs/sums?pack=']"),
    ("/roll", "How far it rolls, at worst", "#roll-60"),
    ("/kit/cars/2", "Gear limits of this chassis", "#least_tooth_sum"),
)


@pytest.mark.parametrize(("path", "fold", "inside"), SELDOM)
def test_what_is_seldom_wanted_is_folded_away(
    live: Live, page: Page, path: str, fold: str, inside: str
) -> None:
    fill(live.app)
    page.goto(live.url + path)
    seldom = page.locator(inside).first
    expect(seldom).to_be_attached()
    expect(seldom).to_be_hidden()
    page.locator("summary").filter(has_text=fold).tap()
    expect(seldom).to_be_visible()
    Screen(page, live.url).check_usable()


def test_a_limit_at_fault_is_not_folded_away(live: Live, page: Page, watch: object) -> None:
    watch.allow("status of 422")  # type: ignore[attr-defined]
    fill(live.app)
    page.goto(f"{live.url}/kit/cars/1")
    page.get_by_text("Gear limits of this chassis").tap()
    page.get_by_label("Minimum tooth sum").fill("ten")
    page.get_by_role("button", name="Save").tap()
    expect(page.get_by_label("Minimum tooth sum")).to_be_visible()
    expect(page.get_by_label("Minimum tooth sum")).to_have_value("ten")
