"""The motor against textbooks, scipy and its own energy balance."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import constants, optimize

from pitapp.motor.formulas import (
    TimingSummary,
    efficiency,
    free_speed_rpm,
    kv_from_bench,
    loaded_speed_rpm,
    peak_power_w,
    rotor_change_percent,
    stall_current_a,
    timing_summary,
    torque_constant_nm_per_a,
    winding_rise_k,
)

ODD = [math.nan, math.inf, -math.inf, 0, -1, -0.0, 5e-324, 1e308, 10**400, True, "x", "", None, []]
ANYTHING = st.one_of(st.sampled_from(ODD), st.floats(), st.integers(), st.floats(0, 100))
KV = st.floats(50, 20_000)
VOLTS = st.floats(0.1, 60)
OHM = st.floats(0.0001, 1000)
RAD_S_PER_RPM = 2 * constants.pi / constants.minute


def outcome(function: Callable[..., Any], *args: Any) -> Any:
    """Return the answer, or the sentence of the ValueError."""
    try:
        return function(*args)
    except ValueError as error:
        return str(error)


def is_sentence(result: Any) -> bool:
    return isinstance(result, str) and result[0].isupper() and result[-1] in ".?"


def test_published_free_speed() -> None:
    """Burman, Special Electrical Machines, example 4.1: 0.12 V·s/rad at 48 V is 3819.7 rpm."""
    kv = 1 / (0.12 * RAD_S_PER_RPM)
    assert free_speed_rpm(kv, 48) == pytest.approx(3819.7, abs=0.05)
    assert torque_constant_nm_per_a(kv) == pytest.approx(0.12, rel=1e-15)


def test_published_torque_constant() -> None:
    """Kv 50 gives 0.190986 N·m/A: 60 / (2π × 50), by hand."""
    assert torque_constant_nm_per_a(50) == pytest.approx(0.190986, abs=5e-7)


def test_published_peak_power() -> None:
    """MIT motor notes: 600 rpm and 0.325 N·m stall: 5.105 W at 300 rpm and 0.1625 N·m."""
    assert peak_power_w(600, 0.325) == pytest.approx(5.105, abs=5e-4)
    assert peak_power_w(600, 0.325) == pytest.approx(300 * RAD_S_PER_RPM * 0.1625, rel=1e-15)


def test_published_winding_rise() -> None:
    """Kulshreshtha, example 2.18: 3.42 Ω at 20 °C and 4.22 Ω hot is a rise of 59.5 K, ±0.1."""
    assert winding_rise_k(3.42, 4.22, 20) == pytest.approx(59.5, abs=0.1)


def test_published_copper_loss() -> None:
    """Langsdorf: 504 W of copper loss at 20 °C is 612.9 W at 75 °C, the current being the same.

    Loss is in proportion to resistance, so the two losses are resistances but for a factor.
    """
    assert winding_rise_k(0.504, 0.6129, 20) == pytest.approx(75 - 20, abs=0.03)


def test_common_practice_free_speed() -> None:
    """Common practice, no source: 2460 rpm/V at 7.4 V is 18 204 rpm."""
    assert free_speed_rpm(2460, 7.4) == 18204


def test_common_practice_timing() -> None:
    """Common practice, no source: sensors at 40, 40 and 43° are 41.0° in the mean, 3° apart."""
    assert timing_summary([40, 40, 43]) == TimingSummary(41.0, 3.0, 3)


@pytest.mark.parametrize(
    ("degrees", "tolerance", "out"),
    [
        ([43, 40, 40], 1, 1),
        ([40, 36.5, 40], 1, 2),
        ([40, 40, 41], 1, None),
        ([40, 40, 41], 0.5, 3),
        ([38, 40, 42], 1, None),
        ([40, 40, 40], 0, None),
        ([40, 45], 1, None),
        ([40], 1, None),
        ([30, 30, 30, 30, 30, 33], 1, 6),
    ],
)
def test_the_sensor_that_is_out(degrees: list[float], tolerance: float, out: int | None) -> None:
    """By hand: the one farthest from the middle reading, if it is alone and beyond tolerance."""
    assert timing_summary(degrees, tolerance).sensor_out == out


@given(st.lists(st.floats(-90, 90), min_size=1, max_size=12))
def test_mean_and_spread_are_exact(degrees: list[float]) -> None:
    found = timing_summary(degrees)
    exact = [Fraction(d) for d in degrees]
    assert found.mean_deg == pytest.approx(float(sum(exact) / len(exact)), rel=1e-12, abs=1e-12)
    assert found.spread_deg == pytest.approx(float(max(exact) - min(exact)), rel=1e-12, abs=1e-12)


@given(KV, VOLTS, OHM, st.floats(0, 1))
def test_the_speed_torque_line(kv: float, volts: float, ohm: float, share: float) -> None:
    """A straight line from free speed to stall: a share of the torque costs that share of speed."""
    stall = stall_current_a(volts, ohm) * torque_constant_nm_per_a(kv)
    assume(stall <= 1000)
    free = free_speed_rpm(kv, volts)
    near = pytest.approx(free * (1 - share), rel=1e-9, abs=1e-9 * free)
    assert loaded_speed_rpm(kv, volts, ohm, stall * share) == near
    assert loaded_speed_rpm(kv, volts, ohm, 0) == free


@given(KV, VOLTS, st.floats(0.001, 10))
def test_peak_power_is_the_top_of_the_line(kv: float, volts: float, ohm: float) -> None:
    """scipy.optimize finds no more power anywhere on the line; the top is V²/4R."""
    free, kt = free_speed_rpm(kv, volts), torque_constant_nm_per_a(kv)
    stall = volts / ohm * kt
    assume(free <= 300_000)
    assume(stall <= 1000)
    top = optimize.minimize_scalar(
        lambda share: -share * loaded_speed_rpm(kv, volts, ohm, share * stall) / free,
        bounds=(0, 1),
        method="bounded",
    )
    most = -top.fun * stall * free * RAD_S_PER_RPM
    assert peak_power_w(free, stall) == pytest.approx(most, rel=1e-6)
    assert peak_power_w(free, stall) == pytest.approx(volts**2 / (4 * ohm), rel=1e-12)


SHARE = st.just(0.0) | st.floats(1e-9, 1)
"""Of a current. Under that the product of currents is no normal number, and the check itself is off."""


@given(KV, VOLTS, OHM, st.floats(0, 0.5), SHARE)
def test_efficiency_is_power_out_over_power_in(
    kv: float, volts: float, ohm: float, no_load: float, share: float
) -> None:
    """Shaft power from the speed-torque line, less the friction of the no-load current."""
    stall = volts / ohm
    idle = no_load * stall
    current = idle + share * (stall - idle)
    assume(0 < current <= stall)
    assume(
        volts * current >= sys.float_info.min
    )  # else the check itself divides by no normal number
    assume(idle <= 2000)
    kt = torque_constant_nm_per_a(kv)
    assume(current * kt <= 1000)
    speed = loaded_speed_rpm(kv, volts, ohm, min(current, stall) * kt) * RAD_S_PER_RPM
    shaft = (current - idle) * kt * speed
    found = efficiency(volts, current, ohm, idle)
    assert 0 <= found <= 1
    assert found == pytest.approx(shaft / (volts * current), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(("volts", "ohm", "idle"), [(7.4, 0.02, 3.0), (12, 0.5, 0.4), (6, 1, 0.0)])
def test_best_efficiency(volts: float, ohm: float, idle: float) -> None:
    """From memory, found anew by scipy: at best (1 − √(I₀R/V))², at the current √(I₀·V/R)."""
    top = optimize.minimize_scalar(
        lambda current: -efficiency(volts, current, ohm, idle),
        bounds=(max(idle, 1e-9), volts / ohm),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert -top.fun == pytest.approx((1 - math.sqrt(idle * ohm / volts)) ** 2, abs=1e-6)
    assert top.x == pytest.approx(math.sqrt(idle * volts / ohm), rel=1e-3, abs=1e-3)


@given(st.floats(-40, 100), st.floats(0, 300), st.floats(0.001, 100))
def test_winding_rise_undoes_warming(cold_c: float, rise: float, cold: float) -> None:
    """Copper's line through −234.5 °C (IEEE 112, from a secondary source), forwards by hand."""
    hot = cold * (234.5 + cold_c + rise) / (234.5 + cold_c)
    assert winding_rise_k(cold, max(hot, cold), cold_c) == pytest.approx(rise, abs=1e-9)


