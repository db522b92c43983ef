"""Gears ranked as far as the model can drive them, each left-out gear with its reason."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from pitapp.drive.models import Setup, Track
from pitapp.drive.physics.gear_coefficients import fixed_figures, gear_figures
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.rank import rank_gears
from pitapp.gearing.models import GearOption

LEAST_RATIO, MOST_RATIO = 0.5, 50.0
CURVE_POINTS = 25


class DrivableRanking(NamedTuple):
    """Gears in their order, those that the model cannot drive, and why."""

    gears: list[GearForecast]
    left_out: tuple[GearOption, ...]
    reason: str


def drivable(setup: Setup) -> Callable[[float], str]:
    """A function from a ratio to why the model cannot drive it; empty where it can."""
    fixed = fixed_figures(setup.car, setup.motor, setup.pack, setup.controller, setup.air)

    def why_not(ratio: float) -> str:
        try:
            gear_figures(fixed, ratio)
        except ValueError as error:
            return str(error)
        return ""

    return why_not


def rank_drivable(options: Iterable[GearOption], track: Track, setup: Setup) -> DrivableRanking:
    """Every gear ranked; those that the model cannot drive are left out and named.

    Raises:
        ValueError: there are no gears, or the model can drive none of them.
    """
    gears = list(options)
    try:
        return DrivableRanking(rank_gears(gears, track, setup), (), "")
    except ValueError:
        why_not = drivable(setup)
    if setup.fitted_ratio is not None and why_not(setup.fitted_ratio):
        setup = setup.model_copy(update={"fitted_ratio": None})
    lost = {gear: reason for gear in gears if (reason := why_not(gear.final_drive_ratio))}
    if gears and len(lost) == len(gears):
        raise ValueError(lost[gears[0]])
    able = [gear for gear in gears if gear not in lost]
    return DrivableRanking(
        rank_gears(able, track, setup), tuple(lost), next(iter(lost.values()), "")
    )


def curve(
    low: float, high: float, track: Track, setup: Setup, points: int = CURVE_POINTS
) -> list[GearForecast]:
    """Forecasts at evenly spaced ratios, longest first, as far as the model can drive them.

    Uncertainties are those of the fit alone.
    """
    low, high = max(low, LEAST_RATIO), min(high, MOST_RATIO)
    step = (high - low) / (points - 1)
    options = [GearOption(0, 0, low + i * step) for i in range(points)]
    try:
        gears = rank_drivable(options, track, setup.model_copy(update={"logged_ratios": ()})).gears
    except ValueError:
        return []
    return sorted(gears, key=lambda each: each.final_drive_ratio)
