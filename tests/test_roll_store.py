"""Tilt tests and how cars stand, in the database; what they say of the car as it is now."""

from __future__ import annotations

import sqlite3
from datetime import timedelta

import pytest

from pitapp.board.models import Situation
from pitapp.db import undo
from pitapp.errors import NotThere
from pitapp.gearing import store as gearing
from pitapp.gearing.answer import GearFit
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.roll import ready, store
from pitapp.roll.answer import creep, hold, parking_verdict, reminders
from pitapp.roll.models import Parking, TiltTest
from tests.support import RACE_MORNING

CAR = Car(
    id=1, name="Test car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63, mass_g=1350
)
MOTOR = Motor(id=1, name="Bench motor", kv_rpm_per_v=2460, resistance_ohm=0.015)
TEST = TiltTest(
    car_id=1,
    motor_id=1,
    tested_at=RACE_MORNING,
    angle_deg=6,
    mass_g=1350,
    tyre_diameter_mm=63,
    pinion_teeth=40,
    spur_teeth=80,
    internal_ratio=1.9,
    kv_rpm_per_v=2460,
)


def fit(pinion: int, spur: int) -> GearFit:
    return GearFit(
        car_id=1,
        pinion_teeth=pinion,
        spur_teeth=spur,
        internal_ratio=1.9,
        tyre_diameter_mm=63,
        fitted_at=RACE_MORNING,
    )


@pytest.fixture
def car(db: sqlite3.Connection) -> Car:
    kit.save_motor(db, MOTOR.model_copy(update={"id": 0}), RACE_MORNING)
    item = CAR.model_copy(update={"id": 0, "motor_id": 1})
    return kit.car(db, kit.save_car(db, item, RACE_MORNING)[0])


def test_tilt_tests_are_kept_paged_and_taken_out(db: sqlite3.Connection, car: Car) -> None:
    assert store.latest_test(db, car.id) is None
    for hours in range(5):
        at = RACE_MORNING + timedelta(hours=hours)
        item = TEST.model_copy(update={"tested_at": at, "angle_deg": 4.0 + hours})
        token = store.add_test(db, item, at)
    newest = store.latest_test(db, car.id)
    assert newest is not None
    assert newest.angle_deg == 8
    first = store.tilt_tests(db, car.id, limit=3)
    rest = store.tilt_tests(db, car.id, limit=3, before=first[-1].id)
    assert [one.angle_deg for one in first + rest] == [8, 7, 6, 5, 4]
    undo.undo(db, token, RACE_MORNING)
    assert len(store.tilt_tests(db, car.id)) == 4
    token = store.remove_test(db, 1, RACE_MORNING)
    assert len(store.tilt_tests(db, car.id)) == 3
    with pytest.raises(NotThere):
        store.remove_test(db, 1, RACE_MORNING)
    undo.undo(db, token, RACE_MORNING)
    assert len(store.tilt_tests(db, car.id)) == 4


def test_how_a_car_stands_is_kept_once(db: sqlite3.Connection, car: Car) -> None:
    assert store.parking(db, car.id) == Parking(car_id=car.id)
    for slope in (3.0, 4.5):
        store.save_parking(db, Parking(car_id=car.id, slope_deg=slope, drag_brake_percent=30))
    assert store.parking(db, car.id).slope_deg == 4.5
    assert db.execute("SELECT count(*) FROM parked_cars").fetchone()[0] == 1


def test_the_gear_of_the_test_holds_to_the_angle_of_the_test() -> None:
    found = hold(CAR, MOTOR, fit(40, 80), TEST)
    assert found.now_deg == pytest.approx(6)
    assert found.reminders == ()


def test_a_longer_gear_holds_less_and_is_told() -> None:
    found = hold(CAR, MOTOR, fit(45, 80), TEST)
    assert found.now_deg < 6
    assert "A longer gear is fitted" in found.reminders[0]
    assert hold(CAR, MOTOR, fit(38, 80), TEST).reminders == ()


