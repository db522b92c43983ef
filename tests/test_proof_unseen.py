"""Characters that nobody sees, posted by hand to every text field of every form: said at the field, never kept."""

from __future__ import annotations

import io
import re
import sqlite3
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


@pytest.mark.parametrize("typed", ["My\tTC", "My\r\nTC", "My\u202e TC", " My\x00 TC"])
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


# Unicode Standard, section 23.2 and 23.8: a soft hyphen, a space and a joiner of no width, a byte order mark; and
# the marks of direction (Bidi_Control) that come along when Arabic or Hebrew is copied.
@pytest.mark.parametrize(
    "mark", ["\u00ad", "\u200b", "\u2060", "\ufeff", "\u200e", "\u200f", "\u061c", "\u3164"]
)
def test_what_comes_along_with_a_copy_is_taken_out_and_not_asked_about(
    client: PageClient, db: sqlite3.Connection, mark: str
) -> None:
    form = {"internal_ratio": f"{mark}1.9", "pitch": "dp:64", "tyre_diameter_mm": f"63{mark}"}
    answer = client.post_form("/kit/cars/new", form | {"name": f"{mark}My{mark} TC{mark}"})
    assert answer.status_code == 303, answer.text
    row = db.execute("SELECT name, internal_ratio, tyre_diameter_mm FROM cars").fetchone()
    assert tuple(row) == ("My TC", 1.9, 63.0)
    nothing = client.post_form("/kit/cars/new", form | {"name": mark})
    assert (nothing.status_code, SAID in nothing.text) == (422, False)
    assert db.execute("SELECT COUNT(*) FROM cars").fetchone()[0] == 1


@pytest.mark.parametrize(
    "name",
    [
        "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645",  # Persian: a prefix that does not join
        "\u0915\u094d\u200d\u0937",  # Devanagari: a half form (Unicode Standard, section 12.1)
        "\u0d05\u0d35\u0d28\u0d4d\u200d",  # Malayalam: a chillu as it was written before Unicode 5.1
        "\u09b0\u200d\u09cd\u09af",  # Bengali: ra before a vowel sign (section 12.2)
        "\U0001f468\u200d\U0001f469\u200d\U0001f467",  # a family (Unicode Technical Standard 51)
        "\U0001f3f3\ufe0f\u200d\U0001f308",  # a rainbow flag
        "\U0001f9d1\U0001f3fd\u200d\U0001f527",  # a mechanic, with a skin tone
    ],
)
def test_a_joiner_stays_where_a_script_or_a_picture_needs_it(
    client: PageClient, db: sqlite3.Connection, name: str
) -> None:
    form = {"internal_ratio": "1.9", "pitch": "dp:64", "tyre_diameter_mm": "63"}
    assert client.post_form("/kit/cars/new", form | {"name": f"{name} \u200b1"}).status_code == 303
    assert db.execute("SELECT name FROM cars").fetchone()[0] == f"{name} 1"


@pytest.mark.parametrize("joiner", ["\u200c", "\u200d"])
def test_a_joiner_that_joins_nothing_is_taken_out(
    client: PageClient, db: sqlite3.Connection, joiner: str
) -> None:
    form = {"internal_ratio": "1.9", "pitch": "dp:64", "tyre_diameter_mm": "63"}
    typed = f"{joiner}M{joiner}y {joiner}{joiner}TC \U0001f3ce{joiner} 1{joiner}"
    assert client.post_form("/kit/cars/new", form | {"name": typed}).status_code == 303
    assert db.execute("SELECT name FROM cars").fetchone()[0] == "My TC \U0001f3ce 1"


def test_a_joiner_typed_twice_is_there_once(client: PageClient, db: sqlite3.Connection) -> None:
    form = {"internal_ratio": "1.9", "pitch": "dp:64", "tyre_diameter_mm": "63"}
    prefix, verb = "\u0645\u06cc", "\u062e\u0648\u0627\u0647\u0645"
    typed = f"{prefix}\u200c\u200c{verb}"
    assert client.post_form("/kit/cars/new", form | {"name": typed}).status_code == 303
    assert db.execute("SELECT name FROM cars").fetchone()[0] == f"{prefix}\u200c{verb}"
