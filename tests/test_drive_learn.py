"""The slope learned from best laps, and a racer whose car is not quite the one assumed."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitapp.drive.formulas import (
    Air,
    Car,
    Controller,
    LapPoint,
    Motor,
    Pack,
    Setup,
    fit_lap_slope,
    rank_gears,
    run_lap,
    track_by_feel,
)
from pitapp.gearing.models import GearOption
from pitapp.heat.formulas import end_of_run_temperature_c, fit_heating, temperature_when_stopped_c
from pitapp.heat.models import HeatingPoint


def test_without_runs_the_model_stands() -> None:
    fit = fit_lap_slope([], prior_sd_s_per_ratio=0.2)
    assert (fit.slope_s_per_ratio, fit.slope_se_s_per_ratio, fit.rough) == (0.0, 0.2, True)
    one = fit_lap_slope([LapPoint(4.0, 20.5, 20.0)], prior_sd_s_per_ratio=0.2)
    assert (one.slope_s_per_ratio, one.rough) == (0.0, True)
    assert one.slope_se_s_per_ratio == pytest.approx(0.2, rel=1e-12)


# numpy.linalg.lstsq on intercept and slope, with the prior as one more row of the system.
def test_slope_is_least_squares_with_a_prior_row() -> None:
    ratios = np.array([3.6, 3.8, 3.9, 4.2, 4.4, 4.5, 4.7])
    misses = np.array([0.31, 0.22, 0.27, 0.18, 0.09, 0.11, 0.02])
    points = [LapPoint(r, 20 + m, 20.0) for r, m in zip(ratios, misses, strict=True)]
    fit = fit_lap_slope(points, prior_sd_s_per_ratio=0.15, lap_sd_s=0.05)
    plain = np.polynomial.polynomial.polyfit(ratios, misses, 1)
    left = misses - np.polynomial.polynomial.polyval(ratios, plain)
    sigma = math.sqrt((4 * 0.05**2 + float(left @ left)) / (4 + 5))
    rows = np.column_stack([np.ones(7), ratios]) / sigma
    rows = np.vstack([rows, [0, 1 / 0.15]])
    best = np.linalg.lstsq(rows, np.append(misses / sigma, 0.0))[0]
    spread = np.linalg.inv(rows.T @ rows)[1, 1] ** 0.5
    assert fit.slope_s_per_ratio == pytest.approx(best[1], rel=1e-9)
    assert fit.slope_se_s_per_ratio == pytest.approx(spread, rel=1e-9)
    assert not fit.rough


def test_the_prior_rules_while_runs_are_few() -> None:
    steep = [LapPoint(4.0, 20.0, 20.0), LapPoint(4.1, 20.1, 20.0)]
    few = fit_lap_slope(steep)
    many = fit_lap_slope(steep * 200)
    assert few.rough
    assert abs(few.slope_s_per_ratio) < 0.1
    assert many.slope_s_per_ratio == pytest.approx(1.0, abs=0.05)


_any = st.floats()


@given(rows=st.lists(st.tuples(_any, _any, _any), max_size=5), prior=_any, spread=_any)
def test_finite_or_refused(
    rows: list[tuple[float, float, float]], prior: float, spread: float
) -> None:
    try:
        fit = fit_lap_slope([LapPoint(*row) for row in rows], prior, spread)
    except ValueError as refused:
        sentence = str(refused)
    else:
        assert math.isfinite(fit.slope_s_per_ratio)
        assert math.isfinite(fit.slope_se_s_per_ratio)
        return
    assert "must be" in sentence


# The racer's car as believed, and as it is: more drag and resistance, less grip and efficiency.
BELIEVED = (
    Car(mass_kg=1.35, tyre_diameter_mm=63, grip=1.6),
    Motor(kv_rpm_per_v=2380, resistance_ohm=0.080),
    Pack(voltage_v=7.4),
    Controller(),
)
TRUE = (
    Car(mass_kg=1.35, tyre_diameter_mm=62.6, drag_area_m2=0.0105, grip=1.5, drive_efficiency=0.88),
    Motor(kv_rpm_per_v=2420, resistance_ohm=0.088, no_load_current_a=2.5),
    Pack(voltage_v=7.32, resistance_ohm=0.008),
    Controller(),
)
RTH, TAU, COOLING_TAU, RUN_S = 1.6, 390.0, 640.0, 300.0
TRACK = track_by_feel(45, "mixed")
GEARS = [GearOption(p, s, 1.9 * s / p) for p in range(38, 74) for s in (78, 81, 84)]


def true_flag(ratio: float, start_c: float, air_c: float) -> float:
    power = run_lap(*TRUE, Air(temperature_c=air_c), TRACK, ratio).motor_power_w
    return end_of_run_temperature_c(air_c, start_c, power, RTH, TAU, RUN_S)


def true_lap(ratio: float) -> float:
    return run_lap(*TRUE, Air(temperature_c=24), TRACK, ratio).lap_s


@pytest.mark.parametrize("seed", range(8))
def test_a_racer_is_served_after_eight_runs(seed: int) -> None:
    rng = random.Random(seed)
    ratios = sorted(gear.final_drive_ratio for gear in GEARS)
    best = min(ratios, key=true_lap)
    assert ratios[0] * 1.1 < best < ratios[-1] * 0.9
    logged = sorted(rng.uniform(0.9 * best, 1.3 * best) for _ in range(8))
    points, laps = [], []
    for ratio in logged:
        air_c = rng.uniform(18, 28)
        start_c, wait = air_c + rng.uniform(0, 12), rng.uniform(20, 150)
        flag = true_flag(ratio, start_c, air_c)
        reading = air_c + (flag - air_c) * math.exp(-wait / COOLING_TAU) + rng.gauss(0, 1.0)
        model = run_lap(*BELIEVED, Air(temperature_c=air_c), TRACK, ratio)
        points.append(
            HeatingPoint(
                power_w=model.motor_power_w,
                run_s=RUN_S,
                start_c=start_c,
                air_c=air_c,
                flag_c=temperature_when_stopped_c(reading, wait, air_c, COOLING_TAU),
            )
        )
        laps.append(LapPoint(ratio, true_lap(ratio) + abs(rng.gauss(0, 0.04)), model.lap_s))
    setup = Setup(
        car=BELIEVED[0],
        motor=BELIEVED[1],
        pack=BELIEVED[2],
        controller=BELIEVED[3],
        air=Air(temperature_c=24),
        run_length_s=RUN_S,
        start_temperature_c=30,
        can_limit_c=150,
        fitted_ratio=logged[4],
        logged_ratios=tuple(logged),
        heating=fit_heating(points),
        lap_slope=fit_lap_slope(laps),
    )
    ranked = rank_gears(GEARS, TRACK, setup)
    assert true_lap(ranked[0].final_drive_ratio) - true_lap(best) <= 0.02
    ninths = [f for f in ranked if not f.extrapolated]
    assert len(ninths) > 5
    for forecast in ninths:
        truth = true_flag(forecast.final_drive_ratio, 30, 24)
        assert abs(forecast.flag_temperature_c - truth) <= 3
        assert abs(forecast.flag_temperature_c - truth) <= 3 * forecast.flag_temperature_se_c
