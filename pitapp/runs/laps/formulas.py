"""Best lap, averages, consistency and fade of a list of lap times, and the list in one column."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import accumulate
from math import ceil, sqrt
from statistics import NormalDist, fmean, median
from typing import NamedTuple

from pitapp.limits import number

MOST_LAPS = 600
SHORTEST_S, LONGEST_S = 0.1, 3600.0
TRAFFIC_SPREADS = 3.0
"""A lap over the median by more than so many robust spreads is left out as lost to traffic."""
NORMAL_SCALE = 1.4826
"""Makes a median absolute deviation the standard deviation of normally spread figures."""


class Fade(NamedTuple):
    """A slope with its 95 % interval; positive where the laps get slower."""

    slope: float
    low: float
    high: float


class LapFigures(NamedTuple):
    """What a list of laps says; times in s, `traffic` are lap numbers from 1.

    Average, better half, consistency and fade are of the laps that were not lost to traffic, all
    else is of every lap. Fade is in s a lap and in s a minute; None with fewer than three laps.
    """

    best_s: float
    best_lap: int
    average_s: float
    better_half_s: float
    median_s: float
    spread_s: float
    laps: int
    total_s: float
    traffic: tuple[int, ...]
    traffic_limit_s: float
    fade_per_lap_s: Fade | None
    fade_per_minute_s: Fade | None


def better_half_mean_s(laps_s: Sequence[float]) -> float:
    """Mean of the better half of the laps, the middle one included where their number is odd.

    Args:
        laps_s: lap times, 0.1 to 3600 s each, 1 to 600 of them.

    Returns:
        s.

    Raises:
        ValueError: no laps, too many, or an impossible time.

    >>> better_half_mean_s([15.0, 14.0, 16.0])
    14.5
    """
    times = sorted(_checked(laps_s))
    return fmean(times[: ceil(len(times) / 2)])


def robust_spread_s(laps_s: Sequence[float]) -> float:
    """Spread of the laps about their median that a few bad laps do not enlarge.

    1.4826 × the median absolute deviation from the median, which is the standard deviation where
    the times are spread normally.

    Args:
        laps_s: lap times, 0.1 to 3600 s each, 1 to 600 of them.

    Returns:
        s, 0 for a single lap.

    Raises:
        ValueError: no laps, too many, or an impossible time.

    Source: Hampel, *The Influence Curve and Its Role in Robust Estimation*, 1974.

    >>> robust_spread_s([15.0, 15.5, 16.0, 40.0])
    0.7413
    """
    times = _checked(laps_s)
    middle = median(times)
    return NORMAL_SCALE * median(abs(time - middle) for time in times)


def traffic_limit_s(laps_s: Sequence[float]) -> float:
    """The lap time above which a lap counts as lost to traffic: median + 3 robust spreads.

    Args:
        laps_s: lap times, 0.1 to 3600 s each, 1 to 600 of them.

    Returns:
        s.

    Raises:
        ValueError: no laps, too many, or an impossible time.

    Source: three spreads are a common rule for outliers; nothing in it is known of the traffic.

    >>> round(traffic_limit_s([15.0, 15.5, 16.0, 40.0]), 4)
    17.9739
    """
    return median(_checked(laps_s)) + TRAFFIC_SPREADS * robust_spread_s(laps_s)


def traffic_laps(laps_s: Sequence[float]) -> tuple[int, ...]:
    """The numbers, from 1, of the laps over `traffic_limit_s`.

    Raises:
        ValueError: no laps, too many, or an impossible time.

    >>> traffic_laps([15.0, 15.5, 16.0, 40.0])
    (4,)
    """
    limit = traffic_limit_s(laps_s)
    # A millionth of a second: a lap that is on the limit by rounding is not over it.
    return tuple(lap for lap, time in enumerate(laps_s, 1) if time > limit + 1e-6)


def slope_with_interval(
    x: Sequence[float], y: Sequence[float], confidence: float = 0.95
) -> Fade | None:
    """Theil–Sen slope of y over x with its interval: the median of the slopes of all pairs.

    Args:
        x: where, finite, not all the same.
        y: what was read there, as many.
        confidence: of the interval, 0.5 to 0.999.

    Returns:
        The slope in units of y for one of x, or None with fewer than three points.

    Raises:
        ValueError: the lists are not as long as each other, or a figure is not finite.

    Source: Sen, *Estimates of the Regression Coefficient Based on Kendall's Tau*, 1968.

    >>> slope_with_interval([1, 2, 3, 4], [10, 10.5, 11, 11.5])
    Fade(slope=0.5, low=0.5, high=0.5)
    """
    if len(x) != len(y):
        raise ValueError("There must be as many figures of the one as of the other.")
    for value in (*x, *y):
        number(value, "figure of a slope")
    share = number(confidence, "confidence", 0.5, 0.999)
    slopes = sorted(
        (y[j] - y[i]) / (x[j] - x[i]) if x[j] > x[i] else (y[i] - y[j]) / (x[i] - x[j])
        for i in range(len(x))
        for j in range(i + 1, len(x))
        if x[j] != x[i]
    )
    if len(x) < 3 or not slopes:
        return None
    wide = NormalDist().inv_cdf((1 + share) / 2) * sqrt(
        (_ties([len(x)]) - _ties(Counter(x).values()) - _ties(Counter(y).values())) / 18
    )
    highest = min(round((len(slopes) + wide) / 2), len(slopes) - 1)
    lowest = max(round((len(slopes) - wide) / 2) - 1, 0)
    return Fade(median(slopes), slopes[lowest], slopes[highest])


def lap_figures(laps_s: Sequence[float]) -> LapFigures:
    """All figures of a list of laps in driven order.

    The fade a minute is over the time at the middle of each lap, counted from the first lap's start.

    Args:
        laps_s: lap times, 0.1 to 3600 s each, 1 to 600 of them.

    Raises:
        ValueError: no laps, too many, or an impossible time.

    >>> figures = lap_figures([15.0, 15.5, 16.0, 40.0])
    >>> figures.best_s, figures.average_s, figures.traffic, figures.total_s
    (15.0, 15.5, (4,), 86.5)
    """
    times = _checked(laps_s)
    traffic = traffic_laps(times)
    free = [lap for lap in range(1, len(times) + 1) if lap not in set(traffic)]
    driven = [times[lap - 1] for lap in free]
    ends = list(accumulate(times))
    minutes = [(ends[lap - 1] - times[lap - 1] / 2) / 60 for lap in free]
    return LapFigures(
        best_s=min(times),
        best_lap=times.index(min(times)) + 1,
        average_s=fmean(driven),
        better_half_s=better_half_mean_s(driven),
        median_s=median(times),
        spread_s=robust_spread_s(driven),
        laps=len(times),
        total_s=ends[-1],
        traffic=traffic,
        traffic_limit_s=traffic_limit_s(times),
        fade_per_lap_s=slope_with_interval([float(lap) for lap in free], driven),
        fade_per_minute_s=slope_with_interval(minutes, driven),
    )


def packed_laps(laps_s: Sequence[float]) -> str:
    """Laps as the text of one column: whole thousandths of a second, with a space between.

    Raises:
        ValueError: no laps, too many, or an impossible time.

    >>> packed_laps([14.87, 15.123])
    '14870 15123'
    """
    return " ".join(str(round(time * 1000)) for time in _checked(laps_s))


def unpacked_laps(text: str) -> tuple[float, ...]:
    """The laps of a column as `packed_laps` wrote it, in s.

    Raises:
        ValueError: it is no such text.

    >>> unpacked_laps("14870 15123")
    (14.87, 15.123)
    """
    parts = text.split(" ")
    if not all(part.isascii() and part.isdigit() and len(part) < 8 for part in parts):
        raise ValueError("Laps are kept as whole thousandths of a second with a space between.")
    return tuple(_checked([int(part) / 1000 for part in parts]))


def _ties(counts: Iterable[int]) -> int:
    return sum(n * (n - 1) * (2 * n + 5) for n in counts)


def _checked(laps_s: Sequence[float]) -> list[float]:
    if not laps_s:
        raise ValueError("There are no laps.")
    if len(laps_s) > MOST_LAPS:
        raise ValueError(f"A run holds at most {MOST_LAPS} laps ({len(laps_s)} were given).")
    return [number(time, "lap time", SHORTEST_S, LONGEST_S, unit="s") for time in laps_s]
