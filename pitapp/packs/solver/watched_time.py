"""Time with what nobody watches left out: in it a charge that is stopped and taken up again is one piece."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

SLACK_MIN = 1e-6
"""What rounding may move an instant by."""


class WatchedTime:
    """A clock that stands still while the chargers are alone; both clocks agree at `now`.

    >>> time = WatchedTime(0, [(30, 40), (35, 50)])
    >>> time.passed(30), time.passed(45), time.passed(60)
    (30.0, 30.0, 40.0)
    >>> time.earliest(30.0), time.latest(30.0), time.pieces(20, 35)
    (30.0, 50.0, [(20, 30.0), (50.0, 55.0)])
    """

    def __init__(self, now: float, away: Iterable[tuple[float, float]] = ()) -> None:
        self._windows: list[tuple[float, float]] = []
        for begin, end in sorted((max(now, a), max(now, b)) for a, b in away):
            if self._windows and begin <= self._windows[-1][1] + SLACK_MIN:
                before = self._windows.pop()
                begin, end = before[0], max(before[1], end)
            if end > begin:
                self._windows.append((float(begin), float(end)))
        self._stops: list[tuple[float, float]] = []
        """By window: when it comes on the watched clock, and how long it is."""
        alone = 0.0
        for begin, end in self._windows:
            self._stops.append((begin - alone, end - begin))
            alone += end - begin

    @property
    def always(self) -> bool:
        """Whether somebody watches all the time."""
        return not self._windows

    def passed(self, moment: float) -> float:
        """What the watched clock shows at a moment."""
        alone = 0.0
        for begin, end in self._windows:
            if moment <= begin:
                break
            alone += min(moment, end) - begin
        return moment - alone

    def earliest(self, watched: float) -> float:
        """The first moment at which the watched clock shows that: when a charge really ends."""
        return watched + sum(length for stop, length in self._stops if stop < watched - SLACK_MIN)

    def latest(self, watched: float) -> float:
        """The last moment at which the watched clock shows that: when a charge really begins."""
        return watched + sum(length for stop, length in self._stops if stop <= watched + SLACK_MIN)

    def pieces(self, begin: float, end: float) -> list[tuple[float, float]]:
        """The moments from and to which a charge is on; `begin` and `end` by the watched clock."""
        cuts = [stop for stop, _ in self._stops if begin + SLACK_MIN < stop < end - SLACK_MIN]
        edges = [begin, *cuts, end]
        return [(self.latest(low), self.earliest(high)) for low, high in pairwise(edges)]
