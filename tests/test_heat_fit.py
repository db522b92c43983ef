"""Learning how the motor warms, against NIST's certified values and scipy.optimize."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import curve_fit, least_squares

from pitapp.heat.formulas import end_of_run_temperature_c, fit_heating, forecast_temperature
from pitapp.heat.models import HeatingPoint, HeatingPrior

Numbers = NDArray[np.float64]

MISRA1A = [
    (77.6, 10.07), (114.9, 14.73), (141.1, 17.94), (190.8, 23.93), (239.9, 29.61), (289, 35.18),
    (332.8, 40.02), (378.4, 44.82), (434.8, 50.76), (477.3, 55.05), (536.8, 61.01), (593.1, 66.40),
    (689.1, 75.47), (760, 81.78),
]  # fmt: skip


# NIST StRD, nonlinear regression, Misra1a: y = b1·(1 − e^(−b2·x)), certified values. With 1 W from
# 0 °C in air of 0 °C, b1 is the thermal resistance and 1/b2 the time constant.
def test_misra1a() -> None:
    points = [HeatingPoint(power_w=1, run_s=x, start_c=0, air_c=0, flag_c=y) for x, y in MISRA1A]
    fit = fit_heating(points)
    tau = fit.time_constant_s
    assert fit.thermal_resistance_k_per_w == pytest.approx(2.3894212918e02, rel=1e-8)
    assert fit.resistance_se_k_per_w == pytest.approx(2.7070075241e00, rel=1e-8)
    assert 1 / tau == pytest.approx(5.5015643181e-04, rel=1e-8)
    assert fit.time_constant_se_s / tau**2 == pytest.approx(7.2668688436e-06, rel=1e-8)
    assert fit.residual_k == pytest.approx(1.0187876330e-01, rel=1e-8)
    assert not fit.rough


def runs_of(
    seed: int, count: int, noise: float, rth: float = 3.2, tau: float = 260.0
) -> list[HeatingPoint]:
    rng = random.Random(seed)
    points = []
    for _ in range(count):
        power, seconds = rng.uniform(10, 25), rng.uniform(120, 900)
        air, start = rng.uniform(10, 30), rng.uniform(20, 45)
        flag = end_of_run_temperature_c(air, start, power, rth, tau, seconds)
        points.append(
            HeatingPoint(
                power_w=power,
                run_s=seconds,
                start_c=start,
                air_c=air,
                flag_c=flag + rng.gauss(0, noise),
            )
        )
    return points


def columns(points: list[HeatingPoint]) -> tuple[Numbers, Numbers]:
    rows = np.array([(p.power_w, p.run_s, p.start_c, p.air_c) for p in points]).T
    return rows, np.array([p.flag_c for p in points])


def curve(rows: Numbers, rth: float, tau: float) -> Numbers:
    power, seconds, start, air = rows
    left = np.exp(-seconds / tau)
    return np.asarray(air + power * rth * (1 - left) + (start - air) * left)


# scipy.optimize.curve_fit.
@pytest.mark.parametrize("seed", range(5))
def test_many_runs_agree_with_scipy(seed: int) -> None:
    points = runs_of(seed, 25, 1.0)
    fit = fit_heating(points)
    rows, flags = columns(points)
    best, covariance = curve_fit(curve, rows, flags, p0=(2.0, 300.0), xtol=1e-14, ftol=1e-14)
    assert not fit.rough
    assert fit.thermal_resistance_k_per_w == pytest.approx(best[0], rel=1e-6)
    assert fit.time_constant_s == pytest.approx(best[1], rel=1e-6)
    assert fit.resistance_se_k_per_w == pytest.approx(covariance[0, 0] ** 0.5, rel=1e-4)
    assert fit.time_constant_se_s == pytest.approx(covariance[1, 1] ** 0.5, rel=1e-4)


# scipy.optimize.least_squares, with the prior as two more residuals.
@pytest.mark.parametrize("count", [0, 1, 2])
def test_few_runs_weigh_in_the_prior_as_scipy_does(count: int) -> None:
    prior = HeatingPrior()
    points = runs_of(3, count, 1.0)
    fit = fit_heating(points, prior)
    rows, flags = columns(points) if points else (np.empty((4, 0)), np.empty(0))
    belief = np.log([prior.thermal_resistance_k_per_w, prior.time_constant_s])
    spread = np.array([prior.resistance_spread, prior.time_constant_spread])

    def misses(theta: Numbers) -> Numbers:
        readings = (flags - curve(rows, *np.exp(theta))) / prior.reading_sd_k
        return np.concatenate([readings, (theta - belief) / spread])

    found = least_squares(misses, belief, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    covariance = np.linalg.inv(found.jac.T @ found.jac)
    assert fit.rough
    assert math.log(fit.thermal_resistance_k_per_w) == pytest.approx(found.x[0], abs=1e-6)
    assert math.log(fit.time_constant_s) == pytest.approx(found.x[1], abs=1e-6)
    assert fit.resistance_se_k_per_w / fit.thermal_resistance_k_per_w == pytest.approx(
        covariance[0, 0] ** 0.5, rel=1e-4
    )
    assert fit.correlation == pytest.approx(
        covariance[0, 1] / (covariance[0, 0] * covariance[1, 1]) ** 0.5, abs=1e-5
    )


def test_what_is_not_known_is_said() -> None:
    assert "No runs" in fit_heating([]).note
    assert fit_heating(runs_of(1, 1, 0.5)).note.startswith("Rough: 1 logged run does not")
    assert fit_heating(runs_of(1, 2, 0.5)).note.startswith("Rough: 2 logged runs do not")
    assert fit_heating(runs_of(1, 12, 0.5)).note == ""


def test_runs_all_alike_keep_the_prior() -> None:
    same = [HeatingPoint(power_w=18, run_s=300, start_c=22, air_c=22, flag_c=60) for _ in range(9)]
    fit = fit_heating(same)
    assert fit.rough
    forecast = forecast_temperature(fit, 18, 300, 22, 22)
    assert forecast.temperature_c == pytest.approx(60, abs=0.5)


# By the law of propagation (JCGM 100, GUM), here by drawing from the fitted distribution.
def test_uncertainty_agrees_with_drawing_at_random() -> None:
    fit = fit_heating(runs_of(5, 20, 1.0))
    rng = np.random.default_rng(1)
    off = fit.correlation * fit.resistance_se_k_per_w * fit.time_constant_se_s
    pairs = rng.multivariate_normal(
        [fit.thermal_resistance_k_per_w, fit.time_constant_s],
        [[fit.resistance_se_k_per_w**2, off], [off, fit.time_constant_se_s**2]],
        40_000,
    )
    power = rng.normal(20, 0.5, 40_000)
    left = np.exp(-300 / pairs[:, 1])
    drawn = 20 + power * pairs[:, 0] * (1 - left) + rng.normal(0, fit.noise_k, 40_000)
    forecast = forecast_temperature(fit, 20, 300, 20, 20, power_se_w=0.5)
    assert forecast.se_c == pytest.approx(float(drawn.std()), rel=0.03)
    assert forecast.temperature_c == pytest.approx(float(drawn.mean()), abs=0.1)


# Of 200 fits, about two in three must have the truth within one standard error.
def test_standard_errors_mean_what_they_say() -> None:
    inside = 0
    for seed in range(200):
        fit = fit_heating(runs_of(seed, 15, 1.5))
        inside += abs(fit.thermal_resistance_k_per_w - 3.2) < fit.resistance_se_k_per_w
    assert 110 < inside < 160


_point = st.builds(
    HeatingPoint,
    power_w=st.floats(1e-6, 100_000),
    run_s=st.floats(0.001, 1e6),
    start_c=st.floats(-60, 400),
    air_c=st.floats(-60, 80),
    flag_c=st.floats(-60, 1000),
)


@settings(max_examples=60, deadline=None)
@given(points=st.lists(_point, max_size=6))
def test_finite_or_refused(points: list[HeatingPoint]) -> None:
    try:
        fit = fit_heating(points)
    except ValueError as refused:
        sentence = str(refused)
    else:
        assert fit.thermal_resistance_k_per_w > 0
        assert math.isfinite(fit.time_constant_se_s)
        assert math.isfinite(forecast_temperature(fit, 20, 300, 20, 20).se_c)
        return
    assert "do not fit a motor that warms up" in sentence
