"""Getting started: what is missing in the order of need, each a screen that leads on to the next."""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.board.starting import NAMES
from pitapp.checks.controllers import store as controllers
from pitapp.kit import store as kit
from pitapp.meetings import store as meetings
from pitapp.packs import store as packs
from pitapp.tracks import store as tracks
from tests.support import PageClient

CLASS = {"name": "Invented 21.5", "rev_limit_rpm": "14600", "least_mass_g": "1320"}
CLASS |= {"most_start_v": "8.44"}
CAR = {"name": "Invented TC", "internal_ratio": "1.9", "pitch": "dp:64", "tyre_diameter_mm": "63"}
# In the order of need, as the contract of the path has it: each form as it is sent, and its address.
PATH = (
    ("class", "/meetings/classes/new", CLASS),
    ("car", "/kit/cars/new", CAR),
    ("gears", "/kit/gears", {"pitch": "dp:64", "pinions": "38-46", "spurs": "66"}),
    ("motor", "/checks/controllers/new", {"name": "Mine", "motor_kv": "2380", "fit": "y"}),
    ("pack", "/packs/new", {"mark": "A", "cells_series": "2", "capacity_mah": "6000"}),
    ("track", "/tracks/new", {"name": "Dunes", "longest": "38", "corners": "tight"}),
    ("meeting", "/meetings/new", {"day": "2026-05-16", "time_zone": "UTC", "many": "4"}),
)


def go_on(client: PageClient, after: str) -> str:
    answer = client.get("/start", query_string={"after": after})
    assert answer.status_code == 303
    return str(answer.headers["Location"])


def test_the_order_is_that_of_need() -> None:
    assert tuple(name for name, _, _ in PATH) == NAMES


def test_each_saved_step_leads_on_to_the_next_and_the_last_to_the_board(
    client: PageClient, db: sqlite3.Connection
) -> None:
    following = [*(f"{address}?start={name}" for name, address, _ in PATH[1:]), "/"]
    for (name, address, form), then in zip(PATH, following, strict=True):
        board = client.get("/").text
        assert f'class="button main-action" href="{address}?start={name}"' in board
        assert 'name="start"' in client.get(f"{address}?start={name}").text
        answer = client.post_form(address, form | {"start": name})
        assert (name, answer.status_code) == (name, 303)
        assert answer.headers["Location"] == f"/start?after={name}"
        assert go_on(client, name) == then
    assert "Getting started" not in client.get("/").text
    car = kit.cars(db)[0]
    assert kit.motor(db, car.motor_id or 0).kv_rpm_per_v == 2380
    assert controllers.in_car(db, car.id) is not None
    assert len(packs.packs(db)) == len(tracks.tracks(db)) == 1
    assert meetings.heats(db, meetings.meetings(db)[0].id) == []


def test_every_step_can_be_skipped(client: PageClient) -> None:
    seen = []
    address = go_on(client, "")
    while address != "/":
        seen.append(address)
        skip = re.search(r'href="(/start\?after=[a-z]+)">Skip<', client.get(address).text)
        assert skip, address
        address = go_on(client, skip[1].partition("=")[2])
    assert seen == [f"{address}?start={name}" for name, address, _ in PATH]


def test_a_refused_step_stays_a_step(client: PageClient) -> None:
    answer = client.post_form("/kit/cars/new", {"start": "car", "name": "Invented TC"})
    assert answer.status_code == 422
    assert '<input type="hidden" name="start" value="car">' in answer.text
    assert "/start?after=car" in answer.text


def test_the_list_is_put_away_and_comes_back(client: PageClient) -> None:
    client.post_form("/start", {"list": "away"})
    board = client.get("/").text
    assert "Getting started" not in board
    assert "/kit/cars/new" in board
    assert "Getting started on the Board again" in client.get("/settings").text
    client.post_form("/start", {"list": "back"})
    assert "Getting started" in client.get("/").text


def test_what_the_class_says_is_filled_in_for_the_car(client: PageClient) -> None:
    client.post_form("/meetings/classes/new", CLASS)
    page = client.get("/kit/cars/new").text
    # 8.44 V are two cells at 4.20 V; 3.7 V a cell nominal (common practice).
    for name, value in (("rev_limit_rpm", "14600"), ("pack_v", "7.4"), ("mass_g", "1320")):
        assert re.search(rf'name="{name}" value="{value}"', page), name


@pytest.mark.parametrize(
    ("address", "form", "back", "chosen"),
    [
        ("/tracks/new", {"name": "Dunes"}, "/meetings/new", "track_id"),
        ("/meetings/classes/new", CLASS, "/meetings/new", "race_class_id"),
        ("/kit/cars/new", CAR, "/meetings/new", "car_id"),
        ("/kit/motors/new", {"kv_rpm_per_v": "2380"}, "/kit/cars/new", "motor_id"),
    ],
)
def test_what_was_added_for_a_form_is_chosen_there(
    client: PageClient, address: str, form: dict[str, str], back: str, chosen: str
) -> None:
    client.post_form(address, form)
    assert f'href="{address}?back=' in client.get(back).text
    answer = client.post_form(address, form | {"name": "Another", "back": back})
    assert answer.status_code == 303
    location = answer.headers["Location"]
    assert location == f"{back}?{chosen}=2&added={chosen}"
    select = re.search(rf'<select id="{chosen}".*?</select>', client.get(location).text, re.DOTALL)
    assert select
    assert '<option selected value="2">' in select[0]


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example", "/\\x"])
def test_it_leads_back_to_no_other_server(client: PageClient, back: str) -> None:
    answer = client.post_form("/tracks/new", {"name": "Dunes", "back": back})
    assert answer.headers["Location"].startswith("/?")
