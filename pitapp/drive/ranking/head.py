"""Choice of the gear at the head of the page: the quickest that is surely cool enough."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.verdict import REACH

_SAME = 1e-9


class Head(NamedTuple):
    """The gear to fit, or None with the reason; and the quickest of all.

    `reason` is "no runs", "none safe", or empty.
    """

    gear: GearForecast | None
    quickest: GearForecast
    reason: str = ""


def choose(gears: Sequence[GearForecast], logged_ratios: Sequence[float]) -> Head:
    """Choose the head: the quickest gear that is surely cool enough.

    The quickest gear whose can stays `MARGIN` ± under its limit, whose pack lasts, and whose ratio
    is at most 6 % beyond a logged one. Where all of those are too hot, the quickest safe one among
    shorter gears: heat falls towards them.

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
    return Head(min(near or safe, key=lambda each: each.lap_s), quickest)


def is_safe(gear: GearForecast) -> bool:
    """Whether the can stays under its limit by the margin, and the pack lasts."""
    out = gear.outlook
    return not out.may_be_hot and out.pack_share <= 1.0
