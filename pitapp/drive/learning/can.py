"""How the can warms with the gear, learned from readings as they were read, when they were read.

The can read `after_s` after the flag is taken as

    T = T_air + w·P·R·e^(αx + βx²)·K + D·(T_start − T_air),   x = ln(FDR / reference)

with P the model's mean heat in the gear, K and D the two-node response (`heat.two_node`) of a run
and the wait after it, and w = 1 + 0.0028·(T_air − 20) for copper whose resistance rises with the
air. R, the three time constants, α and β are fitted together: a maximum of the posterior by damped
Gauss–Newton, with Student-t errors, so that a reading that was mistyped is left aside. α and β
take up what the model has wrong of how heat goes with the gear.

Source: the two-node motor; iteratively reweighted least squares; the law of propagation of JCGM
100 (GUM) for the uncertainty. w: copper at 234.5 + t (UL, IEEE 112) is 0.39 % a kelvin, four
fifths of the heat are copper's and the winding is some 45 K over the can's start (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log, sqrt
from typing import NamedTuple

from pitapp.drive.learning.linear import (
    Matrix,
    cholesky,
    inverse,
    quadratic,
    solved,
    student_weight,
)
from pitapp.heat.two_node import run_response
from pitapp.record import Record

AIR_PER_K = 0.0028
FREEDOM = 4.0
_MOST_STEPS = 25
_SIZE = 6
_NUDGE = 1e-3


class CanReading(NamedTuple):
    """A reading: mean heat by the model in W, FDR, s, °C, °C, °C, s after the flag.

    `spread_k` is what is uncertain of this reading beside the others, as for another track.
    """

    power_w: float
    ratio: float
    run_s: float
    start_c: float
    air_c: float
    read_c: float
    after_s: float
    spread_k: float = 0.0


class CanPrior(Record):
    """What is believed of any motor: medians, with the spread of their natural logarithms.

    Time constants: winding 10 to 120 s, housing 200 to 1100 s, as makers' data sheets in public
    code have them; the rest is from memory. `exponent_spread` and `bend_spread` are the spreads of
    α and β.
    """

    resistance_k_per_w: float = 2.5
    resistance_spread: float = 0.6
    tau_s: float = 470.0
    tau_spread: float = 0.45
    winding_tau_s: float = 35.0
    winding_spread: float = 0.6
    standing_tau_s: float = 600.0
    standing_spread: float = 0.4
    exponent_spread: float = 0.5
    bend_spread: float = 1.5
    reading_sd_k: float = 2.0
    prior_runs: float = 5.0


class CanFit(Record):
    """The can's figures (lnR, lnτ, lnτ_winding, lnτ_standing, α, β), their covariance and scatter.

    `noise_k` is the scatter of readings about the fit; `weights` says how far each one counts.
    """

    theta: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    reference_ratio: float
    mean_air_c: float
    noise_k: float
    runs: int
    weights: tuple[float, ...] = ()

    @property
    def resistance_k_per_w(self) -> float:
        """Steady rise of the can per watt of the model's heat."""
        return exp(self.theta[0])

    @property
    def tau_s(self) -> float:
        """Time constant of the whole motor in the moving car."""
        return exp(self.theta[1])

    @property
    def winding_tau_s(self) -> float:
        """Time constant of the winding against the can."""
        return exp(self.theta[2])

    @property
    def standing_tau_s(self) -> float:
        """Time constant of the whole motor in the standing car."""
        return exp(self.theta[3])

    @property
    def exponent_se(self) -> float:
        """Standard error of α."""
        return sqrt(self.covariance[4][4])

    def spread(self, index: int) -> float:
        """The factor by which one of the first four figures may be out, either way."""
        return exp(sqrt(self.covariance[index][index]))

    def warming(self, run_s: float, after_s: float = 0.0) -> Warming:
        """The can in runs of this length, read so long after the flag."""
        return Warming(self, run_s, after_s)


