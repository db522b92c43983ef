"""Edge years, sent to every date field of every form: refused at the field, or every page still opens."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import NamedTuple, cast

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.dates import LATEST, from_db, to_db
from pitapp.db.migrate import migrations, statements
from pitapp.demo import fill
from pitapp.exchange import document, readers
from pitapp.exchange.run_start import read_start
from pitapp.meetings import store as meetings
from pitapp.web.view.nav import FOOT, MORE
from tests.support import RACE_MORNING, Clock, PageClient

EDGES = ("0001-01-01", "0026-05-16", "1970-01-01", "1999-12-31", "2000-01-01", "2200-12-31",
         "2201-01-01", "9999-12-31", "2026-02-30", "26-05-16")  # fmt: skip
TAKEN = {"2000-01-01", "2200-12-31"}
DATE_FIELDS = {"day", "started", "bought_on", "checked_at", "weighed_at", "since"}
MOST_PAGES = 160


class Sent(NamedTuple):
    """A form as a page shows it: where it goes, and what it would send."""

    action: str
    fields: dict[str, str]
    dates: dict[str, str]


class Forms(HTMLParser):
    """The forms of a page, with the fields in which a day is asked."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Sent] = []
        self.links: list[str] = []
        self.choice = self.area = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        got = {name: value or "" for name, value in attrs}
        if tag == "a" and got.get("href", "").startswith("/"):
            self.links.append(got["href"].split("#")[0])
        if tag == "form" and got.get("method", "").lower() == "post":
            self.forms.append(Sent(got.get("action", ""), {}, {}))
        name = got.get("name", "")
        if not self.forms:
            return
        fields = self.forms[-1].fields
        if tag == "input" and name:
            kind = got.get("type", "text")
            if kind in ("radio", "checkbox") and "checked" not in got:
                return
            fields[name] = got.get("value", "on" if kind == "checkbox" else "")
            if kind in ("date", "datetime-local"):
                self.forms[-1].dates[name] = kind
        elif tag == "select":
            self.choice = name
        elif tag == "option" and self.choice and ("selected" in got or self.choice not in fields):
            fields[self.choice] = got.get("value", "")
        elif tag == "textarea":
            self.area = name
            fields[name] = ""

    def handle_endtag(self, tag: str) -> None:
        self.choice = "" if tag == "select" else self.choice
        self.area = "" if tag == "textarea" else self.area

    def handle_data(self, data: str) -> None:
        if self.area:
            self.forms[-1].fields[self.area] += data


def read_page(client: PageClient, path: str) -> Forms:
    answer = client.get(path, follow_redirects=True)
    assert answer.status_code < 500, path
    found = Forms()
    if answer.mimetype == "text/html":
        found.feed(answer.text)
    return found


def kind_of(path: str) -> str:
    return re.sub(r"\d+|[0-9a-f]{8}-[0-9a-f-]{27}", "1", path.split("?")[0])


def pages(client: PageClient) -> dict[str, Forms]:
    """One page of each kind that can be reached from the Board, by its address."""
    found: dict[str, Forms] = {}
    ahead = [place.path for place in (*FOOT, *MORE)]
    seen = {kind_of(path) for path in ahead}
    while ahead and len(found) < MOST_PAGES:
        path = ahead.pop(0)
        found[path] = read_page(client, path)
        for link in found[path].links:
            if kind_of(link) not in seen and not link.startswith(("/static", "/exchange/sheets")):
                seen.add(kind_of(link))
                ahead.append(link)
    return found


@pytest.fixture(params=["UTC", "Pacific/Auckland"])
def demo(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Flask]:
    app = create_app(tmp_path / "data", clock=Clock(), invented=True)
    app.test_client_class = PageClient
    app.testing = False
    fill(app)
    app.extensions["pitapp.db"].connection().execute(
        "INSERT OR REPLACE INTO settings (name, value) VALUES ('time_zone', ?)", (request.param,)
    )
    yield app
    app.extensions["pitapp.db"].close()


