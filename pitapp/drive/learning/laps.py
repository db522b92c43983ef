"""Fit of lap time against gear to logged laps, with an effect of each race day.

Logged less modelled lap = offset + day's own + s·x + q·x² + error, with x = ln(FDR / reference).
The model's slope is believed to some 2 % of the lap for one in ln FDR, less on tracks where volts
matter little (`uncertainty.lap_slope_share`), its bend to 5 %; a day (grip, air, tyres) is believed
to shift all laps of a track by 1 %. All of that is weighed in by a linear
Bayesian model, Gaussian but for Student-t errors of the laps, so that a mistyped lap is left aside.

A run gives its best lap, or the mean of its better half with how many laps that stands on.

Source: Bayesian linear regression with random effects, as in any text; the spreads are from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log, sqrt
from typing import NamedTuple

from pitapp.drive.learning.linear import (
    Matrix,
    cholesky,
    inverse,
    quadratic,
    solved,
    student_weight,
)
from pitapp.drive.ranking.uncertainty import LAP_GAIN, lap_slope_share
from pitapp.record import Record

FREEDOM = 4.0
_MOST_STEPS = 12
_FIXED = 4  # offset, slope, bend, mean instead of best lap


class LapTime(NamedTuple):
    """A run's lap: day, FDR, logged and modelled in s; `laps` of a mean of the better half, else 0."""

    day: int
    ratio: float
    logged_s: float
    modelled_s: float
    laps: int = 0


class LapPrior(Record):
    """Prior, as parts of the lap: spreads of slope, bend, day and best lap."""

    slope_share: float = lap_slope_share()
    bend_share: float = 0.05
    day_share: float = 0.010
    lap_share: float = 0.004
    mean_share: float = 0.01
    prior_runs: float = 4.0


class LapFit(Record):
    """Offset, slope and bend beside the model, with their covariance; None without logged laps.

    `scatter_s` is that of one run's lap, `day_s` that of days; `gain` is by what part the model's
    lap gets shorter for one in ln of the volts.
    """

    offset_s: float | None
    offset_se_s: float
    slope_s: float
    bend_s: float
    covariance: tuple[tuple[float, ...], ...]
    reference_ratio: float
    scatter_s: float
    day_s: float
    runs: int
    days: int
    weights: tuple[float, ...] = ()
    gain: float = LAP_GAIN

    @property
    def slope_per_ratio_s(self) -> float:
        """The slope at the reference ratio for one in FDR."""
        return self.slope_s / self.reference_ratio

    @property
    def slope_se_s(self) -> float:
        """Standard error of the slope."""
        return sqrt(self.covariance[0][0])

    def correction_s(self, ratio: float) -> float:
        """Learned correction of the modelled lap for a gear, without the offset, in s."""
        x = log(ratio / self.reference_ratio)
        return self.slope_s * x + self.bend_s * x * x

    def change_se(self, ratio: float, other: float) -> float:
        """What is uncertain of the difference of two gears' laps, in s."""
        x, y = log(ratio / self.reference_ratio), log(other / self.reference_ratio)
        return sqrt(max(0.0, quadratic(self.covariance, [x - y, x * x - y * y])))

    def change_covariance(self, one: float, other: float, base: float) -> float:
        """Of the errors of two gears' laps, each against a base gear's, in s²."""
        z = log(base / self.reference_ratio)
        x, y = log(one / self.reference_ratio), log(other / self.reference_ratio)
        (aa, ab), (_, bb) = self.covariance
        x1, x2, y1, y2 = x - z, x * x - z * z, y - z, y * y - z * z
        return x1 * y1 * aa + (x1 * y2 + x2 * y1) * ab + x2 * y2 * bb

    def lap_se(self, ratio: float) -> float:
        """The ± of one run's lap on a new day, in s."""
        own = self.change_se(ratio, self.reference_ratio)
        return sqrt(own**2 + self.offset_se_s**2 + self.day_s**2 + self.scatter_s**2)

    def lap_s(self, modelled_s: float, ratio: float) -> float | None:
        """The lap to expect of a gear on a usual day, or None with none logged."""
        if self.offset_s is None:
            return None
        return modelled_s + self.offset_s + self.correction_s(ratio)


