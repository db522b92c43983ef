"""The closed forms against published examples, scipy and each other; air density."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pitapp.drive.formulas import air_density_kg_m3, distance_after, speed_after, time_to_speed


# Chapra & Canale, Numerical Methods for Engineers, Ex. 1.1: g 9.8 m/s², 68.1 kg, 12.5 kg/s.
@pytest.mark.parametrize(
    ("seconds", "speed"), [(2, 16.40), (4, 27.77), (6, 35.64), (8, 41.10), (10, 44.87)]
)
def test_linear_drag_speed(seconds: float, speed: float) -> None:
    assert speed_after(9.8, 12.5 / 68.1, 0.0, 0.0, seconds) == pytest.approx(speed, abs=0.005)


# Chapra & Canale, Numerical Methods for Engineers, Ex. 21.3: the same fall over 10 s.
def test_linear_drag_distance() -> None:
    assert distance_after(9.8, 12.5 / 68.1, 0.0, 0.0, 10.0) == pytest.approx(289.435, abs=0.0005)


# The falling jumper, v = √(g·m/cd)·tanh(√(g·cd/m)·t), g 9.81 m/s², 68.1 kg, cd 0.25 kg/m:
# values as in Chapra, Applied Numerical Methods, ch. 1 (from memory).
@pytest.mark.parametrize(("seconds", "speed"), [(2, 18.7292), (4, 33.1118), (6, 42.0762)])
def test_quadratic_drag_speed(seconds: float, speed: float) -> None:
    assert speed_after(9.81, 0.0, 0.25 / 68.1, 0.0, seconds) == pytest.approx(speed, abs=5e-5)


# ISO 2533, standard atmosphere at sea level.
def test_standard_air() -> None:
    assert air_density_kg_m3(15.0, 101_325.0) == pytest.approx(1.2250, abs=5e-6)


# Ideal gas: at constant pressure density falls as 1/T.
def test_warm_air_is_thinner_in_proportion() -> None:
    ratio = air_density_kg_m3(0.0) / air_density_kg_m3(40.0)
    assert ratio == pytest.approx(313.15 / 273.15, rel=1e-12)


_push = st.floats(0, 40)
_fall = st.one_of(st.just(0.0), st.floats(1e-6, 5))
_drag = st.one_of(st.just(0.0), st.floats(1e-12, 0.1))
_speed = st.floats(0, 50)


@settings(max_examples=60, deadline=None)
@given(a=_push, b=_fall, c=_drag, v0=_speed, seconds=st.floats(0.01, 20))
def test_agrees_with_integration(a: float, b: float, c: float, v0: float, seconds: float) -> None:
    run = solve_ivp(
        lambda _t, y: [y[1], a - (b + c * y[1]) * y[1]],
        (0, seconds),
        [0.0, v0],
        "DOP853",
        rtol=1e-12,
        atol=1e-14,
    )
    assert distance_after(a, b, c, v0, seconds) == pytest.approx(run.y[0, -1], rel=1e-9, abs=1e-11)
    assert speed_after(a, b, c, v0, seconds) == pytest.approx(run.y[1, -1], rel=1e-9, abs=1e-11)


@given(a=st.floats(0.5, 40), b=_fall, c=_drag, v0=_speed, seconds=st.floats(0.01, 3))
def test_time_is_the_inverse_of_speed(
    a: float, b: float, c: float, v0: float, seconds: float
) -> None:
    speed = speed_after(a, b, c, v0, seconds)
    pull = abs(a - (b + c * speed) * speed)
    assume(pull > 1e-3)
    assert time_to_speed(a, b, c, v0, speed) == pytest.approx(
        seconds, rel=1e-9, abs=1e-12 * (1 + speed) / pull
    )


# As c → 0 the law is the linear one, v = v∞ + (v₀ − v∞)·e^(−b·t), exactly.
@pytest.mark.parametrize("c", [0.0, 1e-300, 1e-18, 1e-14])
def test_no_drag_is_a_smooth_limit(c: float) -> None:
    a, b, v0, t = 8.0, 0.4, 3.0, 5.0
    end = a / b + (v0 - a / b) * math.exp(-b * t)
    way = a / b * t + (v0 - a / b) * (1 - math.exp(-b * t)) / b
    assert speed_after(a, b, c, v0, t) == pytest.approx(end, rel=1e-11)
    assert distance_after(a, b, c, v0, t) == pytest.approx(way, rel=1e-11)


def test_constant_push_alone() -> None:
    assert speed_after(2.0, 0.0, 0.0, 3.0, 1000.0) == pytest.approx(2003.0, rel=1e-14)
    assert distance_after(2.0, 0.0, 0.0, 3.0, 1000.0) == pytest.approx(1_003_000.0, rel=1e-14)


def test_drag_alone() -> None:
    assert speed_after(0.0, 0.0, 0.5, 10.0, 2.0) == pytest.approx(10 / 11, rel=1e-14)
    assert distance_after(0.0, 0.0, 0.5, 10.0, 2.0) == pytest.approx(math.log(11) / 0.5, rel=1e-14)


def test_very_long_times_settle() -> None:
    settled = (-0.1 + math.sqrt(0.01 + 4 * 10 * 0.01)) / 0.02
    assert speed_after(10.0, 0.1, 0.01, 0.0, 1e9) == pytest.approx(settled, rel=1e-12)
    assert distance_after(10.0, 0.1, 0.01, 0.0, 1e9) == pytest.approx(settled * 1e9, rel=1e-6)


def test_a_speed_beyond_the_settled_one_is_refused() -> None:
    with pytest.raises(ValueError, match="settles at 20 m/s"):
        time_to_speed(8.0, 0.4, 0.0, 3.0, 21.0)
    with pytest.raises(ValueError, match="never gets from 3 to 2 m/s"):
        time_to_speed(8.0, 0.4, 0.0, 3.0, 2.0)


_any = st.floats(allow_nan=True, allow_infinity=True)


@given(a=_any, b=_any, c=_any, v0=_any, last=_any)
def test_finite_or_refused(a: float, b: float, c: float, v0: float, last: float) -> None:
    for formula in (speed_after, distance_after, time_to_speed):
        try:
            result = formula(a, b, c, v0, last)
        except ValueError as refused:
            sentence = str(refused)
        else:
            assert math.isfinite(result)
            assert result >= 0
            continue
        assert sentence.endswith(".")


_wide = st.one_of(st.just(0.0), st.floats(1e-300, 1e6), st.floats(0, 1e6))


@given(a=_wide, b=_wide, c=_wide, v0=_wide, last=st.one_of(_wide, st.floats(0, 1e9)))
def test_finite_over_the_whole_range(a: float, b: float, c: float, v0: float, last: float) -> None:
    assert math.isfinite(speed_after(a, b, c, v0, last))
    assert math.isfinite(distance_after(a, b, c, v0, last))


@given(temperature=_any, pressure=_any)
def test_air_finite_or_refused(temperature: float, pressure: float) -> None:
    try:
        density = air_density_kg_m3(temperature, pressure)
    except ValueError:
        assert not (-60 <= temperature <= 80 and 30_000 <= pressure <= 120_000)
    else:
        assert 0.2 < density < 2.1
