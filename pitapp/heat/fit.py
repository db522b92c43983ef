"""Learning thermal resistance and time constant from logged runs.

Gauss–Newton with damping on the logarithms of both figures, which keeps them positive. With few
runs, or runs so alike that they do not tell the two figures apart, what is believed beforehand (the
prior) is weighed in; as soon as the runs settle both better than that, it is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, expm1, hypot, inf, log, sqrt

from pitapp.heat.models import HeatingFit, HeatingPoint, HeatingPrior, Temperature
from pitapp.limits import number

NO_RUNS = "No runs with temperatures logged yet: the temperature is a guess."
_PRIOR_RUNS = 4
_MOST_STEPS = 500
_FARTHEST = 20.0

_Row = tuple[float, float, float, float, float]
_Normal = tuple[float, float, float, float, float, float]


def _normal(rows: Sequence[_Row], log_rth: float, log_tau: float) -> _Normal:
    """(JᵀJ as 11, 12, 22; Jᵀr as 1, 2; rᵀr) of the temperatures, r = measured − modelled."""
    rth, tau = exp(log_rth), exp(log_tau)
    j11 = j12 = j22 = g1 = g2 = ssr = 0.0
    for power, seconds, start, air, flag in rows:
        turns = seconds / tau
        left = exp(-turns)
        d1 = -power * rth * expm1(-turns)
        d2 = (start - air - power * rth) * left * turns
        r = flag - (air + d1 + (start - air) * left)
        j11 += d1 * d1
        j12 += d1 * d2
        j22 += d2 * d2
        g1 += d1 * r
        g2 += d2 * r
        ssr += r * r
    return j11, j12, j22, g1, g2, ssr


def _solve(
    rows: Sequence[_Row],
    start: tuple[float, float],
    belief: tuple[float, float],
    weights: tuple[float, float],
) -> tuple[float, float] | None:
    """Least squares of rᵀr + Σ weight·(θ − belief)²; None if it does not settle."""

    def cost(t1: float, t2: float) -> float:
        if abs(t1) > _FARTHEST or abs(t2) > _FARTHEST:
            return inf
        pull = weights[0] * (t1 - belief[0]) ** 2 + weights[1] * (t2 - belief[1]) ** 2
        return _normal(rows, t1, t2)[5] + pull

    t1, t2 = start
    now, damping = cost(t1, t2), 1e-3
    for _ in range(_MOST_STEPS):
        j11, j12, j22, g1, g2, _ssr = _normal(rows, t1, t2)
        j11, j22 = j11 + weights[0], j22 + weights[1]
        g1 -= weights[0] * (t1 - belief[0])
        g2 -= weights[1] * (t2 - belief[1])
        while damping < 1e12:
            k11, k22 = j11 * (1.0 + damping), j22 * (1.0 + damping)
            det = k11 * k22 - j12 * j12
            if det <= 0.0:
                damping = max(damping * 10.0, 1e-9)
                continue
            s1, s2 = (k22 * g1 - j12 * g2) / det, (k11 * g2 - j12 * g1) / det
            size = hypot(s1, s2)
            then = cost(t1 + s1, t2 + s2) if size < 3.0 else inf
            if then <= now or size < 1e-13:
                break
            damping = max(damping * 10.0, 1e-9)
        else:
            return None
        t1, t2, now, damping = t1 + s1, t2 + s2, min(then, now), damping * 0.1
        if size < 1e-11:
            return t1, t2
    return None


def _inverse(j11: float, j12: float, j22: float) -> tuple[float, float, float] | None:
    det = j11 * j22 - j12 * j12
    if det <= 1e-12 * j11 * j22:
        return None
    return j22 / det, -j12 / det, j11 / det


def _result(
    theta: tuple[float, float],
    covariance: tuple[float, float, float],
    scatter: tuple[float, float],
    runs: int,
    rough: bool,
) -> HeatingFit:
    rth, tau = exp(theta[0]), exp(theta[1])
    sd1, sd2 = sqrt(covariance[0]), sqrt(covariance[2])
    correlation = covariance[1] / (sd1 * sd2) if sd1 and sd2 else 0.0
    note = ""
    if not runs:
        note = NO_RUNS
    elif rough:
        note = (
            f"Rough: {runs} logged {'run does' if runs == 1 else 'runs do'} not settle how "
            "the motor warms. Runs of other lengths and gears help most."
        )
    return HeatingFit(
        thermal_resistance_k_per_w=rth,
        time_constant_s=tau,
        resistance_se_k_per_w=rth * sd1,
        time_constant_se_s=tau * sd2,
        correlation=max(-1.0, min(1.0, correlation)),
        residual_k=scatter[0],
        noise_k=scatter[1],
        runs=runs,
        rough=rough,
        note=note,
    )


def fit_heating(points: Sequence[HeatingPoint], prior: HeatingPrior | None = None) -> HeatingFit:
    """Thermal resistance Rth and time constant τ from logged runs.

    Least squares of T = T_air + P·Rth·(1 − e^(−t/τ)) + (T_start − T_air)·e^(−t/τ). The prior is
    weighed in with fewer than three runs, and for as long as the runs alone would leave either
    figure less certain than the prior does.

    Args:
        points: the runs, up to 10 000; an empty sequence gives the prior back.
        prior: what is believed before any run; a small can motor by default (from memory).

    Returns:
        Rth in K/W and τ in s, their standard errors, residual standard deviation in K,
        and `rough` if the prior still counts.

    Raises:
        ValueError: too many points, or points that no warming motor fits.

    Source: Gauss–Newton and standard errors as in any text on nonlinear regression;
    checked against NIST StRD, Misra1a.

    >>> run = HeatingPoint(power_w=20, run_s=300, start_c=20, air_c=20, flag_c=60)
    >>> fit = fit_heating([run])
    >>> fit.rough, round(fit.thermal_resistance_k_per_w, 1)
    (True, 3.0)
    """
    runs = len(points)
    if runs > 10_000:
        raise ValueError("Too many runs at once: give at most 10 000.")
    belief = prior or HeatingPrior()
    rows = [(p.power_w, p.run_s, p.start_c, p.air_c, p.flag_c) for p in points]
    centre = log(belief.thermal_resistance_k_per_w), log(belief.time_constant_s)
    noise2 = belief.reading_sd_k**2
    pull = noise2 / belief.resistance_spread**2, noise2 / belief.time_constant_spread**2
    theta = _solve(rows, centre, centre, pull)
    if theta is None:
        raise ValueError("These runs do not fit a motor that warms up: check the figures.")
    if runs >= 3:
        j11, j12, j22, *_ = _normal(rows, *theta)
        alone = _inverse(j11, j12, j22)
        settled = (
            alone is not None
            and noise2 * alone[0] < belief.resistance_spread**2
            and noise2 * alone[2] < belief.time_constant_spread**2
        )
        free = _solve(rows, theta, centre, (0.0, 0.0)) if settled else None
        if free is not None:
            j11, j12, j22, _g1, _g2, ssr = _normal(rows, *free)
            unit = _inverse(j11, j12, j22)
            if unit is not None:
                variance = ssr / (runs - 2)
                noise = sqrt((_PRIOR_RUNS * noise2 + ssr) / (_PRIOR_RUNS + runs - 2))
                spread = (variance * unit[0], variance * unit[1], variance * unit[2])
                return _result(free, spread, (sqrt(variance), noise), runs, rough=False)
    j11, j12, j22, _g1, _g2, ssr = _normal(rows, *theta)
    full = _inverse(j11 + pull[0], j12, j22 + pull[1])
    if full is None:
        raise ValueError("These runs do not fit a motor that warms up: check the figures.")
    noise = sqrt((_PRIOR_RUNS * noise2 + ssr) / (_PRIOR_RUNS + runs))
    spread = (noise2 * full[0], noise2 * full[1], noise2 * full[2])
    residual = sqrt(ssr / max(1, runs - 2))
    return _result(theta, spread, (residual, noise), runs, rough=True)


def forecast_temperature(
    fit: HeatingFit,
    power_w: float,
    run_s: float,
    start_c: float,
    air_c: float,
    power_se_w: float = 0.0,
) -> Temperature:
    """Can temperature at the flag by a fit, with the standard uncertainty of one run.

    The uncertainty joins the errors of Rth and τ (with their correlation), of the motor heat and
    the scatter of single runs, by the law of propagation.

    Args:
        fit: from `fit_heating`.
        power_w: mean motor heat, 0 to 100 000 W.
        run_s: run length, 0 to 10⁹ s.
        start_c: can temperature at the start, -60 to 400 °C.
        air_c: air temperature, -60 to 80 °C.
        power_se_w: standard uncertainty of the motor heat, 0 to 100 000 W.

    Returns:
        °C, with the uncertainty in K.

    Raises:
        ValueError: an impossible or absurd figure.

    Source: JCGM 100 (GUM), section 5.

    >>> forecast = forecast_temperature(fit_heating([]), 20.0, 300.0, 20.0, 20.0)
    >>> round(forecast.temperature_c), round(forecast.se_c)
    (52, 18)
    """
    power = number(power_w, "motor heat", 0, 100_000, unit="W")
    power_se = number(power_se_w, "uncertainty of the motor heat", 0, 100_000, unit="W")
    seconds = number(run_s, "run length", 0, 1e9, unit="s")
    start = number(start_c, "can temperature at the start", -60, 400, unit="°C")
    air = number(air_c, "air temperature", -60, 80, unit="°C")
    temperature, se = flag_temperature(fit, power, seconds, start, air, power_se)
    return Temperature(temperature_c=temperature, se_c=se)


def flag_temperature(
    fit: HeatingFit, power: float, seconds: float, start: float, air: float, power_se: float
) -> tuple[float, float]:
    """`forecast_temperature` for figures that are known to be sound."""
    rth, tau = fit.thermal_resistance_k_per_w, fit.time_constant_s
    turns = seconds / tau
    left, warmed = exp(-turns), -expm1(-turns)
    by_rth = power * warmed * fit.resistance_se_k_per_w
    by_tau = (start - air - power * rth) * left * turns / tau * fit.time_constant_se_s
    by_power = rth * warmed * power_se
    square = by_rth**2 + by_tau**2 + 2.0 * fit.correlation * by_rth * by_tau
    return (
        air + power * rth * warmed + (start - air) * left,
        sqrt(max(0.0, square) + by_power**2 + fit.noise_k**2),
    )
