"""A bound on the time that packs must wait full because outputs are few."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from pitapp.packs.solver.watched_time import SLACK_MIN


def least_waiting(
    deadlines: Sequence[float],
    needs: Sequence[float],
    lengths: Sequence[float],
    free: Sequence[float],
    *,
    latest_end: float,
    start: float,
    most_full: float,
    room: float,
    ends_at: Callable[[float], float] | None = None,
) -> float:
    """Least sum of waits of `len(lengths)` charges, or infinity where there is no way, or no room.

    Charges end in falling order at e₁ ≥ e₂ …; the k-th needs the k-th latest moment at which an
    output is free, and ends no later than the k-th latest deadline. Which lengths come when is unknown,
    so the q-th latest beginning among charges placed is at most min over i ≤ q of
    (e_i − length_(q+1−i)), shortest lengths first.

    Args:
        deadlines: of the charges for the open heats, latest first; more than charges if some need
            no charge.
        needs: when those heats start.
        lengths: the shortest that the charges can have, shortest first.
        free: until when each output is free, latest first.
        latest_end: no charge ends later.
        start: no charge begins earlier.
        most_full: no charge waits longer.
        room: a sum from here on is of no use.
        ends_at: the moment at which a charge ends that ends then on the clock of the charges.

    Two charges of 60 min, one output, heats at 100 and 110: one ends at 110, the other at 50.

    >>> least_waiting([110, 100], [110, 100], [60, 60], [math.inf], latest_end=math.inf, start=-20,
    ...               most_full=240, room=math.inf)
    50.0
    """
    spare = len(needs) - len(lengths)
    total = 0.0
    ends: list[float] = []
    begins: list[float] = []
    for place in range(len(lengths)):
        deadline, latest = deadlines[place], _latest_free(place, begins, free, latest_end)
        end = deadline if deadline < latest else latest
        waits = needs[place + spare] - (end if ends_at is None else ends_at(end))
        if waits > 0:
            total += waits
            if waits > most_full + SLACK_MIN or total >= room:
                return math.inf
        ends.append(end)
        begin = end - lengths[0]
        for before in range(place):
            other = ends[before] - lengths[place - before]
            if other < begin:
                begin = other
        begins.append(begin)
    if ends[-1] - lengths[0] < start - SLACK_MIN:
        return math.inf
    return total


def _latest_free(
    place: int, begins: Sequence[float], free: Sequence[float], latest_end: float
) -> float:
    """Latest moment at which an output can be free for the charge at this place."""
    latest = free[place] if place < len(free) else -math.inf
    for beside in range(min(place, len(free))):
        begun = begins[place - beside - 1]
        moment = free[beside] if free[beside] < begun else begun
        if moment > latest:
            latest = moment
    return latest if latest < latest_end else latest_end
