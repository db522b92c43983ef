"""What a motor check says, against figures worked out by hand.

That the thresholds are what racers use is common practice, no source; these tests hold the sums and
the direction of each judgement.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from pitapp.bench.models import Finding, MotorCheck
from pitapp.bench.takeover import measured_values, with_measured_value
from pitapp.bench.verdicts import are_alike, change_since, findings
from pitapp.kit.models import Motor
from pitapp.meetings.models import ClassLimit, RaceClass

DAY = datetime(2026, 5, 3, 18, 0, tzinfo=UTC)
MOTOR = Motor(id=1, name="Invented", kv_rpm_per_v=2460, winding="21.5")
SPEC = RaceClass(name="Invented spec", timing_fixed=True, timing_deg=40, timing_tolerance_deg=1)


def check(days: int = 0, **readings: Any) -> MotorCheck:
    return MotorCheck(
        id=days + 1,
        motor_id=1,
        checked_at=DAY + timedelta(days=days),
        **({"volts": 7.0} | readings),
    )


def words(found: list[Finding]) -> list[tuple[str, str]]:
    return [(one.level, one.word) for one in found]


def said(found: list[Finding], word: str) -> Finding:
    return next(one for one in found if one.word == word)


def test_kv_is_speed_by_voltage() -> None:
    """By hand: 17 150 rpm at 7.0 V is 2450 rpm/V."""
    assert check(free_rpm=17150).kv_rpm_per_v == 2450


def test_common_practice_timing_by_sensor() -> None:
    """Common practice, no source: 40, 40 and 43° are 41.0° in the mean, 3° apart, and C is out."""
    found = findings(check(sensor_a_deg=40, sensor_b_deg=40, sensor_c_deg=43), MOTOR, None, None)
    assert words(found) == [("look", "Sensor C is out")]
    assert found[0].reason == "Mean 41.0°, spread 3.0°."


def test_the_class_judges_every_sensor_and_not_the_mean() -> None:
    """40, 40, 43° have a mean of 41.0°, inside 40 ± 1°, and still sensor C is not."""
    read = check(sensor_a_deg=40, sensor_b_deg=40, sensor_c_deg=43)
    found = said(findings(read, MOTOR, None, SPEC), "Timing not legal")
    assert found.level == "stop"
    assert found.reason == "Sensor C reads 43°. Class limit 40° ± 1°."


@pytest.mark.parametrize(
    ("degrees", "legal"), [(39.0, True), (41.0, True), (41.01, False), (38.9, False)]
)
def test_the_edge_of_the_tolerance_is_legal(degrees: float, legal: bool) -> None:
    found = findings(check(sensor_a_deg=degrees), MOTOR, None, SPEC)
    assert words(found) == [("good", "Timing legal") if legal else ("stop", "Timing not legal")]


def test_a_class_that_leaves_the_timing_free_says_nothing_of_it() -> None:
    free = SPEC.model_copy(update={"timing_fixed": False, "timing_deg": None})
    assert findings(check(sensor_a_deg=55), MOTOR, None, free) == []


@pytest.mark.parametrize(
    ("asked", "level"), [("21.5", "good"), (" 21.5 ", "good"), ("17.5", "look"), ("", None)]
)
def test_the_winding_is_compared_as_text(asked: str, level: str | None) -> None:
    found = findings(check(mass_g=160), MOTOR, None, RaceClass(name="Spec", winding=asked))
    assert [one.level for one in found] == ([level] if level else [])


@pytest.mark.parametrize(
    ("limit", "readings", "level"),
    [
        (ClassLimit(name="Kv", unit="rpm/V", most=2500), {"free_rpm": 17500}, "good"),
        (ClassLimit(name="Kv", unit="rpm/V", most=2499), {"free_rpm": 17500}, "stop"),
        (ClassLimit(name="Winding", unit="mΩ", least=20), {"resistance_ohm": 0.02}, "good"),
        (ClassLimit(name="Winding", unit="mΩ", least=20), {"resistance_ohm": 0.0199}, "stop"),
        (ClassLimit(name="Motor", unit="g", least=160), {"mass_g": 159}, "stop"),
        (ClassLimit(name="Body", unit="g", least=160), {"mass_g": 159}, None),
        (ClassLimit(name="Ride height", unit="mm", least=5), {"mass_g": 159}, None),
    ],
)
def test_a_class_limit_on_motors_is_judged(
    limit: ClassLimit, readings: dict[str, Any], level: str | None
) -> None:
    found = findings(check(**readings), MOTOR, None, RaceClass(name="Spec", limits=(limit,)))
    assert [one.level for one in found] == ([level] if level else [])


@pytest.mark.parametrize(
    ("rpm", "word"),
    [
        (17150, "Rotor as new"),
        (17450, "Rotor as new"),
        (17600, "Rotor weaker"),
        (18200, "Rotor much weaker"),
        (16700, "Stronger than new?"),
    ],
)
def test_the_rotor_is_judged_by_its_change(rpm: float, word: str) -> None:
    """By hand, from 17 150: 17 450 is −1.7 %, 17 600 −2.6 %, 18 200 −5.8 %, 16 700 +2.7 %."""
    found = findings(check(1, free_rpm=rpm), MOTOR, check(free_rpm=17150), None)
    assert [one.word for one in found] == [word]


@given(st.floats(10_000, 25_000), st.floats(10_000, 25_000))
def test_rotor_change_takes_one_kv_to_the_other(now: float, new: float) -> None:
    """Flux goes with 1/Kv: the Kv now, made larger by the change, is the Kv when new."""
    percent = change_since(check(1, free_rpm=now), check(free_rpm=new)).rotor_percent
    assert percent is not None
    assert now * (1 + percent / 100) == pytest.approx(new, rel=1e-9)


@pytest.mark.parametrize(
    ("amps", "rpm", "word", "cause"),
    [
        (2.2, 17150, "Current as new", ""),
        (2.5, 17150, "Draws more", "Dirt"),
        (3.0, 17150, "Draws much more", "Dirt"),
        (2.5, 17700, "Draws more", "weaker rotor"),
        (1.5, 17150, "Draws less than new", "Bearings"),
    ],
)
def test_the_current_is_judged_with_its_likely_cause(
    amps: float, rpm: float, word: str, cause: str
) -> None:
    """By hand, from 2.0 A: +10, +25 %, and so on; the edges belong to the milder word."""
    new = check(free_rpm=17150, current_a=2.0)
    found = said(findings(check(1, free_rpm=rpm, current_a=amps), MOTOR, new, None), word)
    assert cause in found.practice


def test_unlike_conditions_are_named() -> None:
    new = check(free_rpm=17150, sensor_a_deg=40, can_c=20)
    now = check(1, free_rpm=17600, volts=7.4, sensor_a_deg=42, can_c=45)
    assert change_since(now, new).unlike == (
        "the voltage (7.4 V now, 7 V then)",
        "the timing (42.0° now, 40.0°)",
        "the can's temperature",
    )
    assert ("look", "Not comparable") in words(findings(now, MOTOR, new, None))


def test_a_check_is_not_compared_with_itself() -> None:
    only = check(free_rpm=17150, current_a=2)
    assert findings(only, MOTOR, only, None) == []


def test_beside_others_is_the_middle_of_those_alike() -> None:
    """By hand: 2500 rpm/V is 2.0 % above the middle of 2400, 2450 and 2900, which is 2450."""
    like = Motor(id=2, name="B", kv_rpm_per_v=2460, winding="21.5")
    other = like.model_copy(update={"winding": "5.5"})
    others = [(like, check(free_rpm=kv * 7)) for kv in (2400, 2450, 2900)]
    others.append((other, check(free_rpm=5000 * 7)))
    found = findings(check(free_rpm=17500), MOTOR, None, None, others)
    assert [one.reason for one in found] == [
        "Kv 2.0 % above the middle of your other 3 of this kind."
    ]


def test_without_a_winding_motors_of_a_like_kv_are_alike() -> None:
    plain = Motor(name="A", kv_rpm_per_v=2460)
    assert are_alike(plain, Motor(name="B", kv_rpm_per_v=2700))
    assert not are_alike(plain, Motor(name="B", kv_rpm_per_v=2800))


def test_what_is_urgent_comes_first() -> None:
    read = check(1, free_rpm=17600, sensor_a_deg=50, sensor_b_deg=50, sensor_c_deg=50)
    found = findings(read, MOTOR, check(free_rpm=17150), SPEC)
    assert [one.level for one in found] == ["stop", "look", "good"]


def test_what_differs_from_the_record_is_offered() -> None:
    read = check(free_rpm=17159, current_a=2.4, resistance_ohm=0.0225)
    motor = MOTOR.model_copy(update={"no_load_current_a": 2.4, "resistance_ohm": 0.021})
    found = measured_values(read, motor)
    assert [(o.name, o.measured, o.recorded) for o in found] == [
        ("kv_rpm_per_v", 2451, 2460),
        ("resistance_ohm", 0.0225, 0.021),
    ]
    assert found[1].text(0.0225) == "22.5 mΩ"
    assert with_measured_value(motor, found[1]).resistance_ohm == 0.0225


@pytest.mark.parametrize(
    ("readings", "field", "sentence"),
    [
        ({"volts": None, "free_rpm": 17000}, "volts", "At what voltage?"),
        ({"volts": 7, "free_rpm": 200_000}, "volts", "no motor has that"),
        ({"volts": 7}, None, "at least one reading"),
        ({"volts": 0, "current_a": 2}, "volts", "0.1"),
        ({"current_a": -1}, "current_a", "0"),
        ({"current_a": float("nan")}, "current_a", "finite"),
        ({"sensor_a_deg": 91}, "sensor_a_deg", "90"),
    ],
)
def test_readings_that_cannot_be_are_refused(
    readings: dict[str, Any], field: str | None, sentence: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        check(**readings)
    finding = refused.value.errors()[0]
    assert finding["loc"] == ((field,) if field else ())
    assert sentence in finding["msg"]
