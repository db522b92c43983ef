"""Sideways and on a desk: the main button is in sight, and the log is a table where there is room."""

from __future__ import annotations

import pytest
from playwright.sync_api import FloatRect, Locator, Page, ViewportSize, expect

from e2e.server import ServerProcess

SIDEWAYS: ViewportSize = {"width": 640, "height": 360}
DESK: ViewportSize = {"width": 1280, "height": 800}
SCREENS = {
    "Board": "/",
    "Gearing": "/gearing",
    "Runs": "/runs",
    "Log a run": "/runs/new",
    "run-through": "/checks/lists/1/run",
    "charge": "/packs/1/charge?purpose=full",
}


def main_button(page: Page) -> Locator:
    return page.locator("main .main-action:visible").first


def box_of(part: Locator) -> FloatRect:
    box = part.bounding_box()
    assert box is not None
    return box


@pytest.mark.parametrize("size", [SIDEWAYS, DESK], ids=lambda size: f"{size['width']} px")
def test_the_main_button_is_in_sight(server: ServerProcess, page: Page, size: ViewportSize) -> None:
    page.set_viewport_size(size)
    for name, address in SCREENS.items():
        page.goto(server.url + address)
        box, foot = box_of(main_button(page)), box_of(page.locator(".foot"))
        assert box["y"] >= 0, name
        assert box["y"] + box["height"] <= size["height"], name
        assert box["x"] >= 0, name
        assert box["x"] + box["width"] <= size["width"], name
        beside = box["x"] >= foot["x"] + foot["width"]
        above = box["y"] + box["height"] <= foot["y"]
        assert beside or above, name
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= size["width"], name


def test_upright_a_pack_is_put_away_without_scrolling(server: ServerProcess, page: Page) -> None:
    page.set_viewport_size({"width": 360, "height": 640})
    page.goto(f"{server.url}/packs/1/store")
    box, foot = box_of(main_button(page)), box_of(page.locator(".foot"))
    assert box["y"] + box["height"] <= foot["y"]


def test_sideways_it_stays_in_sight_however_far_the_page_is_scrolled(
    server: ServerProcess, page: Page
) -> None:
    page.set_viewport_size(SIDEWAYS)
    for name in ("Board", "Gearing", "Log a run", "charge"):
        page.goto(server.url + SCREENS[name])
        for down in (0, 200, 100_000):
            page.evaluate("down => scrollTo(0, down)", down)
            expect(main_button(page)).to_be_in_viewport(ratio=1)


def test_on_a_desk_there_are_two_columns_and_runs_are_a_table(
    server: ServerProcess, page: Page
) -> None:
    page.set_viewport_size(DESK)
    page.goto(f"{server.url}/gearing")
    form, more = (
        box_of(page.locator("#gearing-form")),
        box_of(page.locator("#gearing-part > .rows")),
    )
    assert more["x"] >= form["x"] + form["width"]
    page.goto(f"{server.url}/runs")
    heads = page.locator(".log-head .log-row > span")
    expect(heads.filter(has_text="Best lap")).to_be_visible()
    columns = [box_of(heads.nth(place))["x"] for place in range(heads.count())]
    cells = page.locator(".log-row:not(.log-head *)").first.locator("> span")
    assert [box_of(cells.nth(place))["x"] for place in range(cells.count())] == columns
