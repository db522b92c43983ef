"""The screen that hears a car pass, as a browser without JavaScript meets it, and the run that it saves to."""

from __future__ import annotations

import csv
import io
import re
import sqlite3
from zoneinfo import ZoneInfo

import pytest

from pitapp.db import settings
from pitapp.exchange import runs_in
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.runs import store as runs
from pitapp.runs.models import FittedCar, Run, Snapshot
from pitapp.web.clock import WAITED_HEADER
from tests.runs_support import form_values
from tests.support import RACE_MORNING, PageClient

SCREEN = "/sound/passing"


@pytest.fixture
def car_id(db: sqlite3.Connection) -> int:
    motor_id, _ = kit.save_motor(db, Motor(name="Invented 21.5", kv_rpm_per_v=2380), RACE_MORNING)
    car = Car(name="Invented car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    own = car.model_copy(update={"motor_id": motor_id, "rev_limit_rpm": 14_600})
    return kit.save_car(db, own, RACE_MORNING)[0]


def logged(db: sqlite3.Connection, car_id: int, **figures: float) -> int:
    own = Run(
        car_id=car_id,
        started_at=RACE_MORNING,
        snapshot=Snapshot(car=FittedCar(id=car_id, name="Invented car")),
        **figures,  # type: ignore[arg-type]
    )
    return runs.save_run(db, own, RACE_MORNING)[0]


def value_of(page: str, name: str) -> str:
    (field,) = re.findall(rf'<input id="{name}"[^>]*>', page)
    return str(re.search(r'value="([^"]*)"', field)[1])  # type: ignore[index]


def test_the_microphone_is_open_on_this_screen(client: PageClient, car_id: int) -> None:
    answer = client.get(SCREEN)
    assert "microphone=(self)" in answer.headers["Permissions-Policy"]
    assert SCREEN in client.get("/sound").text


def test_without_a_car_it_leads_to_adding_one(client: PageClient) -> None:
    page = client.get(SCREEN).text
    assert "/kit/cars/new" in page
    assert "ear-start" not in page


def test_what_is_on_record_is_filled_in(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    """By hand: π·63 mm / (66/45·1.9) is 71.02 mm a motor turn."""
    client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"})
    run_id = logged(db, car_id, air_c=21.0)
    page = client.get(SCREEN).text
    assert float(value_of(page, "rollout_mm")) == pytest.approx(71.02, abs=0.01)
    assert value_of(page, "limit_rpm") == "14600"
    assert value_of(page, "air_c") == "21"
    assert re.search(rf'<option selected value="{run_id}">', page)


def test_a_run_leads_to_the_screen_and_is_chosen_there(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    other = Car(name="Second car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    run_id = logged(db, kit.save_car(db, other, RACE_MORNING)[0])
    (address,) = re.findall(rf'href="({SCREEN}[^"]*)"', client.get(f"/runs/{run_id}").text)
    page = client.get(address).text
    assert "Second car" in page
    assert re.search(rf'<option selected value="{run_id}">', page)
    assert client.get(f"{SCREEN}?run=99").status_code == 404


def test_a_speed_goes_to_its_run_and_can_be_undone(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    run_id = logged(db, car_id, best_lap_s=14.9)
    typed = {
        "car_id": car_id,
        "run_id": run_id,
        "top_speed_kmh": "52,34",
        "top_speed_spread_kmh": "0.41",
    }
    sent = client.post_form(SCREEN, typed | {"air_c": "18"})
    assert (sent.status_code, sent.location) == (303, f"/runs/{run_id}")
    run = runs.run(db, run_id)
    assert (run.top_speed_kmh, run.top_speed_spread_kmh) == (52.34, 0.41)
    assert (run.air_c, run.best_lap_s) == (18, 14.9)
    page = client.get(sent.location).text
    assert '<data id="top-speed-kmh" value="52.34">' in page
    assert "52.3" in client.get("/runs").text
    client.post_form(re.findall(r'action="(/undo/[^"]+)"', page)[-1])
    assert runs.run(db, run_id).top_speed_kmh is None


def test_a_run_that_is_yet_to_be_logged_is_opened_with_the_speed(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    typed = {
        "car_id": car_id,
        "run_id": "",
        "top_speed_kmh": "52.34",
        "top_speed_spread_kmh": "0.41",
    }
    sent = client.post_form(SCREEN, typed)
    assert sent.status_code == 303
    opened = form_values(client.get(sent.location).text)
    assert (opened["top_speed_kmh"], opened["top_speed_spread_kmh"]) == ("52.34", "0.41")
    client.post_form("/runs/new", opened)
    (run,) = runs.runs(db)
    assert (run.top_speed_kmh, run.top_speed_spread_kmh) == (52.34, 0.41)
    for odd in ("nan", "inf", "x"):
        page = client.get(f"/runs/new?top_speed_kmh={odd}").text
        assert value_of(page, "top_speed_kmh") == ""


@pytest.mark.parametrize(
    ("typed", "wrong"),
    [({"top_speed_kmh": ""}, "top_speed_kmh"), ({"top_speed_kmh": "900"}, "top_speed_kmh"),
     ({"top_speed_spread_kmh": "-1"}, "top_speed_spread_kmh"), ({"air_c": "warm"}, "air_c"),
     ({"run_id": "77"}, "run_id")],
)  # fmt: skip
def test_what_cannot_be_is_said_at_the_field(
    client: PageClient, db: sqlite3.Connection, car_id: int, typed: dict[str, str], wrong: str
) -> None:
    run_id = logged(db, car_id)
    right = {
        "car_id": car_id,
        "run_id": run_id,
        "top_speed_kmh": "52",
        "top_speed_spread_kmh": "0.4",
    }
    sent = client.post_form(SCREEN, right | typed)
    assert sent.status_code == 422
    assert f'id="{wrong}-error"' in sent.text
    assert runs.run(db, run_id).top_speed_kmh is None


def test_a_run_of_another_car_is_not_taken(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    other = Car(name="Second car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    run_id = logged(db, kit.save_car(db, other, RACE_MORNING)[0])
    sent = client.post_form(SCREEN, {"car_id": car_id, "run_id": run_id, "top_speed_kmh": "52"})
    assert sent.status_code == 422
    assert runs.run(db, run_id).top_speed_kmh is None


def test_miles_an_hour_are_kept_as_kilometres(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    """The international mile is 1.609344 km."""
    settings.save(db, "speed_unit", "imperial")
    run_id = logged(db, car_id)
    client.post_form(SCREEN, {"car_id": car_id, "run_id": run_id, "top_speed_kmh": "32.5"})
    assert runs.run(db, run_id).top_speed_kmh == pytest.approx(32.5 * 1.609344)


def test_an_older_page_leaves_the_speed_as_it_is_and_an_open_one_can_empty_it(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    run_id = logged(db, car_id, top_speed_kmh=52.3, top_speed_spread_kmh=0.4)
    path = f"/runs/{run_id}/edit"
    values = form_values(client.get(path).text)
    old = {name: text for name, text in values.items() if "top_speed" not in name}
    assert client.post_form(path, old | {"remarks": "smooth"}).status_code == 303
    assert runs.run(db, run_id).top_speed_kmh == 52.3
    values = form_values(client.get(path).text)
    only_spread = client.post_form(path, values | {"top_speed_kmh": ""})
    assert only_spread.status_code == 422
    assert 'id="top_speed_spread_kmh-error"' in only_spread.text
    empty = values | {"top_speed_kmh": "", "top_speed_spread_kmh": ""}
    assert client.post_form(path, empty).status_code == 303
    assert runs.run(db, run_id).top_speed_kmh is None


def test_the_speed_is_in_the_sheet_and_comes_back_from_it(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    logged(db, car_id, top_speed_kmh=52.3, top_speed_spread_kmh=0.4)
    (row,) = csv.DictReader(
        io.StringIO(client.get("/exchange/sheets/runs.csv").text.lstrip("\ufeff"))
    )
    assert (row["top speed km/h"], row["top speed ± km/h"]) == ("52.3", "0.4")
    again = io.StringIO()
    writer = csv.DictWriter(again, row)
    writer.writeheader()
    writer.writerow(row | {"key": "", "started": "2026-05-03 10:32", "started UTC": ""})
    (line,) = runs_in.look(db, again.getvalue().encode(), ZoneInfo("Europe/Lisbon")).good
    assert line.run is not None
    assert (line.run.top_speed_kmh, line.run.top_speed_spread_kmh) == (52.3, 0.4)


def test_what_waited_on_a_phone_needs_its_run(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    typed = {"car_id": car_id, "run_id": "", "top_speed_kmh": "52.3"}
    sent = client.post_form(SCREEN, typed, headers={WAITED_HEADER: "600"})
    assert sent.status_code == 422
    run_id = logged(db, car_id)
    sent = client.post_form(SCREEN, typed | {"run_id": run_id}, headers={WAITED_HEADER: "600"})
    assert sent.status_code == 303
    assert runs.run(db, run_id).top_speed_kmh == 52.3
