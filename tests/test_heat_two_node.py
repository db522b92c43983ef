"""Winding and can: the closed form against numerical integration, its energy, and its limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pitapp.heat.formulas import can_after_flag_c, end_of_run_temperature_c, two_node_temperatures_c
from pitapp.heat.two_node import WINDING_SHARE, rates, run_response

_capacity = st.floats(1, 500)
_conductance = st.floats(0.01, 20)
_temperature = st.floats(-20, 150)


def integrated(
    start: tuple[float, float], air: float, power: float, c1: float, c2: float, inner: float,
    outer: float, seconds: float,
) -> np.ndarray:  # fmt: skip
    """scipy's LSODA over the two equations, and over the heat given to the air."""

    def slopes(_t: float, y: np.ndarray) -> list[float]:
        through, away = inner * (y[0] - y[1]), outer * (y[1] - air)
        return [(power - through) / c1, (through - away) / c2, away]

    found = solve_ivp(slopes, (0, seconds), [*start, 0.0], "LSODA", rtol=1e-11, atol=1e-11)
    return found.y[:, -1]


@settings(deadline=None, max_examples=25)
@given(
    start=st.tuples(_temperature, _temperature),
    power=st.floats(0, 300),
    c1=_capacity,
    c2=_capacity,
    inner=_conductance,
    outer=_conductance,
    seconds=st.floats(0.1, 2000),
)
def test_the_closed_form_is_what_integration_finds(
    start: tuple[float, float],
    power: float,
    c1: float,
    c2: float,
    inner: float,
    outer: float,
    seconds: float,
) -> None:
    winding, can = two_node_temperatures_c(*start, 20.0, power, c1, c2, inner, outer, seconds)
    other = integrated(start, 20.0, power, c1, c2, inner, outer, seconds)
    scale = max(1.0, abs(other[0]), abs(other[1]))
    assert winding == pytest.approx(other[0], abs=1e-7 * scale)
    assert can == pytest.approx(other[1], abs=1e-7 * scale)
    # Heat in is heat stored and heat given to the air.
    stored = c1 * (winding - start[0]) + c2 * (can - start[1])
    turned = power * seconds + c1 * abs(start[0]) + c2 * abs(start[1]) + abs(other[2])
    assert power * seconds == pytest.approx(stored + other[2], abs=1e-7 * max(1.0, turned))


def test_energy_by_the_closed_form_alone() -> None:
    """∫(T₂ − T_air) dt follows from the two equations; in equal steps it adds up to 1e-9."""
    c1, c2, inner, outer, power = 31.0, 83.0, 0.7, 0.21, 24.0
    winding, can = 26.0, 23.0
    whole = two_node_temperatures_c(winding, can, 21.0, power, c1, c2, inner, outer, 320.0)
    for _ in range(64):
        winding, can = two_node_temperatures_c(winding, can, 21.0, power, c1, c2, inner, outer, 5.0)
    assert (winding, can) == pytest.approx(whole, rel=1e-12)
    settled = two_node_temperatures_c(20, 20, 21.0, power, c1, c2, inner, outer, 1e7)
    assert settled[1] - 21.0 == pytest.approx(power / outer, rel=1e-9)
    assert settled[0] - settled[1] == pytest.approx(power / inner, rel=1e-9)


def test_one_node_is_the_limit_of_a_winding_that_is_at_one_with_the_can() -> None:
    c1, c2, outer = 30.0, 90.0, 0.2
    both = two_node_temperatures_c(25, 25, 20, 18.0, c1, c2, 1e7, outer, 300)
    one = end_of_run_temperature_c(20, 25, 18.0, 1 / outer, (c1 + c2) / outer, 300)
    assert both == pytest.approx((one, one), abs=1e-4)


def test_the_can_rises_after_the_flag_by_no_more_than_the_winding_has_to_give() -> None:
    share, over = 0.28, 24.0
    most = over * share
    cans = [
        can_after_flag_c(60 + over, 60, 20, seconds, 30, 700, share) for seconds in range(0, 900, 5)
    ]
    assert cans[0] == pytest.approx(60)
    assert 60 < max(cans) < 60 + most
    assert cans[-1] < 45
    flat = can_after_flag_c(60, 60, 20, 600, 0.5, 700, share)
    assert flat == pytest.approx(20 + 40 * math.exp(-600 / 700), abs=0.1)


@pytest.mark.parametrize(("run_s", "after_s"), [(300.0, 0.0), (240.0, 75.0), (480.0, 300.0)])
def test_the_response_is_the_two_nodes_in_other_words(run_s: float, after_s: float) -> None:
    tau1, tau, standing, resistance, power = 38.0, 450.0, 620.0, 3.1, 21.0
    outer = 1 / resistance
    whole = tau * outer
    c1, c2 = WINDING_SHARE * whole, (1 - WINDING_SHARE) * whole
    inner = c1 / tau1
    hot = two_node_temperatures_c(31, 31, 22, power, c1, c2, inner, outer, run_s)
    read = two_node_temperatures_c(*hot, 22, 0, c1, c2, inner, whole / standing, after_s)[1]
    k, d = run_response(run_s, after_s, tau1, tau, standing)
    assert 22 + resistance * power * k + d * 9 == pytest.approx(read, rel=1e-12)
    assert rates(tau1, tau)[0] == pytest.approx(inner / c1)


_any = st.floats()


@settings(deadline=None)
@given(figures=st.tuples(*[_any] * 9))
def test_finite_or_refused(figures: tuple[float, ...]) -> None:
    try:
        found = two_node_temperatures_c(*figures)
    except ValueError as refused:
        sentence = str(refused)
    else:
        sentence = ""
    if sentence:
        assert "must be" in sentence
        return
    assert all(math.isfinite(each) for each in found)
