"""Round values for the axes of plots."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from datetime import datetime, tzinfo

STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
CLOCK_STEPS_MIN = (5, 10, 15, 30, 60, 120, 180, 240, 360, 720, 1440)
MARGIN = 0.06


def nice_ticks(low: float, high: float, most: int) -> list[float]:
    """At most `most` (2 or more) round values in [low, high], at steps of 1, 2, 2.5 or 5 times a power of ten.

    Raises:
        ValueError: the range is empty.

    >>> nice_ticks(2.71, 3.08, 5)
    [2.8, 2.9, 3.0]
    >>> nice_ticks(-3, 11, 4)
    [0.0, 5.0, 10.0]
    """
    if not low < high:
        raise ValueError("An axis needs a range.")
    if high - low < sys.float_info.min * most:  # below it a power of ten may be nought
        return [low, high]
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    for step in (scale * power for scale in (*STEPS, 20.0)):
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if last - first + 1 <= most:
            break
    digits = max(0, 2 - math.floor(math.log10(step)))
    return [round(index * step, digits) for index in range(first, last + 1)] or [low, high]


def clock_ticks(low: float, high: float, most: int, zone: tzinfo) -> list[float]:
    """Moments (seconds since 1970) in [low, high] that are round on the zone's wall clock.

    >>> from datetime import UTC
    >>> clock_ticks(600, 4300, 4, UTC)
    [900, 1800, 2700, 3600]
    """
    offset = datetime.fromtimestamp(low, zone).utcoffset()
    shift = offset.total_seconds() if offset else 0.0
    ticks: list[float] = []
    for minutes in CLOCK_STEPS_MIN:
        step = minutes * 60
        first = math.ceil((low + shift) / step)
        last = math.floor((high + shift) / step)
        ticks = [index * step - shift for index in range(first, last + 1)]
        if len(ticks) <= most:
            break
    return [int(value) for value in ticks] or [low, high]


def decimals(values: Sequence[float]) -> int:
    """The decimals that write all of these round values exactly.

    >>> decimals([2.75, 3.0]), decimals([10.0, 20.0])
    (2, 0)
    """
    for digits in range(9):
        if all(abs(round(value, digits) - value) <= 1e-9 * max(1, abs(value)) for value in values):
            return digits
    return 9


def widened(values: Sequence[float]) -> tuple[float, float]:
    """The range of the values with a margin; around a single value a range about it.

    It goes below zero only where a value does.

    >>> widened([10, 20]), widened([0, 10])
    ((9.4, 20.6), (0.0, 10.6))
    """
    low, high = min(values), max(values)
    one_value = high - low <= 1e-9 * max(abs(low), abs(high))
    pad = (abs(low) * 0.05 or 0.5) if one_value else (high - low) * MARGIN
    return low - pad if low < 0 else max(0.0, low - pad), high + pad
