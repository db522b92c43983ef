"""The fit of how the can warms: a maximum of the posterior that leaves mistyped readings aside.

Damped Gauss–Newton on the six figures of `learning.can`, with what is believed of any motor and
Student-t errors of the readings.

Source: iteratively reweighted least squares; Levenberg's damping, as in any text.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import exp, log, sqrt
from typing import NamedTuple

from pitapp.drive.learning.can import (
    NUDGE,
    SIZE,
    CanFit,
    CanPrior,
    CanReading,
    response,
    warmth,
)
from pitapp.drive.learning.linear import Matrix, cholesky, inverse, solved, student_weight

FREEDOM = 4.0
_MOST_STEPS = 25


def _centre(prior: CanPrior) -> list[float]:
    return [
        log(prior.resistance_k_per_w),
        log(prior.tau_s),
        log(prior.winding_tau_s),
        log(prior.standing_tau_s),
        0.0,
        0.0,
    ]


def _pulls(prior: CanPrior) -> list[float]:
    spreads = (
        prior.resistance_spread,
        prior.tau_spread,
        prior.winding_spread,
        prior.standing_spread,
        prior.exponent_spread,
        prior.bend_spread,
    )
    return [spread**-2 for spread in spreads]


class _Sums(NamedTuple):
    cost: float
    normal: Matrix
    right: list[float]
    weights: list[float]
    residuals: list[float]


def _sums(
    points: Sequence[CanReading],
    xs: Sequence[float],
    theta: Sequence[float],
    scale: float,
    centre: Sequence[float],
    pulls: Sequence[float],
    *,
    slopes: bool = True,
) -> _Sums:
    """The cost (minus twice the log posterior, shifted) and the Gauss–Newton system at θ."""
    taus = (theta[1], theta[2], theta[3])
    normal: Matrix = [[0.0] * SIZE for _ in range(SIZE)]
    right = [0.0] * SIZE
    cost = 0.0
    weights, residuals = [], []
    for i in range(SIZE):
        off = theta[i] - centre[i]
        cost += pulls[i] * off * off
        normal[i][i] = pulls[i]
        right[i] = -pulls[i] * off
    for point, x in zip(points, xs, strict=True):
        k, d = response(taus, point.run_s, point.after_s)
        heat = point.power_w * exp(theta[0] + theta[4] * x + theta[5] * x * x)
        heat *= warmth(point.air_c)
        over = point.start_c - point.air_c
        rise = heat * k
        residual = point.read_c - (point.air_c + rise + over * d)
        own = sqrt(scale * scale + point.spread_k * point.spread_k)
        weight = student_weight(residual, own, FREEDOM)
        part = residual / own
        cost += (FREEDOM + 1.0) * log(1.0 + part * part / FREEDOM)
        weights.append(weight)
        residuals.append(residual)
        if not slopes:
            continue
        row = [rise, 0.0, 0.0, 0.0, rise * x, rise * x * x]
        for index in range(3):
            moved = list(taus)
            moved[index] += NUDGE
            k2, d2 = response(tuple(moved), point.run_s, point.after_s)
            row[index + 1] = (heat * (k2 - k) + over * (d2 - d)) / NUDGE
        pull = weight / (own * own)
        for i in range(SIZE):
            part = pull * row[i]
            right[i] += part * residual
            line = normal[i]
            for j in range(i + 1):
                line[j] += part * row[j]
    for i in range(SIZE):
        for j in range(i):
            normal[j][i] = normal[i][j]
    return _Sums(cost, normal, right, weights, residuals)


def fit_can(
    points: Sequence[CanReading], prior: CanPrior | None = None, start: CanFit | None = None
) -> CanFit:
    """How the can warms, from readings and what is believed of any motor.

    Args:
        points: readings, in any order; none gives the prior back.
        prior: beliefs; those of a small can motor by default.
        start: a fit of nearly the same readings, to begin from.

    Returns:
        the figures with their covariance and the scatter of readings.
    """
    return _fitted(tuple(points), prior or CanPrior(), start)


@lru_cache(maxsize=256)
def _fitted(points: tuple[CanReading, ...], belief: CanPrior, start: CanFit | None) -> CanFit:
    """`fit_can`; a page asks for the same fits as the page before."""
    centre, pulls = _centre(belief), _pulls(belief)
    runs = len(points)
    reference = exp(sum(log(p.ratio) for p in points) / runs) if runs else 4.0
    mean_air = sum(p.air_c for p in points) / runs if runs else 20.0
    xs = [log(p.ratio / reference) for p in points]
    scale = belief.reading_sd_k
    theta = list(centre)
    if start is not None and start.runs:
        theta = list(start.theta)
        shift = log(reference / start.reference_ratio)
        theta[0] += shift * (theta[4] + theta[5] * shift)
        theta[4] += 2.0 * theta[5] * shift
        scale = start.noise_k
    elif runs:
        theta[0] = _first_resistance(points, theta)
    sums = _sums(points, xs, theta, scale, centre, pulls)
    damping = 1e-3
    for _ in range(_MOST_STEPS if runs else 0):
        damped = [list(row) for row in sums.normal]
        for i in range(SIZE):
            damped[i][i] *= 1.0 + damping
        step = solved(cholesky(damped), sums.right)
        size = max(abs(each) for each in step)
        if size > 1.0:
            step = [each / size for each in step]
        stepped_theta = [a + b for a, b in zip(theta, step, strict=True)]
        stepped = _sums(points, xs, stepped_theta, scale, centre, pulls)
        if stepped.cost <= sums.cost + 1e-9:
            theta, sums = stepped_theta, stepped
            damping = max(damping * 0.2, 1e-9)
            fresh = _scale(belief, sums)
            settled = size < 1e-3 and abs(fresh - scale) < 2e-3 * scale
            if abs(fresh - scale) > 1e-6 * scale:
                scale = fresh
                sums = _sums(points, xs, theta, scale, centre, pulls)
            if settled:
                break
        else:
            damping *= 8.0
            if damping > 1e9:
                break
    covariance = inverse(cholesky(sums.normal))
    return CanFit(
        theta=tuple(theta),
        covariance=tuple(tuple(row) for row in covariance),
        reference_ratio=reference,
        mean_air_c=mean_air,
        noise_k=scale,
        runs=runs,
        weights=tuple(sums.weights),
    )


def _first_resistance(points: Sequence[CanReading], theta: Sequence[float]) -> float:
    """lnR by which half of the readings are warmer, half cooler."""
    candidates = []
    for point in points:
        k, d = response((theta[1], theta[2], theta[3]), point.run_s, point.after_s)
        rise = point.read_c - point.air_c - d * (point.start_c - point.air_c)
        candidates.append(log(max(rise, 1.0) / (point.power_w * k * warmth(point.air_c))))
    candidates.sort()
    return candidates[len(candidates) // 2]


def _scale(belief: CanPrior, sums: _Sums) -> float:
    """Scatter of readings, as if some runs of the usual scatter had been seen before."""
    total = belief.prior_runs * belief.reading_sd_k**2
    total += sum(w * r * r for w, r in zip(sums.weights, sums.residuals, strict=True))
    return sqrt(total / (belief.prior_runs + len(sums.residuals)))
