"""Every screen of a season in every engine: nothing goes wrong, nothing is too wide, small or pale."""

from __future__ import annotations

import re
from collections.abc import Callable
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


def look(page: Page, looks: Callable[[Page], list[str]]) -> list[str]:
    """What is wrong with the screen that is open, on a phone of 360 px and on one of 320 px."""
    found = []
    for size in (USUAL, NARROW):
        page.set_viewport_size(size)
        found += [f"{urlsplit(page.url).path}: {problem}" for problem in looks(page)]
    return found


@pytest.mark.every_engine
def test_every_screen_in_the_light_look(season: Path, server: ServerProcess, page: Page) -> None:
    found = []
    addresses = screens(season)
    assert len(addresses) > 60
    for address in addresses:
        page.goto(server.url + address)
        found += look(page, a11y.at_this_width)
    assert not found, "\n".join(found)


@pytest.mark.every_engine
def test_every_screen_in_the_dark_look(season: Path, server: ServerProcess, page: Page) -> None:
    page.context.add_cookies([{"name": "pitapp_theme", "value": "dark", "url": server.url}])
    found = []
    for address in screens(season):
        page.goto(server.url + address)
        assert page.evaluate("document.documentElement.dataset.theme") == "dark"
        found += look(page, a11y.pale_texts)
    assert not found, "\n".join(found)
