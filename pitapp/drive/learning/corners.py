"""Time in the corners, taken from logged laps: they know the lap better than its length does."""

from __future__ import annotations

from collections.abc import Sequence

from pitapp.drive.learning.logged_run import LoggedRun
from pitapp.drive.learning.run_history import best_lap_s
from pitapp.drive.models import Setup, Track

LEAST_SHARE = 0.3
"""Of the corners' time as it was believed: less than this is not taken from laps."""
MOST_SHARE = 2.5
"""Of the straights' time: more in the corners is not taken from laps."""


def with_corners_from_laps(track: Track, misses_s: Sequence[float], modelled_s: float) -> Track:
    """The track with its corners' time changed by the median of logged less modelled laps.

    The change is shared out as the corners' time was, or evenly over their length where there was
    none.

    Args:
        track: as measured, or by feel.
        misses_s: logged less modelled lap times.
        modelled_s: a modelled lap.

    >>> from pitapp.drive.models import Straight
    >>> track = Track(straights=(Straight(length_m=40, entry_speed_m_s=5, exit_speed_m_s=5),) * 2)
    >>> longer = with_corners_from_laps(track, [4.0, 3.0, 90.0], 9.0)
    >>> [straight.corner_s for straight in longer.straights]
    [2.0, 2.0]
    """
    able = [each for each in track.straights if each.exit_speed_m_s]
    if not misses_s or not able:
        return track
    ordered = sorted(misses_s)
    half = len(ordered) // 2
    miss = ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])
    before = sum(each.corner_s for each in able)
    straights_s = max(modelled_s - before, 0.1)
    total = min(max(before + miss, LEAST_SHARE * before), MOST_SHARE * straights_s)
    if before > 0.0:
        shares = [each.corner_s / before for each in track.straights]
    else:
        slowness = sum(1.0 / (each.exit_speed_m_s or 1.0) for each in able)
        shares = [
            1.0 / each.exit_speed_m_s / slowness if each.exit_speed_m_s else 0.0
            for each in track.straights
        ]
    return Track(
        straights=tuple(
            each.model_copy(update={"corner_s": share * total})
            for each, share in zip(track.straights, shares, strict=True)
        )
    )


def corners_from_runs(track: Track, runs: Sequence[LoggedRun], setup: Setup) -> Track:
    """The track with its corners' time from the best laps of runs on it."""
    misses, modelled_s = [], 0.0
    for run in runs:
        if run.best_lap_s is None:
            continue
        try:
            modelled_s = best_lap_s(setup, run)
        except ValueError:
            continue
        misses.append(run.best_lap_s - modelled_s)
    return with_corners_from_laps(track, misses, modelled_s)
