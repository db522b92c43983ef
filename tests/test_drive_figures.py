"""The figures that the forecast reckons with: each leads to the screen where it is changed."""

from __future__ import annotations

import re
import sqlite3
from html import unescape

import pytest

from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from tests.drive_racer import add_car, add_track
from tests.support import Clock, PageClient


@pytest.fixture(autouse=True)
def _car_and_track(db: sqlite3.Connection, clock: Clock) -> None:
    add_car(db, clock())
    add_track(db, clock())


def test_every_figure_tells_its_source_and_how_to_measure_it(
    client: PageClient,
) -> None:
    page = client.get("/forecast/figures").text
    assert "from Kit, Test motor" in page
    names = re.findall(r'href="/forecast/figures/([a-z_0-9]+)\?', page)
    assert len(names) > 10
    for name in names:
        one = client.get(f"/forecast/figures/{name}")
        assert one.status_code == 200
        assert "How to measure it" in one.text


def test_every_link_of_the_forecast_leads_somewhere(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    for path in ("/forecast", "/forecast/figures"):
        for link in re.findall(
            r'<a class="(?:button|row)[^"]*" href="([^"]+)"', client.get(path).text
        ):
            assert client.get(unescape(link)).status_code == 200, link
    run_length = r'href="([^"]+)"[^>]*><span>Run 5:00'
    assert re.findall(run_length, client.get("/forecast").text) == ["/meetings/classes/new"]
    class_id, _ = meetings.save_class(db, RaceClass(name="Spec", run_length_s=300), clock())
    found = re.findall(run_length, client.get("/forecast").text)
    assert found == [f"/meetings/classes/{class_id}"]


def test_a_track_is_shown_by_a_button_only_where_no_script_runs(
    client: PageClient,
) -> None:
    for screen in ("", "/learned", "/what-if", "/shopping", "/figures"):
        page = client.get(f"/forecast{screen}").text
        assert "<noscript><button>Show</button></noscript>" in page
        assert "js/choose.js" in page
