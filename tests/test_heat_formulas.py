"""Heating and cooling of the can against published examples and scipy."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pitapp.heat.formulas import (
    end_of_run_temperature_c,
    temperature_when_stopped_c,
    two_point_rise,
)


# Gupta & Singhal, Electric Drives, Ex. 4.1: 30 K after 40 min and 45 K after 80 min.
def test_two_readings_give_time_constant_and_final_rise() -> None:
    found = two_point_rise(40 * 60, 30, 80 * 60, 45)
    assert found.time_constant_s / 60 == pytest.approx(57.71, abs=0.005)
    assert found.final_rise_k == pytest.approx(60.0, rel=1e-12)


@pytest.mark.parametrize(
    ("figures", "sentence"),
    [
        ((60, 10, 130, 15), "after twice the time"),
        ((60, 10, 120, 20), "between the first and twice the first"),
        ((60, 10, 120, 9), "between the first and twice the first"),
        ((60, 10, 120, math.nextafter(20, 0)), "too nearly in step"),
        ((0, 10, 0, 15), "must be more than 0 s"),
    ],
)
def test_readings_that_no_warming_body_shows(figures: tuple[float, ...], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        two_point_rise(*figures)


# scipy.integrate.solve_ivp on τ·dT/dt = P·Rth − (T − T_air).
@given(
    air=st.floats(-10, 40),
    start=st.floats(-10, 120),
    power=st.floats(0, 150),
    rth=st.floats(0.2, 8),
    tau=st.floats(30, 2000),
    seconds=st.floats(1, 2000),
)
def test_end_of_run_agrees_with_integration(
    air: float, start: float, power: float, rth: float, tau: float, seconds: float
) -> None:
    run = solve_ivp(
        lambda _t, y: [(power * rth - (y[0] - air)) / tau],
        (0, seconds),
        [start],
        "DOP853",
        rtol=1e-11,
        atol=1e-11,
    )
    mine = end_of_run_temperature_c(air, start, power, rth, tau, seconds)
    assert mine == pytest.approx(run.y[0, -1], rel=1e-8, abs=1e-8)


# The same law with no heat, run forward by scipy from the flag to the reading.
@pytest.mark.parametrize(("flag", "air", "tau", "seconds"), [(78, 24, 540, 95), (60, 8, 300, 600)])
def test_reading_is_taken_back_to_the_flag(
    flag: float, air: float, tau: float, seconds: float
) -> None:
    run = solve_ivp(
        lambda _t, y: [(air - y[0]) / tau], (0, seconds), [flag], "DOP853", rtol=1e-12, atol=1e-12
    )
    reading = float(run.y[0, -1])
    assert temperature_when_stopped_c(reading, seconds, air, tau) == pytest.approx(flag, rel=1e-9)


def test_a_reading_hours_later_is_refused() -> None:
    with pytest.raises(ValueError, match="too late"):
        temperature_when_stopped_c(25.0, 7200.0, 20.0, 600.0)


_any = st.floats()


@given(figures=st.lists(_any, min_size=6, max_size=6))
def test_finite_or_refused(figures: list[float]) -> None:
    for formula, count in (
        (end_of_run_temperature_c, 6),
        (temperature_when_stopped_c, 4),
    ):
        try:
            result = formula(*figures[:count])  # type: ignore[operator]
        except ValueError:
            continue
        assert math.isfinite(result)


@given(
    t1=st.floats(1e-3, 1e6),
    first=st.floats(1e-3, 1000),
    more=st.floats(1e-12, 1, exclude_max=True),
)
def test_two_readings_finite_or_refused(t1: float, first: float, more: float) -> None:
    try:
        found = two_point_rise(t1, first, 2 * t1, first * (1 + more))
    except ValueError:
        assert more > 1 - 2e-6 or more < 1e-9
        return
    # Both readings lie on the curve that was found.
    for seconds, rise in ((t1, first), (2 * t1, first * (1 + more))):
        back = -found.final_rise_k * math.expm1(-seconds / found.time_constant_s)
        assert back == pytest.approx(rise, rel=1e-4)