@given(KV, VOLTS)
def test_kv_from_bench_undoes_free_speed(kv: float, volts: float) -> None:
    rpm = free_speed_rpm(kv, volts)
    assume(1 <= rpm <= 300_000)
    assume(50 * (1 + 1e-9) < kv < 20_000 * (1 - 1e-9))
    assert kv_from_bench(rpm, volts) == pytest.approx(kv, rel=1e-12)


def test_a_weaker_rotor() -> None:
    """By hand: 2400 rpm/V when new and 2500 now is 24/25 of the flux, 4 % weaker."""
    assert rotor_change_percent(2500, 2400) == -4
    assert rotor_change_percent(2400, 2400) == 0
    now, new = torque_constant_nm_per_a(2500), torque_constant_nm_per_a(2400)
    assert 100 * (now / new - 1) == pytest.approx(rotor_change_percent(2500, 2400))


@pytest.mark.parametrize(
    ("function", "args", "sentence"),
    [
        (torque_constant_nm_per_a, (0,), "The Kv must be at least 50 rpm/V (0 was given)."),
        (free_speed_rpm, (2460, -1), "The voltage must be at least 0 V (-1 was given)."),
        (stall_current_a, (7.4, 0), "The resistance must be at least 0.0001 Ω (0 was given)."),
        (loaded_speed_rpm, (600 / 12 * 1, 12, 12, 0.2),
         "The motor stalls: it gives 0.190986 N·m, and 0.2 N·m are asked."),
        (peak_power_w, (math.inf, 1), "The free speed must be a finite number."),
        (efficiency, (7.4, 2, 0.02, 3),
         "The motor draws 3 A with nothing to drive, so 2 A cannot be."),
        (efficiency, (7.4, 371, 0.02, 3),
         "A held motor draws 370 A at most, so 371 A cannot be."),
        (efficiency, (7.4, 0, 0.02, 0), "The current must be more than 0 A (0 was given)."),
        (winding_rise_k, (4.22, 3.42, 20),
         "The hot resistance is below the cold one: were they swapped, or was it not yet cold?"),
        (winding_rise_k, (1, 10, 20),
         "With that hot resistance the copper would have melted: measure again."),
        (kv_from_bench, (300, 10), "The Kv must be at least 50 rpm/V (30 was given)."),
        (kv_from_bench, (17500, 0), "The voltage must be at least 0.1 V (0 was given)."),
        (timing_summary, ([],), "The number of timing readings must be at least 1 (0 was given)."),
        (timing_summary, ([40, math.nan],), "The timing at sensor 2 must be a finite number."),
        (timing_summary, ([40, 95],),
         "The timing at sensor 2 must be at most 90 ° (95 was given)."),
        (rotor_change_percent, (2500, 0),
         "The Kv when new must be at least 50 rpm/V (0 was given)."),
    ],
)  # fmt: skip
def test_impossible_input_says_why(
    function: Callable[..., Any], args: tuple[Any, ...], sentence: str
) -> None:
    assert outcome(function, *args) == sentence


@pytest.mark.parametrize(
    ("function", "count"),
    [
        (torque_constant_nm_per_a, 1),
        (free_speed_rpm, 2),
        (stall_current_a, 2),
        (loaded_speed_rpm, 4),
        (peak_power_w, 2),
        (efficiency, 4),
        (winding_rise_k, 3),
        (kv_from_bench, 2),
        (rotor_change_percent, 2),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
@given(data=st.data())
def test_any_input_gives_a_finite_figure_or_a_sentence(
    function: Callable[..., float], count: int, data: st.DataObject
) -> None:
    result = outcome(function, *(data.draw(ANYTHING) for _ in range(count)))
    assert is_sentence(result) or math.isfinite(result)


@given(st.lists(ANYTHING, max_size=4), ANYTHING)
def test_any_timing_gives_a_summary_or_a_sentence(degrees: list[Any], tolerance: Any) -> None:
    result = outcome(timing_summary, degrees, tolerance)
    assert is_sentence(result) or math.isfinite(result.mean_deg + result.spread_deg)
