"""Which pairs fit, which is nearest to a wanted ratio, and where a range of ratios has holes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from pitapp.gearing.models import (
    LEAST_MODULE_MM,
    LEAST_TEETH,
    MOST_MODULE_MM,
    MOST_TEETH,
    FitLimits,
    Gap,
    Gear,
    GearOption,
    NearOption,
)
from pitapp.gearing.train import centre_distance_mm, final_drive_ratio
from pitapp.limits import number, whole

Key = tuple[int, float | None]
"""A gear as teeth and module in mm, None where the module is not known."""
SAME_PITCH = 0.003
"""Modules closer than this are one pitch in fewer digits; 64 per inch and 0.4 mm are two."""
ROUNDING = 1e-9
"""Steps, distances and ratios that differ by no more than this are equal."""
LEAST_CHANGE_PERCENT = 0.5
"""A smaller step between two gears is not felt, nor seen in a lap."""
MOST_PINION_CHANGE_PERCENT = 6
"""One tooth of a pinion of 17 or more; a step beyond it is no small one any more."""
LONGER, SHORTER = -1, 1


def gear_options(
    pinions: Iterable[int | Gear],
    spurs: Iterable[int | Gear],
    internal_ratio: float = 1.0,
    limits: FitLimits | None = None,
) -> list[GearOption]:
    """Return every pair that fits, longest gear (lowest final drive ratio) first.

    Pairs of one ratio stand in the order of their tooth sum. A plain number is a gear of the
    limits' pitch; gears of differing pitch never pair.

    Args:
        pinions: teeth (6–200) or `Gear`s; the same gear twice counts once.
        spurs: teeth (6–200) or `Gear`s.
        internal_ratio: everything between spur and wheel, 0.2–20.
        limits: what the car allows; everything, if left out.

    Raises:
        ValueError: a tooth number, module or internal ratio outside its range.

    >>> [(o.pinion_teeth, o.spur_teeth) for o in gear_options([20, 25], [60, 70])]
    [(25, 60), (25, 70), (20, 60), (20, 70)]
    >>> gear_options([20, 25], [60, 70], 2.0, FitLimits(most_tooth_sum=81))
    [GearOption(pinion_teeth=20, spur_teeth=60, final_drive_ratio=6.0, module_mm=None)]
    """
    options = [
        GearOption(pinion[0], spur[0], ratio, pinion[1])
        for pinion, spur, ratio in fitting_pairs(pinions, spurs, internal_ratio, limits)
    ]
    return sorted(options, key=_order)


def fitting_pairs(
    pinions: Iterable[int | Gear],
    spurs: Iterable[int | Gear],
    internal_ratio: float,
    limits: FitLimits | None,
) -> Iterator[tuple[Key, Key, float]]:
    """Yield (pinion, spur, final drive ratio) of every pair of `gear_options`, unsorted.

    >>> list(fitting_pairs([20], [60, 70], 1.0, FitLimits(largest_spur=65)))
    [((20, None), (60, None), 3.0)]
    """
    limits = limits or FitLimits()
    pinion_keys, spur_keys = normalise(pinions, "pinion", limits), normalise(spurs, "spur", limits)
    number(internal_ratio, "internal ratio", 0.2, 20)
    for pinion in pinion_keys:
        for spur in spur_keys:
            if (
                _same_pitch(pinion[1], spur[1])
                and _same_pitch(pinion[1], limits.module_mm, if_unknown=True)
                and _within(pinion[0], spur[0], limits)
            ):
                yield pinion, spur, final_drive_ratio(spur[0], pinion[0], internal_ratio)


def nearest_options(
    options: Iterable[GearOption], target_ratio: float, count: int = 3
) -> list[NearOption]:
    """Return the `count` options nearest to a ratio, nearest first, with the signed step in %.

    Formula: step = 100 × (ratio − target) / target. Minus is longer, plus is shorter than
    wanted. Of two equally near ones the longer comes first.

    Args:
        options: from `gear_options`.
        target_ratio: wanted final drive ratio, 0.5–60.
        count: how many at most, 1–1000.

    Raises:
        ValueError: a target or count outside its range.

    >>> near = nearest_options(gear_options([20, 25], [60, 70]), 2.7, 2)
    >>> [(n.option.pinion_teeth, n.option.spur_teeth, round(n.step_percent, 2)) for n in near]
    [(25, 70, 3.7), (20, 60, 11.11)]
    """
    target = number(target_ratio, "wanted final drive ratio", 0.5, 60)
    most = whole(count, "number of gears to show", 1, 1000)
    ranked = sorted(options, key=lambda o: (abs(o.final_drive_ratio - target), *_order(o)))
    return [
        NearOption(option, 100 * (option.final_drive_ratio - target) / target)
        for option in ranked[:most]
    ]


def next_longer(options: Iterable[GearOption], ratio: float) -> GearOption | None:
    """Return the option with the next lower final drive ratio, or None when there is none.

    Args:
        options: from `gear_options`.
        ratio: the fitted final drive ratio, 0.01–1000; options that equal it are passed over.

    Raises:
        ValueError: a ratio outside its range.

    >>> option = next_longer(gear_options([20, 25], [60, 70]), 3.0)
    >>> option.pinion_teeth, option.spur_teeth
    (25, 70)
    """
    return next(iter(_beyond(options, ratio, LONGER, ROUNDING)), None)


def next_shorter(options: Iterable[GearOption], ratio: float) -> GearOption | None:
    """Return the option with the next higher final drive ratio, or None when there is none.

    Args:
        options: from `gear_options`.
        ratio: the fitted final drive ratio, 0.01–1000; options that equal it are passed over.

    Raises:
        ValueError: a ratio outside its range.

    >>> option = next_shorter(gear_options([20, 25], [60, 70]), 3.0)
    >>> option.pinion_teeth, option.spur_teeth
    (20, 70)
    """
    return next(iter(_beyond(options, ratio, SHORTER, ROUNDING)), None)


def longer_change(
    options: Iterable[GearOption], spur_teeth: int, ratio: float
) -> GearOption | None:
    """Return the next longer gear that is worth changing to, or None when there is none.

    Steps under `LEAST_CHANGE_PERCENT` are passed over. The next with the spur that is in the car
    comes first, up to a step of `MOST_PINION_CHANGE_PERCENT`: a pinion is changed sooner than a spur.
    Both figures are common practice, no source.

    Args:
        options: from `gear_options`.
        spur_teeth: teeth of the fitted spur, 6–200.
        ratio: the fitted final drive ratio, 0.01–1000.

    Raises:
        ValueError: a value outside its range.

    >>> option = longer_change(gear_options([20, 21], [60, 62]), 62, 3.1)
    >>> option.pinion_teeth, option.spur_teeth
    (21, 62)
    """
    return _change(options, spur_teeth, ratio, LONGER)


def shorter_change(
    options: Iterable[GearOption], spur_teeth: int, ratio: float
) -> GearOption | None:
    """Return the next shorter gear that is worth changing to, with the rules of `longer_change`.

    >>> option = shorter_change(gear_options([20, 21], [60, 62]), 60, 60 / 21)
    >>> option.pinion_teeth, option.spur_teeth
    (20, 60)
    """
    return _change(options, spur_teeth, ratio, SHORTER)


def gaps(
    options: Iterable[GearOption], low: float, high: float, largest_step_percent: float
) -> list[Gap]:
    """Return the holes in a range of ratios: steps larger than wanted, the range's ends included.

    Formula: step = 100 × (next − ratio) / ratio between neighbours of low, the options'
    ratios within the range, high.

    Args:
        options: from `gear_options`; those outside the range count for nothing.
        low: longest wanted final drive ratio, 0.5–60.
        high: shortest wanted final drive ratio, above `low` and at most 60.
        largest_step_percent: largest step that is no hole, 0.1–100 %.

    Raises:
        ValueError: a value outside its range, or `low` not below `high`.

    >>> gaps(gear_options([20, 25], [60, 70]), 2.4, 3.5, 10)
    ... # doctest: +ELLIPSIS
    [Gap(low=2.4, high=2.8, step_percent=16.66...), Gap(low=3.0, high=3.5, step_percent=16.66...)]
    """
    low, high, largest = check_range(low, high, largest_step_percent)
    return gaps_between([o.final_drive_ratio for o in options], low, high, largest)


def gaps_between(ratios: Iterable[float], low: float, high: float, largest: float) -> list[Gap]:
    """Return the holes between plain ratios, with the rules and units of `gaps`.

    >>> gaps_between([3.0], 2.9, 3.1, 5)
    []
    """
    points = [low, *sorted(r for r in ratios if low < r < high), high]
    steps = ((a, b, step_percent(a, b)) for a, b in pairwise(points))
    return [Gap(*step) for step in steps if step[2] > largest + ROUNDING]


def step_percent(ratio: float, following: float) -> float:
    """Return the step from one ratio to the following one in %.

    >>> step_percent(4.0, 4.5)
    12.5
    """
    return 100 * (following - ratio) / ratio


def check_range(low: float, high: float, largest_step_percent: float) -> tuple[float, float, float]:
    """Return a range of final drive ratios and its largest step in %, all checked as `gaps` says.

    >>> check_range(3, 4, 2)
    (3.0, 4.0, 2.0)
    """
    low = number(low, "longest wanted ratio", 0.5, 60)
    high = number(high, "shortest wanted ratio", 0.5, 60)
    if low >= high:
        raise ValueError("The longest wanted ratio must be a lower number than the shortest.")
    return low, high, number(largest_step_percent, "largest step", 0.1, 100, unit="%")


def normalise(gears: Iterable[int | Gear], name: str, limits: FitLimits) -> dict[Key, int | Gear]:
    """Return each gear once, checked: (teeth, module or None) to the gear as it was given.

    >>> normalise([20, Gear(20, 0.5), 20], "pinion", FitLimits(module_mm=0.4))
    {(20, 0.4): 20, (20, 0.5): Gear(teeth=20, module_mm=0.5)}
    """
    return {_key(gear, name, limits): gear for gear in gears}


def _key(gear: int | Gear, name: str, limits: FitLimits) -> Key:
    module = limits.module_mm
    if isinstance(gear, Gear):
        module = number(gear.module_mm, "module", LEAST_MODULE_MM, MOST_MODULE_MM, unit="mm")
        gear = gear.teeth
    return whole(gear, name, LEAST_TEETH, MOST_TEETH, unit="teeth"), module


def _same_pitch(module: float | None, other: float | None, *, if_unknown: bool = False) -> bool:
    if module is None or other is None:
        return if_unknown or module is other
    return abs(module - other) <= SAME_PITCH * other


def _within(pinion: int, spur: int, limits: FitLimits) -> bool:
    return (
        _between(pinion, limits.smallest_pinion, limits.largest_pinion)
        and _between(spur, limits.smallest_spur, limits.largest_spur)
        and _between(pinion + spur, limits.least_tooth_sum, limits.most_tooth_sum)
        and (
            limits.module_mm is None
            or _between(
                centre_distance_mm(spur, pinion, limits.module_mm),
                limits.least_centre_distance_mm,
                limits.most_centre_distance_mm,
            )
        )
    )


def _between(value: float, least: float | None, most: float | None) -> bool:
    return (least is None or value >= least - ROUNDING) and (
        most is None or value <= most + ROUNDING
    )


def _order(option: GearOption) -> tuple[float, int, int]:
    return option.final_drive_ratio, option.tooth_sum, option.pinion_teeth


def _change(
    options: Iterable[GearOption], spur_teeth: int, ratio: float, way: int
) -> GearOption | None:
    spur = whole(spur_teeth, "spur", LEAST_TEETH, MOST_TEETH, unit="teeth")
    worth_it = _beyond(options, ratio, way, LEAST_CHANGE_PERCENT / 100 - ROUNDING)
    pinion_alone = next((option for option in worth_it if option.spur_teeth == spur), None)
    if pinion_alone:
        step = step_percent(float(ratio), pinion_alone.final_drive_ratio)
        if abs(step) <= MOST_PINION_CHANGE_PERCENT + ROUNDING:
            return pinion_alone
    return next(iter(worth_it), None)


def _beyond(
    options: Iterable[GearOption], ratio: float, way: int, share: float
) -> list[GearOption]:
    """The options that are longer or shorter than a ratio by more than a share of it, nearest first."""
    fitted = number(ratio, "fitted final drive ratio", 0.01, 1000)
    further = [o for o in options if way * (o.final_drive_ratio - fitted) > share * fitted]
    return sorted(further, key=lambda o: (way * o.final_drive_ratio, *_order(o)))
