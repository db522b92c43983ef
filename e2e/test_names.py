"""What is read out is what is seen: a control's name holds its visible words, and a link's words say where it leads."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Page

from e2e import a11y
from e2e.server import ServerProcess
from e2e.test_every_screen import screens

LEAST_SCREENS = 60
# axe-core leaves the first out unless it is asked for (WCAG 2.2, 2.5.3 Label in Name).
RULES = {
    "type": "rule",
    "values": [
        "label-content-name-mismatch",
        "link-name",
        "button-name",
        "identical-links-same-purpose",
    ],
}
# Words that say nothing of where a link leads, as search engines and readers of link lists count them.
SAY_NOTHING = """() => [...document.querySelectorAll("a[href]")]
    .filter((link) => link.checkVisibility())
    .map((link) => (link.getAttribute("aria-label") ?? link.innerText).trim().toLowerCase())
    .filter((words) => ["", "click here", "click this", "go", "here", "information", "learn more", "more",
        "more info", "more information", "right here", "read more", "see more", "start", "this"].includes(words)
        && words !== "more")"""


def test_names_hold_what_is_seen_and_links_say_where_they_lead(
    season: Path, server: ServerProcess, page: Page
) -> None:
    addresses = screens(season)
    assert len(addresses) > LEAST_SCREENS
    found = []
    for address in addresses:
        page.goto(server.url + address)
        problems = a11y.axe_violations(page, RULES)
        problems += [f"a link says “{words}”" for words in page.evaluate(SAY_NOTHING)]
        found += [f"{urlsplit(page.url).path}: {each}" for each in problems]
    assert not found, "\n".join(found)


def test_a_name_that_hides_what_is_seen_is_found(server: ServerProcess, page: Page) -> None:
    page.goto(server.url)
    page.evaluate(
        "() => { const b = document.createElement('button'); b.textContent = 'New entry of the list';"
        " b.setAttribute('aria-label', 'Add a pack'); document.querySelector('main').append(b); }"
    )
    assert "label-content-name-mismatch" in "\n".join(a11y.axe_violations(page, RULES))