def test_edge_years_in_every_date_field_of_every_form(demo: Flask) -> None:
    client = cast(PageClient, demo.test_client())
    there = pages(client)
    tried = set()
    for path, page in there.items():
        for number, form in enumerate(page.forms):
            for name, kind in form.dates.items():
                tried.add(name)
                for edge in EDGES:
                    fresh = read_page(client, path).forms[number]
                    typed = edge if kind == "date" else f"{edge}T12:00"
                    data = {
                        key: value for key, value in fresh.fields.items() if key != "csrf_token"
                    }
                    if name != "bought_on" and "first" in data:
                        data |= {"first": "12:00", "many": "2", "interval_min": "20"}
                    answer = client.post_form(fresh.action or path, data | {name: typed})
                    assert answer.status_code < 500, (path, name, edge)
                    if edge not in TAKEN:
                        assert answer.status_code == 422, (path, name, edge)
                        assert typed in answer.text, "what was typed is kept"
                    elif answer.status_code == 303:
                        for place in (
                            answer.location,
                            path,
                            *(each.path for each in (*FOOT, *MORE)),
                        ):
                            read_page(client, place)
    assert tried == DATE_FIELDS
    for path in [*pages(client), *there]:
        read_page(client, path)
    connection = demo.extensions["pitapp.db"].connection()
    saved = "".join(document.write(connection, RACE_MORNING)).encode()
    assert document.read(saved).tables["meetings"], "the app takes its own file"


@pytest.mark.parametrize("edge", ["0026-05-16", "1999-12-31", "2201-01-01", "9999-12-31"])
def test_no_way_in_takes_a_year_that_a_form_refuses(db: sqlite3.Connection, edge: str) -> None:
    with pytest.raises(ValueError, match="between 2000 and 2200"):
        read_start(f"{edge} 12:00", "UTC", "", UTC)
    with pytest.raises(ValueError, match="between 2000 and 2200"):
        read_start("", "UTC", f"{edge}T12:00:00Z", UTC)
    with pytest.raises(ValueError, match="between 2000 and 2200"):
        from_db(f"{edge}T12:00:00Z")
    for model, column, row in (
        ("meetings", "day", {"id": 1, "day": edge, "time_zone": "UTC"}),
        ("heats", "starts_at", {"meeting_id": 1, "number": 1, "starts_at": f"{edge}T12:00:00Z"}),
        (
            "packs",
            "bought_on",
            {"mark": "A", "cells_series": 2, "capacity_mah": 1, "bought_on": edge},
        ),
    ):
        with pytest.raises(ValueError, match="between 2000 and 2200") as refused:
            readers.MODELS[model](**row)
        assert column in str(refused.value)


@pytest.mark.parametrize(
    "text", ["2026-05-03", "1e9", "2026-05-03 09:30:00Z", "2026-05-03T09:30:00+02:00", "", "١٢"]
)
def test_a_row_has_one_way_to_write_a_moment(text: str) -> None:
    row = {"meeting_id": 1, "number": 1, "starts_at": text}
    with pytest.raises(ValueError, match="is written like"):
        readers.MODELS["heats"](**row)


def test_a_heat_is_not_moved_out_of_the_range(client: PageClient, db: sqlite3.Connection) -> None:
    client.post_form(
        "/meetings/new",
        {"day": "2200-12-31", "time_zone": "UTC", "first": "23:50", "many": "1", "kind": "heat"},
    )
    moved = client.post_form("/meetings/heats/1/shift", {"minutes": "30"})
    assert moved.status_code == 409
    assert "between 2000 and 2200" in moved.text
    assert to_db(meetings.heat(db, 1).starts_at) == "2200-12-31T23:50:00Z"
    late = {"day": "2200-12-31", "time_zone": "UTC", "first": "23:50", "many": "3",
            "interval_min": "20", "kind": "heat"}  # fmt: skip
    assert client.post_form("/meetings/new", late).status_code == 422


