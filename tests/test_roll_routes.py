"""The parked car's screens."""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.roll import store
from tests.support import RACE_MORNING, PageClient
from tests.test_roll_store import CAR, MOTOR


@pytest.fixture
def car(db: sqlite3.Connection) -> Car:
    kit.save_motor(db, MOTOR.model_copy(update={"id": 0}), RACE_MORNING)
    item = CAR.model_copy(update={"id": 0, "motor_id": 1})
    car = kit.car(db, kit.save_car(db, item, RACE_MORNING)[0])
    gearing.fit(db, car, 40, 80, RACE_MORNING)
    return car


def test_without_a_car_it_says_so(client: PageClient) -> None:
    assert "Add your car" in client.get("/roll").text
    assert client.get("/roll/test").status_code == 409
    assert client.post_form("/roll", {"slope_deg": "2"}).status_code == 409


def test_without_a_gear_there_is_no_test(client: PageClient, db: sqlite3.Connection) -> None:
    kit.save_car(db, CAR.model_copy(update={"id": 0}), RACE_MORNING)
    assert "No gear is on record as fitted" in client.get("/roll").text
    assert "No gear is on record as fitted" in client.get("/roll/test").text
    sent = client.post_form("/roll/test", {"angle_deg": "5", "mass_g": "1350"})
    assert sent.status_code == 409


def test_a_tilt_test_by_its_angle(client: PageClient, db: sqlite3.Connection, car: Car) -> None:
    assert "Do the tilt test." in client.get("/roll").text
    sent = client.post_form("/roll/test", {"angle_deg": "6,0", "mass_g": "1350"})
    assert sent.location == "/roll"
    page = client.get("/roll").text
    held = re.search(r'<data id="hold-now-deg" value="([^"]+)"', page)
    assert held is not None
    assert float(held[1]) == pytest.approx(6)
    assert "It stays on 2°" in page
    assert "Drag brake slows a roll and cannot hold a car still" in page
    for advice in ("Park across the slope", "Transmitter on first and off last", "Wheels off the"):
        assert advice in page
    client.post_form("/roll/tests/1/remove")
    assert store.latest_test(db, car.id) is None
    assert "No tilt test yet." in client.get("/roll/tests").text
    assert client.post_form("/roll/tests/1/remove").status_code == 409


def test_a_tilt_test_by_a_ruler(client: PageClient, db: sqlite3.Connection, car: Car) -> None:
    values = {"angle_deg": "", "rise_mm": "100", "board_mm": "1000", "mass_g": "1350"}
    client.post_form("/roll/test", values)
    test = store.latest_test(db, car.id)
    assert test is not None
    assert test.angle_deg == pytest.approx(5.7392, abs=1e-4)  # asin 0.1, four-figure tables


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({}, "Write the angle, or both lengths below."),
        ({"angle_deg": "0"}, "This must be more than 0."),
        ({"angle_deg": "-4"}, "This must be more than 0."),
        ({"angle_deg": "90"}, "This must be at most 45."),
        ({"angle_deg": "steep"}, "Write a number here"),
        ({"angle_deg": "1"}, "rolling resistance alone would hold the car"),
        ({"angle_deg": "5", "mass_g": "0"}, "This must be at least 50."),
        ({"angle_deg": "5", "mass_g": ""}, "How heavy is the car?"),
        ({"rise_mm": "900", "board_mm": "100"}, "The rise must be at most 100 mm"),
    ],
)
def test_a_test_that_cannot_be_is_told(
    client: PageClient, db: sqlite3.Connection, car: Car, values: dict[str, str], sentence: str
) -> None:
    sent = client.post_form("/roll/test", {"mass_g": "1350"} | values)
    assert sent.status_code == 422
    assert sentence in sent.text
    for typed in values.values():
        assert f'value="{typed}"' in sent.text
    assert store.latest_test(db, car.id) is None


def test_the_buttons_nudge_within_limits(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    def send(slope: str, brake: str, nudge: str = "") -> tuple[float, float]:
        values = {"slope_deg": slope, "drag_brake_percent": brake, "nudge": nudge}
        assert client.post_form("/roll", values).location == "/roll"
        kept = store.parking(db, car.id)
        return kept.slope_deg, kept.drag_brake_percent

    assert send("2", "10", "slope_deg-more") == (2.5, 10)
    assert send("2,5", "10", "slope_deg-less") == (2, 10)
    assert send("0", "0", "slope_deg-less") == (0, 0)
    assert send("2", "98", "drag_brake_percent-more") == (2, 100)
    assert send("3", "5", "version-more") == (3, 5)
    assert send("3", "5", "rubbish") == (3, 5)


@pytest.mark.parametrize(
    ("slope", "brake"), [("", "10"), ("x", "10"), ("-1", "10"), ("90", "10"), ("2", "101")]
)
def test_a_slope_that_cannot_be_is_told(
    client: PageClient, db: sqlite3.Connection, car: Car, slope: str, brake: str
) -> None:
    sent = client.post_form("/roll", {"slope_deg": slope, "drag_brake_percent": brake})
    assert sent.status_code == 422
    assert 'class="error"' in sent.text
    assert store.parking(db, car.id).slope_deg == 2


def test_how_far_it_rolls_is_shown(client: PageClient, car: Car) -> None:
    client.post_form("/roll", {"slope_deg": "2", "drag_brake_percent": "0"})
    page = client.get("/roll/part", headers={"HX-Request": "true"}).text
    for seconds in (10, 30, 60):
        found = re.search(rf'<data id="roll-{seconds}" value="([^"]+)"', page)
        assert found is not None
        # g sin 2° t²/2, no friction.
        assert float(found[1]) == pytest.approx(9.80665 * 0.0348994967 * seconds**2 / 2)
    assert "Drag brake off: it only gets faster." in page
