"""Whatever sticks to an edge covers nothing: at the end of a page, and where the keyboard or a tap leads."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from e2e import a11y
from e2e.server import ServerProcess
from e2e.test_every_screen import screens

UPRIGHT: ViewportSize = {"width": 360, "height": 640}
SIDEWAYS: ViewportSize = {"width": 640, "height": 360}
LEAST_SCREENS = 60
SAID = "Moved Heat 2 and all that come after it by 15 minutes"
# As an answer brings it: the place of the bars is replaced by one with a bar in it.
BAR = """(said) => {
    const old = document.querySelector("#notices"), bars = old.cloneNode(false);
    bars.innerHTML = `<form class="undo-bar"><p>${said}</p><button>Undo</button></form>`;
    old.replaceWith(bars);
}"""
TO_THE_END = "scrollTo(0, document.documentElement.scrollHeight)"
BY_AN_EDGE = re.compile(
    r"/|/gearing(/table)?|/checks|/checks/lists/\d+/run|/kit/(gears|motors/\d+)|/packs/(new|plan)|/runs"
    r"|/runs/setup/\d+|/meetings/\d+|/forecast/shopping|/sound/(bench|passing)"
)
"""Where much sticks to an edge: these screens are looked at in Firefox and WebKit too."""
LEAST_BY_AN_EDGE = 12


@pytest.mark.every_engine
@pytest.mark.parametrize("size", [UPRIGHT, SIDEWAYS], ids=["upright", "sideways"])
def test_nothing_is_covered_on_any_screen_with_or_without_an_undo_bar(
    season: Path, server: ServerProcess, page: Page, size: ViewportSize, browser_name: str
) -> None:
    page.set_viewport_size(size)
    addresses = screens(season)
    assert len(addresses) > LEAST_SCREENS
    if browser_name != "chromium":
        addresses = [each for each in addresses if BY_AN_EDGE.fullmatch(urlsplit(each).path)]
        assert len(addresses) >= LEAST_BY_AN_EDGE
    found = []
    for address in addresses:
        page.goto(server.url + address)
        problems = a11y.read(page, "without a bar", "coveredAtTheEnd")
        a11y.read(page, "", "atRest")
        page.evaluate(f"(said) => {{ {TO_THE_END}; ({BAR})(said); }}", SAID)
        a11y.read(page, "", "atRest")
        problems += a11y.read(page, "as a bar comes", "coveredAtTheEnd", 1)
        problems += a11y.read(page, "beside a bar", "coveredAtTheEnd")
        problems += a11y.read(page, "beside a bar", "coveredWhenFocused")
        found += [f"{urlsplit(page.url).path}: {each}" for each in problems]
    assert not found, f"{len(found)}\n" + "\n".join(found)


SENT = """async (form) => {
    const body = new URLSearchParams(new FormData(form));
    await fetch(form.action, { method: "post", body, redirect: "manual" });
}"""
# Whether the whole of a button is in sight, and nothing over it.
FREE = """(button) => {
    const box = button.getBoundingClientRect();
    const middle = (box.left + box.right) / 2;
    return [box.top + 4, box.bottom - 4].every((y) => document.elementFromPoint(middle, y) === button);
}"""


@pytest.mark.every_engine
@pytest.mark.parametrize("size", [UPRIGHT, SIDEWAYS], ids=["upright", "sideways"])
def test_two_notices_at_once_each_show_their_undo(
    server: ServerProcess, page: Page, size: ViewportSize
) -> None:
    """Two writes with no page between them, as from a phone that was without a signal."""
    page.set_viewport_size(size)
    page.goto(f"{server.url}/kit/gears")
    gears = page.locator("form[action$='/remove']")
    gears.nth(0).evaluate(SENT)
    gears.nth(1).evaluate(SENT)
    page.goto(f"{server.url}/kit/gears")
    undo = page.locator("#notices").get_by_role("button", name="Undo")
    expect(undo).to_have_count(2)
    for text in ("", SAID):
        page.locator("#notices span").evaluate_all(
            "(all, text) => all.forEach((each) => { each.textContent = text || each.textContent; })",
            text,
        )
        for way in ("scrollTo(0, 0)", TO_THE_END):
            page.evaluate(way)
            a11y.read(page, "", "atRest")
            assert [undo.nth(place).evaluate(FREE) for place in range(2)] == [True, True], way
    undo.nth(1).click()
    expect(page.locator("#notices")).to_contain_text("Undone")