@pytest.mark.parametrize(
    "lost", [datetime(1970, 1, 2, tzinfo=UTC), datetime(2999, 1, 1, tzinfo=UTC)]
)
def test_a_clock_that_has_lost_its_time_is_told_and_writes_what_can_be_read(
    app: Flask, client: PageClient, db: sqlite3.Connection, clock: Clock, lost: datetime
) -> None:
    fill(app)
    clock.set(lost)
    assert "The clock is wrong" in client.get("/").text
    waited = {"X-Waited-Seconds": str(59 * 24 * 3600)}
    car = str(db.execute("SELECT min(id) FROM cars").fetchone()[0])
    pair = {"pinion": "45", "spur": "66", "car_id": car}
    assert client.post_form("/gearing/fit", pair, headers=waited).status_code == 303
    clock.tick(60)
    assert client.post_form("/gearing/fit", pair | {"pinion": "44"}).status_code == 303
    readers.read_all(db)
    newest = db.execute("SELECT max(fitted_at) FROM gear_fits").fetchone()[0]
    assert from_db(newest) <= LATEST
    for place in (*FOOT, *MORE):
        assert client.get(place.path).status_code == 200
    clock.set(RACE_MORNING)
    assert "The clock is wrong" not in client.get("/").text


def test_years_that_an_earlier_version_took_are_brought_in(db: sqlite3.Connection) -> None:
    """A year of two digits was meant in this century; any other goes to the nearest end."""
    (file,) = [path for _, path in migrations() if path.stem.endswith("_dates")]
    days = ("0026-05-16", "9999-12-31", "1970-01-01", "2026-05-16")
    for day in days:
        db.execute("INSERT INTO meetings (day, time_zone) VALUES (?, 'UTC')", (day,))
    moments = ("26-05-16T09:00:00Z", "0026-05-16T09:00:00Z", "9999-12-31T00:00:00Z",
               "1999-12-31T23:00:00Z", "2199-12-31T23:00:00Z")  # fmt: skip
    for number, moment in enumerate(moments, 1):
        db.execute(
            "INSERT INTO heats (meeting_id, number, kind, starts_at) VALUES (1, ?, 'heat', ?)",
            (number, moment),
        )
    for statement in statements(file.read_text(encoding="utf-8")):
        db.execute(statement)
    assert [row[0] for row in db.execute("SELECT day FROM meetings ORDER BY id")] == [
        "2026-05-16", "2200-12-31", "2000-01-01", "2026-05-16"]  # fmt: skip
    assert [row[0] for row in db.execute("SELECT starts_at FROM heats ORDER BY id")] == [
        "2026-05-16T09:00:00Z", "2026-05-16T09:00:00Z", "2200-12-31T23:59:59Z",
        "2000-01-01T00:00:00Z", "2199-12-31T23:00:00Z"]  # fmt: skip
    readers.read_all(db)


def test_every_column_of_days_and_moments_is_brought_in(db: sqlite3.Connection) -> None:
    """But what pitapp writes by its own clock and reads by no model: removals, devices, undo."""
    paths = [path for _, path in migrations()]
    (file,) = [path for path in paths if path.stem.endswith("_dates")]
    since = [path.read_text(encoding="utf-8") for path in paths[paths.index(file) + 1 :]]
    made_since = {table for text in since for table in re.findall(r"CREATE TABLE (\w+)", text)}
    added_since = {
        place for text in since for place in re.findall(r"ALTER TABLE (\w+) ADD COLUMN (\w+)", text)
    }
    brought = set(re.findall(r"UPDATE (\w+) SET (\w+)", file.read_text(encoding="utf-8")))
    there = set()
    for table in [
        row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type='table'")
    ]:
        for column in [row[1] for row in db.execute(f"PRAGMA table_info({table})")]:
            if column.endswith(("_at", "_on")) or column in ("day", "since"):
                there.add((table, column))
    by_the_clock = {"undo_steps", "answered_writes", "devices", "pairing_codes", "wrong_guesses"}
    left = {(table, column) for table, column in there - brought if table not in by_the_clock}
    read_since = {place for place in left if place[0] in made_since or place in added_since}
    assert {table for table, _ in read_since} <= set(readers.MODELS)  # in range from the first row
    left -= read_since
    assert {column for _, column in left} <= {"removed_at"}
    assert timedelta(0) < LATEST - RACE_MORNING
