"""Characters that nobody sees, posted by hand to every text field of every form: said at the field, never kept."""

from __future__ import annotations

import io
import re
import tempfile
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from urllib.parse import urljoin

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.demo import fill
from pitapp.web.clock import WAITED_HEADER
from tests.support import Clock, PageClient

# By Unicode: general categories Cc (but for tab and line ends) and Cs, property Bidi_Control without its marks.
HOSTILE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
DIRT = "\x00\x1b\x1f\x7f\u202e\u2066"
SAID = "There was a character in it that cannot be seen."
EXPORTS = ("/exchange/everything.json", "/exchange/sheets.zip")
LEAST_FORMS, LEAST_SAID = 40, 30


class Forms(HTMLParser):
    """The posted forms of a page: where each goes, what it sends, and which of that is typed text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.forms: list[tuple[str, dict[str, str], set[str]]] = []
        self.inside = self.area = self.select = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form" and given.get("method") == "post":
            self.inside = given.get("action", "")
            self.forms.append((self.inside, {}, set()))
        if not self.inside or not (self.forms and (name := given.get("name") or self.select)):
            return
        _, fields, texts = self.forms[-1]
        kind = given.get("type", "text")
        if tag == "textarea":
            self.area, fields[name] = name, ""
            texts.add(name)
        elif tag == "input" and kind in ("text", "search"):
            fields[name] = given.get("value", "")
            texts.add(name)
        elif tag == "input" and (kind == "hidden" or "checked" in given):
            fields[name] = given.get("value", "on")
        elif tag == "select":
            self.select = name
        elif tag == "option" and ("selected" in given or name not in fields):
            fields[name] = given.get("value", "")

    def handle_data(self, data: str) -> None:
        if self.area:
            self.forms[-1][1][self.area] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.inside = ""
        if tag in ("textarea", "select"):
            self.area = self.select = ""


@pytest.fixture(scope="module")
def demo() -> Iterator[Flask]:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        app = create_app(folder, clock=Clock(), invented=True)
        app.test_client_class = PageClient
        fill(app)
        yield app
        app.extensions["pitapp.db"].close()


def pages(client: PageClient) -> dict[str, str]:
    """A page of every kind that links lead to from the Board, by its address."""
    read: dict[str, str] = {}
    kinds, ahead = set(), ["/", "/more"]
    while ahead:
        address = ahead.pop(0)
        kind = re.sub(r"\d+", "1", address)
        if kind in kinds:
            continue
        kinds.add(kind)
        answer = client.get(address, follow_redirects=True)
        assert answer.status_code < 500, address
        if answer.mimetype == "text/html" and answer.status_code == 200:
            read[address] = answer.text
            ahead += [urljoin(address, each) for each in re.findall(r'href="([^"#]+)', answer.text)]
    return read


def test_they_are_said_at_the_field_and_nothing_keeps_them(demo: Flask) -> None:
    client = demo.test_client()
    assert isinstance(client, PageClient)
    token, forms, said = client.csrf_token(), 0, 0
    for page in pages(client).values():
        for action, fields, texts in Forms(page).forms:
            if not texts:
                continue
            forms += 1
            dirty = fields | {name: (fields[name] or "Invented") + DIRT for name in texts}
            sent = dirty | {"csrf_token": token}
            answer = client.post(action, data=sent)
            assert answer.status_code < 500, action
            assert not HOSTILE.search(answer.text), action
            said += SAID in answer.text
            # What waited on a phone cannot be asked about: it is saved without them.
            waited = client.post(action, data=sent, headers={WAITED_HEADER: "5"})
            assert waited.status_code < 500, action
            assert SAID not in waited.text, action
    assert forms >= LEAST_FORMS
    assert said >= LEAST_SAID

    kept = "\n".join(demo.extensions["pitapp.db"].connection().iterdump())
    assert not HOSTILE.search(kept)
    assert "Invented" in kept
    for address, page in pages(client).items():
        assert not HOSTILE.search(page), address
    everything = client.get(EXPORTS[0])
    assert everything.status_code == 200
    assert not HOSTILE.search(everything.text)
    with zipfile.ZipFile(io.BytesIO(client.get(EXPORTS[1]).data)) as sheets:
        for name in sheets.namelist():
            assert not HOSTILE.search(sheets.read(name).decode("utf-8-sig")), name


@pytest.mark.parametrize("typed", ["My\tTC", "My\r\nTC", "My\u200f TC", " My\x00 TC"])
def test_a_name_is_one_line_and_saved_at_the_second_tap(client: PageClient, typed: str) -> None:
    form = {"internal_ratio": "1.9", "pitch": "dp:64", "tyre_diameter_mm": "63"}
    first = client.post_form("/kit/cars/new", form | {"name": typed})
    assert first.status_code == 422
    assert first.text.count(SAID) == 1
    assert 'value="My TC"' in first.text
    assert client.post_form("/kit/cars/new", form | {"name": "My TC"}).status_code == 303


def test_remarks_keep_their_lines(client: PageClient) -> None:
    form = {"internal_ratio": "1.9", "pitch": "dp:64", "tyre_diameter_mm": "63", "name": "My TC"}
    kept = {"remarks": "One\r\n\tTwo \u200f"}
    assert client.post_form("/kit/cars/new", form | kept).status_code == 303
    dirty = form | {"name": "Other TC", "remarks": "One\x0b\r\nTwo"}
    answer = client.post_form("/kit/cars/new", dirty)
    assert (answer.status_code, answer.text.count(SAID)) == (422, 1)
