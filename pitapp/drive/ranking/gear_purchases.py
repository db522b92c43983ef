"""Gears to buy and to pack for a track: the range worth having and the gaps in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.gearing.formulas import gaps, purchases
from pitapp.gearing.models import FitLimits, Gap, GearOption, Purchase

MARGIN_PERCENT = 0.5
STEP_PERCENT = 2.0
_SPREAD_TEETH = 4
_LEAST_PERCENT = 0.1
_USUAL_PINIONS = (30, 50)
_USUAL_SPURS = (64, 90)


class Range(NamedTuple):
    """The final drive ratios worth having, longest first, and the quickest of them."""

    low: float
    high: float
    best: float


class GearPurchases(NamedTuple):
    """The holes in a range, the fewest gears that close them, and the owned gears to take along.

    `useful` are the owned pairs inside the range, longest first; `pinions` and `spurs` are theirs.
    """

    holes: list[Gap]
    buy: Purchase
    useful: tuple[GearOption, ...]

    @property
    def pinions(self) -> list[int]:
        """Owned pinions to pack."""
        return sorted({each.pinion_teeth for each in self.useful})

    @property
    def spurs(self) -> list[int]:
        """Owned spurs to pack."""
        return sorted({each.spur_teeth for each in self.useful})


def worthwhile_range(
    forecasts: Sequence[GearForecast], margin_percent: float = MARGIN_PERCENT
) -> Range | None:
    """The ratios about the quickest safe one whose lap is within a margin of it.

    Args:
        forecasts: at ratios in rising order.
        margin_percent: how much slower than the best lap still counts, in %.

    Returns:
        None if no ratio keeps the can under its limit and the pack above empty.
    """
    safe = [each for each in forecasts if each.level != "stop"]
    if not safe:
        return None
    best = min(safe, key=lambda each: each.lap_s)
    slowest = best.lap_s * (1.0 + margin_percent / 100.0)
    at = list(forecasts).index(best)

    def end(step: int) -> float:
        last = at
        while 0 <= last + step < len(forecasts):
            following = forecasts[last + step]
            if following.level == "stop" or following.lap_s > slowest:
                break
            last += step
        return forecasts[last].final_drive_ratio

    return Range(end(-1), end(1), best.final_drive_ratio)


def candidate_teeth(
    owned: Iterable[int], smallest: int | None, largest: int | None, usual: tuple[int, int]
) -> list[int]:
    """Tooth counts worth offering: the car's limits, else near the owned ones.

    >>> candidate_teeth([20, 22], None, 24, (30, 50))
    [16, 17, 18, 19, 20, 21, 22, 23, 24]
    """
    teeth = list(owned) or list(usual)
    low = smallest if smallest is not None else max(6, min(teeth) - _SPREAD_TEETH)
    high = largest if largest is not None else min(200, max(teeth) + _SPREAD_TEETH)
    return list(range(low, high + 1))


def plan_purchases(
    pinions: Sequence[int],
    spurs: Sequence[int],
    options: Sequence[GearOption],
    low: float,
    high: float,
    step_percent: float,
    internal_ratio: float,
    limits: FitLimits,
) -> GearPurchases:
    """Holes, the fewest gears to buy and those to pack for a range of ratios.

    A range with no owned gear inside is a hole however narrow it is: at least one gear inside it is
    asked for then.

    Args:
        pinions, spurs: owned, teeth.
        options: the owned pairs that fit.
        low, high: final drive ratios, 0.5 to 60.
        step_percent: largest step wanted between neighbouring ratios, 0.1 to 100 %.
        internal_ratio: everything between spur and wheel.
        limits: what the car takes.

    Raises:
        ValueError: a figure outside its range.

    >>> plan = plan_purchases([20, 22], [60], [GearOption(22, 60, 60 / 22), GearOption(20, 60, 3.0)],
    ...     2.7, 3.1, 5.0, 1.0, FitLimits(most_tooth_sum=83))
    >>> plan.buy.pinions, plan.pinions, plan.spurs
    ((21,), [20, 22], [60])
    """
    useful = tuple(each for each in options if low <= each.final_drive_ratio <= high)
    if not useful and 0.0 < low < high:
        whole = 100.0 * (high - low) / low
        step_percent = min(step_percent, max(_LEAST_PERCENT, 0.999 * whole))
    buy = purchases(
        pinions,
        spurs,
        candidate_teeth(pinions, limits.smallest_pinion, limits.largest_pinion, _USUAL_PINIONS),
        candidate_teeth(spurs, limits.smallest_spur, limits.largest_spur, _USUAL_SPURS),
        low,
        high,
        step_percent,
        internal_ratio,
        limits,
    )
    return GearPurchases(holes=gaps(options, low, high, step_percent), buy=buy, useful=useful)
