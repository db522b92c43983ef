"""Learning from best laps how lap time really changes with the gear."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

from pitapp.drive.physics.results import LapSlope
from pitapp.limits import number

_PRIOR_RUNS = 4


class LapPoint(NamedTuple):
    """A run's final drive ratio, its logged best lap and the lap that the model gives for it."""

    final_drive_ratio: float
    logged_s: float
    modelled_s: float


def fit_lap_slope(
    points: Sequence[LapPoint], prior_sd_s_per_ratio: float = 0.10, lap_sd_s: float = 0.08
) -> LapSlope:
    """How logged minus modelled lap time changes with FDR: a slope shrunk towards none.

    slope = Sxy / (Sxx + σ²/s²), standard error σ/√(Sxx + σ²/s²), with x the ratio and y logged
    minus modelled lap time about their means, s the prior's spread and σ the spread of a best
    lap, pooled from `lap_sd_s` (as if from four runs) and the scatter found.

    Args:
        points: runs on one track with one motor: ratio 0.5 to 50, lap times 0.1 to 3600 s.
        prior_sd_s_per_ratio: how far the model's slope may be out, 0.0001 to 10 s per unit of FDR.
        lap_sd_s: spread of a best lap about the car's true one, 0.0001 to 10 s.

    Returns:
        slope and its standard error in s per unit of FDR, residual in s, and `rough` while the runs
        say less than the prior.

    Raises:
        ValueError: an impossible or absurd figure.

    Source: ridge regression with a known prior, as in any text on Bayesian linear models. The two
    default spreads are from memory.

    >>> fit_lap_slope([]).slope_s_per_ratio
    0.0
    >>> fit = fit_lap_slope([LapPoint(4.0 + i / 5, 20.0 + i / 10, 20.0) for i in range(10)])
    >>> round(fit.slope_s_per_ratio, 2), fit.rough
    (0.47, False)
    """
    prior = number(prior_sd_s_per_ratio, "spread of the slope", 0.0001, 10)
    lap_sd = number(lap_sd_s, "spread of a best lap", 0.0001, 10, unit="s")
    ratios = [number(p.final_drive_ratio, "final drive ratio", 0.5, 50) for p in points]
    misses = [
        number(p.logged_s, "logged lap", 0.1, 3600, unit="s")
        - number(p.modelled_s, "modelled lap", 0.1, 3600, unit="s")
        for p in points
    ]
    runs = len(ratios)
    if not runs:
        return LapSlope(
            slope_s_per_ratio=0.0,
            slope_se_s_per_ratio=prior,
            residual_s=0.0,
            runs=0,
            rough=True,
        )
    mean_x, mean_y = sum(ratios) / runs, sum(misses) / runs
    xs, ys = [x - mean_x for x in ratios], [y - mean_y for y in misses]
    sxx, sxy = sum(x * x for x in xs), sum(x * y for x, y in zip(xs, ys, strict=True))

    def slope_with(variance: float) -> float:
        return sxy / (sxx + variance / prior**2)

    def scatter(slope: float) -> float:
        return sum((y - slope * x) ** 2 for x, y in zip(xs, ys, strict=True))

    free = max(0, runs - 2)
    plain = scatter(sxy / sxx) if sxx else scatter(0.0)
    variance = (_PRIOR_RUNS * lap_sd**2 + (plain if free else 0.0)) / (_PRIOR_RUNS + free)
    slope = slope_with(variance)
    return LapSlope(
        slope_s_per_ratio=slope,
        slope_se_s_per_ratio=sqrt(variance / (sxx + variance / prior**2)),
        residual_s=sqrt(scatter(slope) / max(1, free)),
        runs=runs,
        rough=sxx < variance / prior**2,
    )
