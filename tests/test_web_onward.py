"""A form that adds what a list lacked leads back to that list, with the new one chosen."""

from __future__ import annotations

import re
import sqlite3

import pytest

from tests.runs_support import furnish
from tests.support import PageClient

TRACK = {"name": "Invented Dunes"}
ADDED = {
    "tyre_set_id": ("/runs/tyres/new", {"name": "Invented set"}),
    "motor_id": ("/kit/motors/new", {"name": "Invented 21.5", "kv_rpm_per_v": "2400"}),
    "track_id": ("/tracks/new", TRACK),
    "race_class_id": ("/meetings/classes/new", {"name": "Invented class"}),
    "meeting_id": ("/meetings/new", {"day": "2026-05-17", "time_zone": "UTC"}),
}


@pytest.mark.parametrize("field", ADDED)
def test_the_run_form_is_gone_back_to(
    client: PageClient, db: sqlite3.Connection, field: str
) -> None:
    furnish(db)
    address, typed = ADDED[field]
    page = client.get("/runs/new").text
    assert f'href="{address}?back=' in page
    assert 'name="back" value="/runs/new"' in client.get(f"{address}?back=/runs/new").text
    answer = client.post_form(address, typed | {"back": "/runs/new"})
    assert answer.status_code == 303, answer.text
    assert answer.location.startswith(f"/runs/new?{field}=")
    page = client.get(answer.location).text
    new_id = re.findall(rf"{field}=(\d+)", answer.location)[0]
    select = page.partition(f'<select id="{field}"')[2].partition("</select>")[0]
    assert f'<option selected value="{new_id}">' in select


def test_an_address_of_another_place_is_not_gone_back_to(client: PageClient) -> None:
    answer = client.post_form("/tracks/new", TRACK | {"back": "//evil.example/"})
    assert answer.location.startswith("/?track_id=")


def test_what_is_no_id_chooses_nothing(client: PageClient, db: sqlite3.Connection) -> None:
    furnish(db)
    assert client.get("/runs/new?added=track_id&track_id=zz").status_code == 200
    assert client.get("/runs/new?added=csrf_token&csrf_token=zz").status_code == 200
    assert client.get("/runs/new?added=nothing&nothing=1").status_code == 200


def test_what_was_added_before_stays_chosen(client: PageClient, db: sqlite3.Connection) -> None:
    furnish(db)
    first = client.post_form("/tracks/new", TRACK | {"back": "/runs/new?heat=1"}).location
    answer = client.post_form("/runs/tyres/new", {"name": "Invented set", "back": first}).location
    again = client.post_form("/tracks/new", {"name": "Second", "back": answer}).location
    assert again.count("track_id=") == 1
    assert "heat=1" in again
    page = client.get(again).text
    for field in ("track_id", "tyre_set_id"):
        new_id = re.findall(rf"{field}=(\d+)", again)[0]
        select = page.partition(f'<select id="{field}"')[2].partition("</select>")[0]
        assert f'<option selected value="{new_id}">' in select
