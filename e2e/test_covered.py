"""Whatever sticks to an edge covers nothing: at the end of a page, and where the keyboard or a tap leads."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, ViewportSize

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
TWO_FRAMES = """() => new Promise((done) =>
    requestAnimationFrame(() => requestAnimationFrame(() => done())))"""


@pytest.mark.parametrize("size", [UPRIGHT, SIDEWAYS], ids=["upright", "sideways"])
def test_nothing_is_covered_on_any_screen_with_or_without_an_undo_bar(
    season: Path, server: ServerProcess, page: Page, size: ViewportSize
) -> None:
    page.set_viewport_size(size)
    addresses = screens(season)
    assert len(addresses) > LEAST_SCREENS
    found = []
    for address in addresses:
        page.goto(server.url + address)
        problems = a11y.read(page, "without a bar", "coveredAtTheEnd")
        page.evaluate(TO_THE_END)
        page.evaluate(BAR, SAID)
        page.evaluate(TWO_FRAMES)
        problems += a11y.read(page, "as a bar comes", "coveredAtTheEnd", 1)
        problems += a11y.read(page, "beside a bar", "coveredAtTheEnd")
        problems += a11y.read(page, "beside a bar", "coveredWhenFocused")
        found += [f"{urlsplit(page.url).path}: {each}" for each in problems]
    assert not found, f"{len(found)}\n" + "\n".join(found)
