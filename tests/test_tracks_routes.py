"""The Tracks screens: what is typed is kept, read back, refused in words and undone."""

from __future__ import annotations

import re
import sqlite3
from datetime import timedelta
from html import unescape
from uuid import UUID

import pytest

from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.runs import store as runs
from pitapp.runs.models import FittedCar, Run, Snapshot
from pitapp.tracks import store
from pitapp.tracks.models import Straight, Track
from tests.support import RACE_MORNING, PageClient

TYPED = {
    "name": "Mossy Hollow",
    "surface": "asphalt",
    "lap_length_m": "260",
    "rows-0-length_m": "48,5",
    "rows-0-entry_kmh": "32",
    "rows-0-exit_kmh": "28",
    "rows-1-length_m": "21",
    "rows-1-entry_kmh": "",
    "rows-1-exit_kmh": "",
    "remarks": "Bumps.",
}


@pytest.fixture
def track_id(db: sqlite3.Connection) -> int:
    straights = (Straight(length_m=48, entry_kmh=32, exit_kmh=28),)
    return store.save_track(db, Track(name="Hollow", straights=straights), RACE_MORNING)[0]


@pytest.fixture
def car_id(db: sqlite3.Connection) -> int:
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    return kit.save_car(db, car, RACE_MORNING)[0]


def log(db: sqlite3.Connection, car_id: int, track_id: int, number: int, **more: object) -> int:
    values = {
        "uuid": UUID(int=(number << 64) | (4 << 76) | (8 << 60)),
        "car_id": car_id,
        "track_id": track_id,
        "started_at": RACE_MORNING + timedelta(hours=number),
        "pinion_teeth": 45,
        "spur_teeth": 66,
        "internal_ratio": 1.9,
        "tyre_diameter_mm": 63.0,
        "snapshot": Snapshot(car=FittedCar(id=car_id, name="Invented TC")),
    }
    return runs.save_run(db, Run(**(values | more)), RACE_MORNING)[0]  # type: ignore[arg-type]


def test_a_track_is_added_as_typed(client: PageClient, db: sqlite3.Connection) -> None:
    answer = client.post_form("/tracks/new", TYPED)
    assert (answer.status_code, answer.location) == (303, "/tracks")
    assert store.track(db, 1) == Track(
        id=1,
        name="Mossy Hollow",
        surface="asphalt",
        lap_length_m=260,
        remarks="Bumps.",
        straights=(
            Straight(length_m=48.5, entry_kmh=32, exit_kmh=28),
            Straight(length_m=21, entry_kmh=28, exit_kmh=32),
        ),
    )
    page = client.get("/tracks/1").get_data(as_text=True)
    assert "Mossy Hollow" in page
    assert "No runs yet" in page
    assert "Undo" in client.get("/tracks").get_data(as_text=True) + page


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("name", " ", "Give the track a name."),
        ("name", "x" * 61, "Keep this under 60 characters."),
        ("lap_length_m", "-260", "This must be at least 10."),
        ("lap_length_m", "far", "Write a number here"),
        ("lap_length_m", "50", "longer than the lap"),
        ("rows-0-length_m", "", "How long is it?"),
        ("rows-0-length_m", "0", "This must be at least 1."),
        ("rows-0-length_m", "\U0001f40c", "Write a number here"),
        ("rows-0-length_m", "1e9", "This must be at most 1000."),
        ("rows-0-entry_kmh", "999", "This must be at most 250."),
        ("rows-0-exit_kmh", "0", "This must be at least 1."),
        ("surface", "y" * 41, "Keep this under 40 characters."),
        ("remarks", "z" * 2001, "Keep this under 2000 characters."),
    ],
)
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(
    client: PageClient, db: sqlite3.Connection, field: str, typed: str, said: str
) -> None:
    answer = client.post_form("/tracks/new", TYPED | {field: typed})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert said in page
    for name, value in (TYPED | {field: typed}).items():
        assert value.strip() in page, name
    assert store.tracks(db) == []