def fit_laps(
    points: Sequence[LapTime],
    lap_s: float,
    prior: LapPrior | None = None,
    gain: float = LAP_GAIN,
) -> LapFit:
    """What laps logged on one track with one motor teach of lap time and gear.

    Args:
        points: logged laps, in any order.
        lap_s: a lap of this track, in s, by which the prior is scaled.
        prior: beliefs as parts of the lap.
        gain: by what part the model's lap gets shorter for one in ln of the volts.

    Returns:
        the fit; without laps the prior.
    """
    belief = prior or LapPrior(slope_share=lap_slope_share(gain))
    slope_sd, bend_sd = belief.slope_share * lap_s, belief.bend_share * lap_s
    runs = len(points)
    if not runs:
        return LapFit(
            offset_s=None,
            offset_se_s=0.3 * lap_s,
            slope_s=0.0,
            bend_s=0.0,
            covariance=((slope_sd**2, 0.0), (0.0, bend_sd**2)),
            reference_ratio=4.0,
            scatter_s=belief.lap_share * lap_s,
            day_s=belief.day_share * lap_s,
            runs=0,
            days=0,
            gain=gain,
        )
    order = sorted({point.day for point in points})
    place = {day: _FIXED + index for index, day in enumerate(order)}
    size = _FIXED + len(order)
    reference = _middle([point.ratio for point in points])
    misses = [point.logged_s - point.modelled_s for point in points]
    centre = _middle(misses)
    scatter, day_sd = belief.lap_share * lap_s, belief.day_share * lap_s
    rows = []
    for point in points:
        x = log(point.ratio / reference)
        row = {0: 1.0, 1: x, 2: x * x, place[point.day]: 1.0}
        if point.laps:
            row[3] = 1.0
        rows.append(row)
    theta = [0.0] * size
    weights = [1.0] * runs
    residuals = [miss - centre for miss in misses]
    covariance: Matrix = []
    for _ in range(_MOST_STEPS):
        before = scatter
        fixed = [(0.3 * lap_s) ** -2, slope_sd**-2, bend_sd**-2, (belief.mean_share * lap_s) ** -2]
        normal: Matrix = [[0.0] * size for _ in range(size)]
        right = [0.0] * size
        for i in range(size):
            normal[i][i] = fixed[i] if i < _FIXED else day_sd**-2
        for row, miss, residual, point in zip(rows, misses, residuals, points, strict=True):
            own = scatter * _narrowed(point.laps)
            pull = student_weight(residual, own, FREEDOM) / own**2
            for i, value in row.items():
                right[i] += pull * value * (miss - centre)
                for j, other in row.items():
                    normal[i][j] += pull * value * other
        lower = cholesky(normal)
        theta = solved(lower, right)
        covariance = inverse(lower)
        residuals = [
            miss - centre - sum(theta[i] * value for i, value in row.items())
            for row, miss in zip(rows, misses, strict=True)
        ]
        weights = [
            student_weight(residual, scatter * _narrowed(point.laps), FREEDOM)
            for residual, point in zip(residuals, points, strict=True)
        ]
        scatter = _pooled(
            belief.lap_share * lap_s,
            belief.prior_runs,
            [
                sqrt(w) * r / _narrowed(point.laps)
                for w, r, point in zip(weights, residuals, points, strict=True)
            ],
        )
        day_sd = _pooled(
            belief.day_share * lap_s,
            belief.prior_runs,
            [sqrt(theta[i] ** 2 + covariance[i][i]) for i in place.values()],
        )
        if abs(scatter - before) < 1e-4 * before:
            break
    return LapFit(
        offset_s=centre + theta[0],
        offset_se_s=sqrt(covariance[0][0]),
        slope_s=theta[1],
        bend_s=theta[2],
        covariance=(
            (covariance[1][1], covariance[1][2]),
            (covariance[2][1], covariance[2][2]),
        ),
        reference_ratio=reference,
        scatter_s=scatter,
        day_s=day_sd,
        runs=runs,
        days=len(order),
        weights=tuple(weights),
        gain=gain,
    )


def _narrowed(laps: int) -> float:
    """Scatter of a mean of the better half of so many laps, as a part of a best lap's.

    The better half of n laps averages n/2 of them; what a whole run has of its own (line, traffic)
    stays, taken as half of a best lap's scatter (from memory).
    """
    if laps < 4:
        return 1.0
    return sqrt(0.25 + 0.75 * 2.0 / laps)


def _middle(values: Sequence[float]) -> float:
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])


def _pooled(prior: float, runs: float, deviations: Sequence[float]) -> float:
    """Pooled spread: a prior one worth `runs` observations, and the deviations seen."""
    total = runs * prior**2 + sum(each * each for each in deviations)
    return sqrt(total / (runs + len(deviations)))
