"""The scrutineering card: where each line's reading comes from, and what is outside."""

from __future__ import annotations

import sqlite3
from datetime import timedelta

import pytest
from flask import Flask

from pitapp.bench import store as bench
from pitapp.bench.models import MotorCheck
from pitapp.checks import answering, store
from pitapp.checks.card.lines import CardLine, card_lines
from pitapp.checks.context import RunContext, run_context
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Limit, Step
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.meetings.models import ClassLimit, RaceClass
from tests.support import RACE_MORNING

SCRUTINEERING = 2
LATER = RACE_MORNING + timedelta(hours=1)


@pytest.fixture
def motor_id(db: sqlite3.Connection) -> int:
    """The motor of a car in a class with fixed timing and a limit of its own."""
    motor = Motor(name="Invented motor", kv_rpm_per_v=2380)
    motor_id, _ = kit.save_motor(db, motor, RACE_MORNING)
    car = Car(
        name="Invented TC",
        internal_ratio=1.9,
        pitch="dp:64",
        tyre_diameter_mm=63,
        motor_id=motor_id,
        mass_g=1360,
    )
    kit.save_car(db, car, RACE_MORNING)
    race_class = RaceClass(
        name="Invented",
        timing_fixed=True,
        timing_deg=41,
        timing_tolerance_deg=2,
        least_mass_g=1350,
        limits=(ClassLimit(name="Wing chord", unit="mm", most=40),),
    )
    meetings.save_class(db, race_class, RACE_MORNING)
    return motor_id


def present(app: Flask, db: sqlite3.Connection) -> tuple[RunContext, dict[str, CardLine]]:
    with app.test_request_context():
        now = run_context(db, LATER)
        return now, {line.key: line for line in card_lines(db, now)}


def read(app: Flask, db: sqlite3.Connection, step: Step, shown: str) -> None:
    now, _ = present(app, db)
    walk = store.begin(db, now.walk(lists.checklist(db, step.checklist_id)))
    answering.answer(
        db, walk, lists.steps(db, step.checklist_id), step, shown, limits=now.limits, now=LATER
    )


def test_a_limit_of_the_class_meets_the_step_of_its_name(
    app: Flask, db: sqlite3.Connection, motor_id: int
) -> None:
    wing = Step(checklist_id=SCRUTINEERING, name="wing CHORD", kind="number", unit="mm")
    wing_id, _ = lists.save_step(db, wing, RACE_MORNING)
    assert present(app, db)[1]["wing chord"].read is None
    read(app, db, lists.step(db, wing_id), "40.5")
    line = present(app, db)[1]["wing chord"]
    assert (line.name, line.unit, line.limit) == ("Wing chord", "mm", Limit(most=40))
    assert line.read is not None
    assert (line.read.text, line.read.read_at) == ("40.5", LATER)
    assert line.outside


def test_the_motors_timing_is_the_worst_sensor_of_the_newest_check(
    app: Flask, db: sqlite3.Connection, motor_id: int
) -> None:
    """40, 40 and 44° have a mean inside 41 ± 2° and one sensor outside it."""
    for moment, third in ((RACE_MORNING, 42), (LATER, 44)):
        check = MotorCheck(
            motor_id=motor_id,
            checked_at=moment,
            sensor_a_deg=40,
            sensor_b_deg=40,
            sensor_c_deg=third,
        )
        bench.save_check(db, check, moment)
    line = present(app, db)[1]["motor_timing"]
    assert line.read is not None
    assert line.read.text == "44"
    assert line.outside


def test_planned_weight_is_the_cars_own(app: Flask, db: sqlite3.Connection, motor_id: int) -> None:
    line = present(app, db)[1]["mass"]
    assert float(line.planned) == 1360
    assert line.read is None
    assert not line.outside


@pytest.mark.parametrize(
    ("least", "most", "text"),
    [(None, 14_600, "≤ 14\u202f600"), (1350, None, "≥ 1350"), (39, 43, "39–43"), (0, 0, "= 0")],
)
def test_what_is_asked_in_signs(
    app: Flask, least: float | None, most: float | None, text: str
) -> None:
    line = CardLine(key="x", name="x", limit=Limit(least=least, most=most))
    with app.test_request_context():
        assert line.limit_text == text


def test_grams_and_degrees_are_shown_in_the_racers_unit(
    app: Flask, db: sqlite3.Connection, motor_id: int
) -> None:
    """1350 g are 47.6198 oz: 28.349523125 g to the ounce (NIST Handbook 44, appendix C)."""
    db.execute("INSERT INTO settings (name, value) VALUES ('mass_unit', 'imperial')")
    with app.test_request_context():
        line = {each.key: each for each in card_lines(db, run_context(db, LATER))}["mass"]
        assert (line.limit_text, line.shown_unit) == ("≥ 47.6198", "oz")
