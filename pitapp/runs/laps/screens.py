"""What the screens of laps show: figures, a plot, and two runs lap by lap."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest
from typing import NamedTuple

from pitapp.runs.formulas import lap_figures, time_text
from pitapp.runs.laps.formulas import Fade, LapFigures
from pitapp.units import with_minus
from pitapp.web.view.plot import Axis, Plot, Point, Series, plot


class Pair(NamedTuple):
    """The same lap of two runs; `gap_s` is how much the first is behind at its end."""

    lap: int
    first_s: float | None
    second_s: float | None
    difference_s: float | None
    gap_s: float | None


class LapScreen(NamedTuple):
    """A run's laps as they are shown."""

    laps_s: Sequence[float]
    figures: LapFigures
    fade: str
    drawn: Plot


def lap_screen(laps_s: Sequence[float]) -> LapScreen | None:
    """The figures and the plot of a run's laps, or None without laps."""
    if not laps_s:
        return None
    figures = lap_figures(laps_s)
    free = [
        Point(lap, time) for lap, time in enumerate(laps_s, 1) if lap not in set(figures.traffic)
    ]
    traffic = [Point(lap, laps_s[lap - 1], "traffic") for lap in figures.traffic]
    drawn = plot(
        "lap-plot",
        "Lap times",
        _LAP,
        _TIME,
        [Series("Laps", free, joined=True), Series("Left out as traffic", traffic)],
    )
    return LapScreen(laps_s, figures, fade_text(figures.fade_per_lap_s), drawn)


def fade_text(fade: Fade | None) -> str:
    """A fade in words, with its interval.

    >>> fade_text(Fade(0.02, 0.01, 0.03)), fade_text(Fade(0.02, -0.01, 0.05))
    ('Slower by 0.020 s a lap (0.010 to 0.030).', 'No clear fade (−0.010 to 0.050 s a lap).')
    """
    if fade is None:
        return "Too few laps for a fade."
    low, high = with_minus(f"{fade.low:.3f}"), with_minus(f"{fade.high:.3f}")
    if fade.low <= 0 <= fade.high:
        return f"No clear fade ({low} to {high} s a lap)."
    if fade.slope < 0:
        return f"Quicker by {-fade.slope:.3f} s a lap ({-fade.high:.3f} to {-fade.low:.3f})."
    return f"Slower by {fade.slope:.3f} s a lap ({low} to {high})."


def pairs(first: Sequence[float], second: Sequence[float]) -> list[Pair]:
    """Two runs lap by lap; differences and gaps as long as both have a lap.

    >>> pairs([15.0, 15.5], [14.5])
    [Pair(lap=1, first_s=15.0, second_s=14.5, difference_s=0.5, gap_s=0.5), \
Pair(lap=2, first_s=15.5, second_s=None, difference_s=None, gap_s=None)]
    """
    gap, listed = 0.0, []
    for lap, (one, other) in enumerate(zip_longest(first, second), 1):
        if one is None or other is None:
            listed.append(Pair(lap, one, other, None, None))
            continue
        gap += one - other
        listed.append(Pair(lap, one, other, round(one - other, 3), round(gap, 3)))
    return listed


def beside_plot(first: Sequence[float], second: Sequence[float]) -> Plot:
    """Both runs' laps in one drawing."""
    return plot(
        "beside-plot",
        "Lap times of both",
        _LAP,
        _TIME,
        [
            Series("This run", [Point(*each) for each in enumerate(first, 1)], joined=True),
            Series("The other", [Point(*each) for each in enumerate(second, 1)], joined=True),
        ],
    )


_LAP = Axis("lap", digits=0)
_TIME = Axis("time", "s", text=time_text)