def test_a_heavier_car_holds_less() -> None:
    heavier = CAR.model_copy(update={"mass_g": 1500})
    assert hold(heavier, MOTOR, fit(40, 80), TEST).now_deg < 6


@pytest.mark.parametrize(
    ("motor", "words"),
    [
        (MOTOR.model_copy(update={"kv_rpm_per_v": 2480}), ""),
        (MOTOR.model_copy(update={"kv_rpm_per_v": 2520}), "The rotor has got weaker"),
        (MOTOR.model_copy(update={"id": 2}), "Another motor is fitted"),
        (MOTOR.model_copy(update={"id": 2, "kv_rpm_per_v": 3000}), "A weaker motor is fitted"),
        (None, "Another motor is fitted"),
    ],
)
def test_a_weaker_or_another_motor_is_told(motor: Motor | None, words: str) -> None:
    found = reminders(motor, fit(40, 80), TEST, 6)
    assert [words in sentence for sentence in found] == ([True] if words else [])


def test_whether_it_stays_goes_by_the_tilt_test_alone() -> None:
    found = hold(CAR, MOTOR, fit(40, 80), TEST)
    assert [parking_verdict(found, slope).level for slope in (1, 3, 3.1, 6, 6.1, 30)] == [
        "good",
        "good",
        "look",
        "look",
        "stop",
        "stop",
    ]
    assert parking_verdict(None, 0).word == "Not known"


def test_a_car_that_may_roll_says_why() -> None:
    assert "too close" in parking_verdict(hold(CAR, MOTOR, fit(40, 80), TEST), 4).reason
    assert (
        "calculated, not tested" in parking_verdict(hold(CAR, MOTOR, fit(41, 80), TEST), 1).reason
    )


def test_creep_is_slower_with_more_brake_and_never_stops() -> None:
    def metres(brake: float) -> float:
        standing = Parking(car_id=1, drag_brake_percent=brake, slope_deg=2)
        return creep(1350, MOTOR, fit(40, 80), standing).distances_m[-1]

    distances = [metres(brake) for brake in (0, 10, 50, 100)]
    assert distances == sorted(distances, reverse=True)
    assert distances[-1] > 0
    # Brake off: x = g sin 2° t²/2 after 60 s, no friction (9.80665 m/s²).
    assert distances[0] == pytest.approx(9.80665 * 0.0348994967 * 1800)


def test_the_steady_creep_is_the_torque_balance() -> None:
    """v = m g sin θ R r² / (d Kt² FDR²), each figure by hand; leads and controller 5 mΩ."""
    standing = Parking(car_id=1, drag_brake_percent=50, slope_deg=3)
    speed = creep(1350, MOTOR, fit(40, 80), standing).speed_m_s
    kt = 0.0038818  # 60 / (2π · 2460)
    by_hand = 1.35 * 9.80665 * 0.0523360 * 0.020 * 0.0315**2 / (0.5 * kt**2 * 3.8**2)
    assert speed == pytest.approx(by_hand, rel=1e-4)


def test_the_line_on_the_board(db: sqlite3.Connection, car: Car) -> None:
    situation = Situation(car=car, now=RACE_MORNING)
    assert ready.line(db, situation) is None
    gearing.fit(db, car, 40, 80, RACE_MORNING)
    untested = ready.line(db, situation)
    assert untested is not None
    assert (untested.level, untested.href) == ("look", "/roll")
    store.add_test(db, TEST, RACE_MORNING)
    tested = ready.line(db, situation)
    assert tested is not None
    assert (tested.level, tested.word) == ("good", "tested")
    assert "Holds to about 6.0°" in tested.reason
    gearing.fit(db, car, 48, 80, RACE_MORNING + timedelta(hours=1))
    longer = ready.line(db, situation)
    assert longer is not None
    assert longer.level == "look"
    assert "A longer gear is fitted" in longer.reason