class Warming:
    """The can in runs of one length, for many gears at once.

    Args:
        fit: what was learned.
        run_s: run length in s.
        after_s: time of the reading after the flag in s.
    """

    def __init__(self, fit: CanFit, run_s: float, after_s: float = 0.0) -> None:
        self.fit = fit
        taus = fit.theta[1:4]
        self.k, self.d = _response(taus, run_s, after_s)
        self.slopes = []
        for index in range(3):
            moved = list(taus)
            moved[index] += _NUDGE
            k, d = _response(tuple(moved), run_s, after_s)
            self.slopes.append(((k - self.k) / _NUDGE, (d - self.d) / _NUDGE))

    def gradient(self, power_w: float, ratio: float, start_c: float, air_c: float) -> list[float]:
        """How the can changes with each learned figure; the first entry is the rise by the run."""
        x = log(ratio / self.fit.reference_ratio)
        theta = self.fit.theta
        heat = power_w * exp(theta[0] + theta[4] * x + theta[5] * x * x) * _warmth(air_c)
        over = start_c - air_c
        rise = heat * self.k
        (k1, d1), (k2, d2), (k3, d3) = self.slopes
        return [
            rise,
            heat * k1 + over * d1,
            heat * k2 + over * d2,
            heat * k3 + over * d3,
            rise * x,
            rise * x * x,
        ]

    def can(
        self, power_w: float, ratio: float, start_c: float, air_c: float
    ) -> tuple[float, float, float]:
        """(can in °C, what the fit leaves uncertain of it in K, rise by the run in K)."""
        slopes = self.gradient(power_w, ratio, start_c, air_c)
        can = air_c + slopes[0] + self.d * (start_c - air_c)
        return can, sqrt(max(0.0, quadratic(self.fit.covariance, slopes))), slopes[0]

    def covariance(self, one: Sequence[float], other: Sequence[float]) -> float:
        """Of the errors of two cans, by their gradients."""
        return sum(
            one[i] * sum(row[j] * other[j] for j in range(_SIZE))
            for i, row in enumerate(self.fit.covariance)
        )


def _warmth(air_c: float) -> float:
    return 1.0 + AIR_PER_K * (air_c - 20.0)


def _response(taus: tuple[float, ...], run_s: float, after_s: float) -> tuple[float, float]:
    return run_response(run_s, after_s, exp(taus[1]), exp(taus[0]), exp(taus[2]))


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
    normal: Matrix = [[0.0] * _SIZE for _ in range(_SIZE)]
    right = [0.0] * _SIZE
    cost = 0.0
    weights, residuals = [], []
    for i in range(_SIZE):
        off = theta[i] - centre[i]
        cost += pulls[i] * off * off
        normal[i][i] = pulls[i]
        right[i] = -pulls[i] * off
    for point, x in zip(points, xs, strict=True):
        k, d = _response(taus, point.run_s, point.after_s)
        heat = point.power_w * exp(theta[0] + theta[4] * x + theta[5] * x * x)
        heat *= _warmth(point.air_c)
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
            moved[index] += _NUDGE
            k2, d2 = _response(tuple(moved), point.run_s, point.after_s)
            row[index + 1] = (heat * (k2 - k) + over * (d2 - d)) / _NUDGE
        pull = weight / (own * own)
        for i in range(_SIZE):
            part = pull * row[i]
            right[i] += part * residual
            line = normal[i]
            for j in range(i + 1):
                line[j] += part * row[j]
    for i in range(_SIZE):
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
    belief = prior or CanPrior()
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
        for i in range(_SIZE):
            damped[i][i] *= 1.0 + damping
        step = solved(cholesky(damped), sums.right)
        size = max(abs(each) for each in step)
        if size > 1.0:
            step = [each / size for each in step]
        then = [a + b for a, b in zip(theta, step, strict=True)]
        trial = _sums(points, xs, then, scale, centre, pulls)
        if trial.cost <= sums.cost + 1e-9:
            theta, sums = then, trial
            damping = max(damping * 0.2, 1e-9)
            fresh = _scale(belief, sums)
            settled = size < 1e-4 and abs(fresh - scale) < 1e-3 * scale
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
    found = []
    for point in points:
        k, d = _response((theta[1], theta[2], theta[3]), point.run_s, point.after_s)
        rise = point.read_c - point.air_c - d * (point.start_c - point.air_c)
        found.append(log(max(rise, 1.0) / (point.power_w * k * _warmth(point.air_c))))
    found.sort()
    return found[len(found) // 2]


def _scale(belief: CanPrior, sums: _Sums) -> float:
    """Scatter of readings, as if some runs of the usual scatter had been seen before."""
    total = belief.prior_runs * belief.reading_sd_k**2
    total += sum(w * r * r for w, r in zip(sums.weights, sums.residuals, strict=True))
    return sqrt(total / (belief.prior_runs + len(sums.residuals)))
