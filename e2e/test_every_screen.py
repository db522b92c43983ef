"""Every screen of a season in every engine: nothing goes wrong, nothing is too wide, small or pale."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from flask import Flask
from playwright.sync_api import Page, ViewportSize
from werkzeug.exceptions import HTTPException

from e2e import a11y
from e2e.server import ServerProcess
from pitapp import create_app

USUAL: ViewportSize = {"width": 360, "height": 640}
NARROW: ViewportSize = {"width": 320, "height": 568}


def screens(data_dir: Path) -> list[str]:
    """Return an address of every kind of screen that links lead to from the Board."""
    app = create_app(data_dir)
    client = app.test_client()
    seen, waiting, found = set(), ["/"], []
    while waiting:
        address = waiting.pop(0)
        kind = kind_of(app, address)
        if kind is None or kind in seen:
            continue
        seen.add(kind)
        answer = client.get(address)
        if answer.status_code != 200 or answer.mimetype != "text/html":
            continue
        found.append(address)
        links = re.findall(r'href="([^"#]+)', answer.text)
        waiting += [urljoin(address, unescape(link)) for link in links]
    app.extensions["pitapp.db"].close()
    return found


def kind_of(app: Flask, address: str) -> str | None:
    """Return the rule that an address falls under, and which fields its query has."""
    place = urlsplit(address)
    if place.netloc:
        return None
    try:
        rule, _ = app.url_map.bind("localhost").match(place.path, return_rule=True)
    except HTTPException:
        return None
    fields = sorted(field.split("=")[0] for field in place.query.split("&"))
    return f"{rule.rule} {fields}"


def look(page: Page) -> list[str]:
    """What is wrong with the open screen, on phones of 360 px and 320 px, in the light and the dark look.

    The dark look differs in its colours alone, so that they alone are read in it.
    """
    found = []
    for size in (USUAL, NARROW):
        page.set_viewport_size(size)
        wear(page, "light")
        found += a11y.at_this_width(page)
        wear(page, "dark")
        found += [f"in the dark: {problem}" for problem in a11y.pale_texts(page)]
    return [f"{urlsplit(page.url).path}: {problem}" for problem in found]


def wear(page: Page, theme: str) -> None:
    """Put the open screen into that look: an attribute is all that the server changes."""
    page.evaluate("(theme) => { document.documentElement.dataset.theme = theme; }", theme)


@pytest.mark.every_engine
def test_every_screen_in_the_light_and_the_dark_look(
    season: Path, server: ServerProcess, page: Page
) -> None:
    found = []
    addresses = screens(season)
    assert len(addresses) > 60
    for address in addresses:
        page.goto(server.url + address)
        found += look(page)
    assert not found, "\n".join(found)


def test_a_look_is_an_attribute_of_the_page_and_nothing_else(
    server: ServerProcess, page: Page
) -> None:
    pages = {}
    for theme in ("light", "dark"):
        page.context.add_cookies([{"name": "pitapp_theme", "value": theme, "url": server.url}])
        page.goto(f"{server.url}/kit")
        pages[theme] = page.evaluate("document.documentElement.outerHTML")
        assert f'data-theme="{theme}"' in pages[theme]
    assert strip(pages["dark"]) == strip(pages["light"])


def strip(html: str) -> str:
    """The page without its look, and without what each page has of its own."""
    html = re.sub(r'data-theme="\w+"', "", html)
    return re.sub(r'(name="(?:csrf_token|idempotency_key)"[^>]*value=)"[^"]*"', r"\1", html)