def test_straights_without_any_speed_are_asked_about(client: PageClient) -> None:
    bare = TYPED | {"rows-0-entry_kmh": "", "rows-0-exit_kmh": ""}
    answer = client.post_form("/tracks/new", bare)
    assert answer.status_code == 422
    assert "Give the speed at one corner at least." in answer.get_data(as_text=True)


def test_another_straight_is_another_row_and_saves_nothing(
    client: PageClient, db: sqlite3.Connection
) -> None:
    page = client.post_form("/tracks/new", TYPED | {"more": "1"}).get_data(as_text=True)
    assert 'name="rows-2-length_m"' in page
    assert 'value="48,5"' in page
    assert store.tracks(db) == []


def test_rows_beyond_the_most_are_refused(client: PageClient, db: sqlite3.Connection) -> None:
    many = {f"rows-{i}-length_m": "2" for i in range(40)} | {"rows-0-exit_kmh": "20"}
    answer = client.post_form("/tracks/new", {"name": "Long", **many})
    assert answer.status_code in (303, 422)
    assert all(len(track.straights) <= 12 for track in store.tracks(db))


def test_the_second_device_is_told_and_loses_nothing(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    seen = store.track(db, track_id)
    store.save_track(db, seen.model_copy(update={"name": "Dale", "straights": ()}), RACE_MORNING)
    mine = TYPED | {"version": "1", "name": "Glen"}
    answer = client.post_form(f"/tracks/{track_id}/edit", mine)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 409
    assert "On the other screen this became Dale." in page
    assert "On the other screen the straights became none." in page
    assert 'value="Glen"' in page
    assert 'value="48,5"' in page
    again = client.post_form(f"/tracks/{track_id}/edit", mine | {"version": "2"})
    assert again.status_code == 303
    assert store.track(db, track_id).name == "Glen"


def test_lengths_and_speeds_are_shown_in_the_racers_units(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    """48 m is 157.48 ft and 32 km/h 19.88 mph (foot 0.3048 m, mile 1609.344 m)."""
    db.executemany(
        "INSERT INTO settings VALUES (?, 'imperial')", [("speed_unit",), ("length_unit",)]
    )
    page = client.get(f"/tracks/{track_id}").get_data(as_text=True)
    assert "157.5" in page
    form = client.get(f"/tracks/{track_id}/edit").get_data(as_text=True)
    assert 'value="157.5"' in form
    assert 'value="19.88"' in form
    assert "In, mph" in form


def test_a_removed_track_can_be_had_back(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    answer = client.post_form(f"/tracks/{track_id}/remove")
    assert answer.status_code == 303
    assert store.tracks(db) == []
    assert "Undo" in client.get("/tracks").get_data(as_text=True)


@pytest.mark.parametrize("path", ["/tracks/99", "/tracks/99/edit", "/tracks/99/plots"])
def test_an_unknown_track_is_not_found(client: PageClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_the_starting_gear_stands_with_its_reasons(
    client: PageClient, db: sqlite3.Connection, track_id: int, car_id: int
) -> None:
    class_id, _ = meetings.save_class(db, RaceClass(name="Sedan"), RACE_MORNING)
    same = {"race_class_id": class_id}
    log(db, car_id, track_id, 1, best_lap_s=15.31, can_c=66.0, air_c=18.0, **same)
    log(db, car_id, track_id, 2, best_lap_s=15.42, can_c=64.0, **same)
    log(db, car_id, track_id, 3, best_lap_s=15.11, can_c=85.0, pinion_teeth=47, **same)
    page = client.get(f"/tracks/{track_id}").get_data(as_text=True)
    assert '<data id="start-gear" value="45/66">' in page
    assert f'<data id="start-ratio" value="{66 / 45 * 1.9}">' in page
    for sentence in (
        "2 of 3 runs here had this gear, all in this class with this car.",
        "Best lap 15.31 s, 15.37 s typically.",
        "The can reached 66 °C at most, in 18 °C air.",
        "47 / 66 was 0.20 s quicker, but its can reached 85 °C.",
    ):
        assert sentence in page


def test_advice_from_another_car_is_said_to_be_so(
    client: PageClient, db: sqlite3.Connection, track_id: int, car_id: int
) -> None:
    log(db, car_id, track_id, 1)
    other = Car(name="Invented Compact", internal_ratio=2.1, pitch="dp:64", tyre_diameter_mm=61)
    other_id, _ = kit.save_car(db, other, RACE_MORNING)
    kit.choose_car(db, other_id)
    page = client.get(f"/tracks/{track_id}").get_data(as_text=True)
    assert "1 of 1 run here had this gear, with another car in another class." in page
    assert "One run is a hint, no more." in page
    assert "No lap was logged with it" in page
    assert "in Gearing" not in page


def test_the_plots_carry_every_number(
    client: PageClient, db: sqlite3.Connection, track_id: int, car_id: int
) -> None:
    for number, can in ((1, 61.0), (2, 64.0), (3, 71.0)):
        pinion = 43 + number
        log(
            db,
            car_id,
            track_id,
            number,
            can_c=can,
            best_lap_s=15.5 - number / 10,
            air_c=17.0,
            pinion_teeth=pinion,
        )
    page = client.get(f"/tracks/{track_id}/plots").get_data(as_text=True)
    for cell in ("61", "64", "71", "15.40", "15.30", "15.20", "10:00", "11:00", "12:00"):
        assert f"<td>{cell}</td>" in page
    assert "3 runs: by and large, the longer the gear, the hotter." in page
    assert "3 runs: by and large, the longer the gear, the quicker." in page
    assert page.count('<svg class="plot-drawing"') == 3


@pytest.mark.parametrize("day", ["", "2026-05-16", "yesterday", "9999-99-99", "1900-01-01"])
def test_any_day_may_be_asked_for(
    client: PageClient, db: sqlite3.Connection, track_id: int, car_id: int, day: str
) -> None:
    log(db, car_id, track_id, 1, can_c=61.0)
    answer = client.get(f"/tracks/{track_id}/plots?day={day}")
    assert answer.status_code == 200
    assert "16 May 26" in answer.get_data(as_text=True)


def test_the_day_is_that_of_the_tracks_wall_clock(
    client: PageClient, db: sqlite3.Connection, track_id: int, car_id: int
) -> None:
    """12:00 UTC is 00:00 the next day in Auckland in May (UTC+12, no summer time)."""
    log(db, car_id, track_id, 3, can_c=61.0, time_zone="Pacific/Auckland")
    page = client.get(f"/tracks/{track_id}/plots").get_data(as_text=True)
    assert "17 May 26" in page
    assert "<td>00:00</td>" in page


def test_the_plots_are_of_the_current_car_unless_all_are_asked_for(
    client: PageClient, db: sqlite3.Connection, track_id: int, car_id: int
) -> None:
    other = Car(name="Invented Compact", internal_ratio=2.1, pitch="dp:64", tyre_diameter_mm=61)
    other_id, _ = kit.save_car(db, other, RACE_MORNING)
    log(db, car_id, track_id, 1, can_c=61.0)
    log(db, other_id, track_id, 2, can_c=52.0, internal_ratio=2.1)
    own = client.get(f"/tracks/{track_id}/plots").get_data(as_text=True)
    assert "<td>61</td>" in own
    assert "<td>52</td>" not in own
    assert "All cars" in own
    both = client.get(f"/tracks/{track_id}/plots?cars=all").get_data(as_text=True)
    assert "<td>61</td>" in both
    assert "<td>52</td>" in both
    assert "Only Invented TC" in both
    day = re.search(r'href="([^"]+)#through-the-day"', both)
    assert day
    assert "<td>52</td>" in client.get(unescape(day[1])).get_data(as_text=True)
    kit.choose_car(db, other_id)
    assert "<td>52</td>" in client.get(f"/tracks/{track_id}/plots").get_data(as_text=True)
