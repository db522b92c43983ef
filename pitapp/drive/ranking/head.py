"""Choice of the gear at the head of the page: of the safe ones, that with the least expected loss.

The loss is the lap, and `HOT_COST_S` where the can passes its limit: a gear that is hardly quicker is
not worth a can that is much nearer to its limit.

Source: expected loss over the posterior, as in any text on decisions.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.verdict import REACH

HOT_COST_S = 0.7
"""What a can over its limit costs, in s a lap. By the racers of the tests (`tests/racers`)."""
_SAME = 1e-9


class Head(NamedTuple):
    """The gear to fit, or None with the reason; and the quickest of all.

    `reason` is "no runs", "none safe", or empty.
    """

    gear: GearForecast | None
    quickest: GearForecast
    reason: str = ""


def choose(gears: Sequence[GearForecast], logged_ratios: Sequence[float]) -> Head:
    """Choose the head: the gear with the least expected loss among those that are safe.

    Safe is a gear whose can passes its limit in at most 7 runs of 100 and whose pack lasts, at most
    6 % beyond a logged ratio. Where none of those is, a shorter gear: heat falls towards them.

    Args:
        gears: forecasts of every gear, in any order.
        logged_ratios: final drive ratios of runs whose can was read, on today's tyres.
    """
    quickest = min(gears, key=lambda each: each.lap_s)
    if not logged_ratios:
        return Head(None, quickest, "no runs")
    low = min(logged_ratios) / (1.0 + REACH) - _SAME
    high = max(logged_ratios) * (1.0 + REACH) + _SAME
    safe = [each for each in gears if is_safe(each) and each.final_drive_ratio >= low]
    near = [each for each in safe if each.final_drive_ratio <= high]
    if not (near or safe):
        return Head(None, quickest, "none safe")
    return Head(min(near or safe, key=expected_loss_s), quickest)


def expected_loss_s(gear: GearForecast) -> float:
    """A lap in s, and what the chance of a hot can costs."""
    return gear.lap_s + HOT_COST_S * gear.outlook.hot_chance


def is_safe(gear: GearForecast) -> bool:
    """Whether the can passes its limit no more often than it may, and the pack lasts."""
    out = gear.outlook
    return not out.may_be_hot and out.pack_share <= 1.0
