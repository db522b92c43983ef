"""What to try next: the gear whose run would help the choice for the race most.

The expected value of information. A run in a gear would show its lap and its can, each with the
scatter of a run. By what is believed now both are Gaussian, so each outcome shifts what is expected
of every gear by a known amount (the posterior of a linear Gaussian model), makes its ± smaller, and
the head may then reach 6 % beyond that gear. The mean over the outcomes (Gauss–Hermite, five points
each way) of the least loss that could then be chosen (`head`), against that which is chosen now, is what
the run is worth, in seconds a lap.

Source: Raiffa & Schlaifer, *Applied Statistical Decision Theory* (1961), preposterior analysis;
Gauss–Hermite nodes from any table of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import sqrt
from typing import NamedTuple

from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.head import HOT_COST_S, expected_loss_s, is_safe
from pitapp.drive.ranking.verdict import MOST_HOT, REACH, hot_chance

LEAST_GAIN_S = 0.01
"""A lap: less is not worth a word."""
# Probabilists' nodes and weights, five points.
_POINTS = (
    (-2.8569700138728056, 0.011257411327720689),
    (-1.3556261799742659, 0.22207592200561263),
    (0.0, 0.5333333333333333),
    (1.3556261799742659, 0.22207592200561263),
    (2.8569700138728056, 0.011257411327720689),
)

Covariance = Callable[[GearForecast, GearForecast], float]


class GearTrial(NamedTuple):
    """A gear to try, what that is worth in s a lap, and the gears between which it decides."""

    gear: GearForecast
    gain_s: float
    now: GearForecast
    longer: bool


def try_next(
    gears: Sequence[GearForecast],
    head: GearForecast,
    logged_ratios: Sequence[float],
    lap_covariance: Covariance,
    can_covariance: Covariance,
    lap_noise_s: float,
    can_noise_k: float,
) -> GearTrial | None:
    """The safe gear whose run is worth most, or None where none is worth a word.

    Args:
        gears: forecasts of every gear.
        head: the gear that would be chosen now.
        logged_ratios: ratios of runs whose can was read.
        lap_covariance: of the errors of two gears' laps, each against the head's, s².
        can_covariance: of the errors of two gears' cans, K².
        lap_noise_s: scatter of a run's lap against another's of the day.
        can_noise_k: scatter of a reading.
    """
    low, high = min(logged_ratios), max(logged_ratios)
    able = [each for each in gears if _within(each, low, high)]
    span_low, span_high = low / (1.0 + REACH), high * (1.0 + REACH)
    choices = [
        each
        for each in gears
        if span_low / (1.0 + REACH) <= each.final_drive_ratio <= span_high * (1.0 + REACH)
    ]
    before = expected_loss_s(head)
    best: GearTrial | None = None
    for trial in able:
        if not is_safe(trial):
            continue
        gain = before - _after(
            trial, choices, (low, high), lap_covariance, can_covariance, lap_noise_s, can_noise_k
        )
        if gain >= LEAST_GAIN_S and (best is None or gain > best.gain_s):
            longer = trial.final_drive_ratio < head.final_drive_ratio
            best = GearTrial(trial, gain, head, longer)
    return best


def _within(gear: GearForecast, low: float, high: float) -> bool:
    return low / (1.0 + REACH) - 1e-9 <= gear.final_drive_ratio <= high * (1.0 + REACH) + 1e-9


def _after(
    trial: GearForecast,
    choices: Sequence[GearForecast],
    logged: tuple[float, float],
    lap_covariance: Covariance,
    can_covariance: Covariance,
    lap_noise_s: float,
    can_noise_k: float,
) -> float:
    """The loss to be expected of the gear chosen after a run in `trial`."""
    low = min(logged[0], trial.final_drive_ratio)
    high = max(logged[1], trial.final_drive_ratio)
    lap_sd = sqrt(lap_covariance(trial, trial) + lap_noise_s**2)
    can_sd = sqrt(can_covariance(trial, trial) + can_noise_k**2)
    rows = []
    for each in choices:
        if not _within(each, low, high) or each.outlook.pack_share > 1.0:
            continue
        lap_shift = lap_covariance(each, trial) / lap_sd
        can_shift = can_covariance(each, trial) / can_sd
        out = each.outlook
        left = sqrt(max(0.0, out.temperature_se_c**2 - can_shift**2))
        room = out.can_limit_c - out.temperature_c
        rows.append((each.lap_s, lap_shift, room, can_shift, left))
    expected = 0.0
    for can_z, can_weight in _POINTS:
        safe = []
        for lap, shift, room, can_shift, left in rows:
            hot = hot_chance(room - can_shift * can_z, left)
            if hot <= MOST_HOT:
                safe.append((lap + HOT_COST_S * hot, shift))
        for lap_z, lap_weight in _POINTS:
            quickest = min((lap + shift * lap_z for lap, shift in safe), default=None)
            if quickest is None:
                # Nothing would be safe: as slow as the slowest that was thought of.
                quickest = max(row[0] for row in rows)
            expected += can_weight * lap_weight * quickest
    return expected
