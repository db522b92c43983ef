"""The fewest gears to buy so that a range of ratios has no hole.

All ratios that any owned or offered pair could give are sorted once; a set of ratios is then one
whole number with a bit for each, so that trying a gear is an OR. The lowest hole must be closed
just above its lower end, so only the gears that put a ratio there are tried, and after each the
next hole: a search tree that misses no answer.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from itertools import pairwise

from pitapp.gearing.fit import (
    ROUNDING,
    Key,
    check_range,
    fitting_pairs,
    gaps_between,
    normalise,
    step_percent,
)
from pitapp.gearing.models import FitLimits, Gear, Purchase

CERTAIN_GEARS = 3
"""Up to this many gears every combination that could do is searched, however many there are."""
FURTHER_STEPS = 4000
"""With more gears the search is given up, without proof, after this many combinations."""

Name = tuple[str, Key]


def purchases(
    pinions: Iterable[int | Gear],
    spurs: Iterable[int | Gear],
    candidate_pinions: Iterable[int | Gear],
    candidate_spurs: Iterable[int | Gear],
    low: float,
    high: float,
    largest_step_percent: float,
    internal_ratio: float = 1.0,
    limits: FitLimits | None = None,
) -> Purchase:
    """Return the fewest extra pinions and spurs that close the holes in a range of ratios.

    A good answer is found by taking the best gear time after time and dropping what proves
    needless. Then every smaller number of gears is searched: up to three exhaustively, beyond that
    for as long as `FURTHER_STEPS` last; `proved_minimal` says whether the search came to its end.
    Holes that all the candidates together leave stay, and are named in `gaps_left`; the range is
    then closed on either side of them, up to their very edges.

    Args:
        pinions: owned, teeth (6–200) or `Gear`s.
        spurs: owned.
        candidate_pinions: on offer; those already owned are passed over.
        candidate_spurs: on offer.
        low: longest wanted final drive ratio, 0.5–60.
        high: shortest wanted final drive ratio, above `low` and at most 60.
        largest_step_percent: largest step that is no hole, 0.1–100 %.
        internal_ratio: everything between spur and wheel, 0.2–20.
        limits: what the car allows.

    Raises:
        ValueError: a value outside its range.

    >>> buy = purchases([20, 25], [60], [21, 22, 23, 24], [70], 2.4, 3.0, 15)
    >>> buy.pinions, buy.spurs, buy.proved_minimal, buy.gaps_left
    ((22,), (), True, ())
    """
    low, high, largest = check_range(low, high, largest_step_percent)
    limits = limits or FitLimits()
    owned = _names(pinions, spurs, limits)
    offered = {
        name: gear
        for name, gear in _names(candidate_pinions, candidate_spurs, limits).items()
        if name not in owned
    }
    everything = owned | offered
    search = _Search(
        [
            (("pinion", pinion), ("spur", spur), ratio)
            for pinion, spur, ratio in fitting_pairs(
                [gear for (kind, _), gear in everything.items() if kind == "pinion"],
                [gear for (kind, _), gear in everything.items() if kind == "spur"],
                internal_ratio,
                limits,
            )
            if low < ratio < high
        ],
        list(owned),
        list(offered),
        (low, high, largest),
    )
    chosen, proved = search.fewest()
    bought = sorted(chosen, key=lambda name: name[1][0])
    return Purchase(
        pinions=tuple(offered[name] for name in bought if name[0] == "pinion"),
        spurs=tuple(offered[name] for name in bought if name[0] == "spur"),
        proved_minimal=proved,
        gaps_left=tuple(gaps_between(search.ratios_with(chosen), low, high, largest)),
    )


def _names(
    pinions: Iterable[int | Gear], spurs: Iterable[int | Gear], limits: FitLimits
) -> dict[Name, int | Gear]:
    return {
        (kind, key): gear
        for kind, gears in (("pinion", pinions), ("spur", spurs))
        for key, gear in sorted(
            normalise(gears, kind, limits).items(), key=lambda item: (item[0][0], item[0][1] or 0)
        )
    }


class _Search:
    """Bit `i` of a set of ratios stands for `points[i]`; the range's ends count as present.

    The holes that nothing on offer closes divide the range into stretches, each to be closed from
    its first point to its last; a point by itself between two of them closes nothing.
    """

    def __init__(
        self,
        pairs: list[tuple[Name, Name, float]],
        owned: list[Name],
        offered: list[Name],
        target: tuple[float, float, float],
    ) -> None:
        low, high, largest = target
        self.points = [low, *sorted({ratio for _, _, ratio in pairs}), high]
        self.last = len(self.points) - 1
        place = {ratio: i for i, ratio in enumerate(self.points)}
        self.partners: dict[Name, dict[Name, int]] = {name: {} for name in [*owned, *offered]}
        for pinion, spur, ratio in pairs:
            self.partners[pinion][spur] = self.partners[spur][pinion] = 1 << place[ratio]
        self.owned = owned
        self.offered = offered
        self.log_step = math.log1p(largest / 100)
        self.reach = [self._last_within(point, largest) - 1 for point in self.points]
        self.ends = 1 | 1 << self.last
        breaks = [i for i in range(self.last) if self.reach[i] == i]
        self.stretches = [
            (after + 1, final)
            for after, final in pairwise([-1, *breaks, self.last])
            if after + 1 < final
        ]
        self.needed = sum(1 << first | 1 << final for first, final in self.stretches)
        self.tried: set[frozenset[Name]] = set()
        self.steps_left: float = math.inf

    def _last_within(self, ratio: float, largest: float) -> int:
        return bisect_right(
            self.points, largest + ROUNDING, key=lambda point: step_percent(ratio, point)
        )

    def fewest(self) -> tuple[frozenset[Name], bool]:
        """Return the gears to add and whether no smaller number would do."""
        start = self.ends | self._ratios(self.owned)
        gains = {name: self._gain(name, self.owned) for name in self.offered}
        good = self._greedy(start, gains)
        for budget in range(len(good)):
            self.tried = set()
            if budget == CERTAIN_GEARS + 1:
                self.steps_left = FURTHER_STEPS
            solution = self._within_budget(start, gains, frozenset(), budget)
            if solution is not None:
                return solution, True
            if self.steps_left <= 0:
                return good, False
        return good, True

    def ratios_with(self, chosen: Iterable[Name]) -> list[float]:
        """Return the ratios that the owned and the chosen gears give together."""
        present = self._ratios([*self.owned, *chosen])
        return [point for i, point in enumerate(self.points) if present >> i & 1]

    def _ratios(self, names: list[Name]) -> int:
        result = 0
        for name in names:
            result |= self._gain(name, names)
        return result

    def _gain(self, name: Name, present: Iterable[Name]) -> int:
        partners = self.partners[name]
        gain = 0
        for other in present:
            gain |= partners.get(other, 0)
        return gain

    def _holes(self, ratios: int) -> Iterator[tuple[int, int]]:
        """Yield (lower end of a hole, the points just above it of which one is needed)."""
        ratios |= self.needed
        for at, final in self.stretches:
            while at < final:
                width = self.reach[at] - at
                above = ratios >> (at + 1)
                near = above & ((1 << width) - 1)
                if near:
                    at += near.bit_length()
                else:
                    yield at, ((1 << width) - 1) << (at + 1)
                    at += (above & -above).bit_length()

    def _open(self, ratios: int) -> int:
        """Return points of which one is needed: a stretch's end, or those above a hole; 0 with none."""
        ends = self.needed & ~ratios
        return ends & -ends or next((points for _, points in self._holes(ratios)), 0)

    def _missing(self, ratios: int) -> float:
        """Return about how many ratios are still needed; none exactly when there is no hole."""
        total = float((self.needed & ~ratios).bit_count())
        for at, _ in self._holes(ratios):
            above = (ratios | self.needed) >> (at + 1)
            following = at + (above & -above).bit_length()
            size = math.log(self.points[following] / self.points[at]) / self.log_step
            total += max(size - 1, ROUNDING)
        return total

    def _within_budget(
        self, ratios: int, gains: dict[Name, int], chosen: frozenset[Name], budget: int
    ) -> frozenset[Name] | None:
        needed = self._open(ratios)
        if not needed:
            return chosen
        if budget == 0 or chosen in self.tried or self.steps_left <= 0:
            return None
        self.tried.add(chosen)
        for added in self._closing(needed, gains, budget):
            self.steps_left -= 1
            solution = self._within_budget(
                *self._add(ratios, gains, added), chosen.union(added), budget - len(added)
            )
            if solution is not None:
                return solution
        return None

    def _closing(
        self, needed: int, gains: dict[Name, int], most: int
    ) -> Iterator[tuple[Name, ...]]:
        """Yield each gear, then each new pinion with a new spur, that gives a needed ratio."""
        alone = {name for name, gain in gains.items() if gain & needed}
        yield from ((name,) for name in gains if name in alone)
        if most < 2:
            return
        for pinion in gains:
            if pinion[0] == "pinion" and pinion not in alone:
                for spur, ratio in self.partners[pinion].items():
                    if ratio & needed and spur in gains and spur not in alone:
                        yield pinion, spur

    def _add(
        self, ratios: int, gains: dict[Name, int], added: tuple[Name, ...]
    ) -> tuple[int, dict[Name, int]]:
        gains = gains.copy()
        for name in added:
            ratios |= gains.pop(name)
            for other, ratio in self.partners[name].items():
                if other in gains:
                    gains[other] |= ratio
        return ratios, gains

    def _greedy(self, ratios: int, gains: dict[Name, int]) -> frozenset[Name]:
        chosen: frozenset[Name] = frozenset()
        while needed := self._open(ratios):
            useful: list[tuple[Name, ...]] = [(name,) for name in gains if gains[name] & ~ratios]
            moves = useful or list(self._closing(needed, gains, 2))
            best = min(moves, key=lambda m: self._missing(self._add(ratios, gains, m)[0]))
            ratios, gains = self._add(ratios, gains, best)
            chosen = chosen.union(best)
        for name in sorted(chosen, key=lambda name: (name[0], name[1][0])):
            fewer = chosen - {name}
            if not self._open(self.ends | self._ratios([*self.owned, *fewer])):
                chosen = fewer
        return chosen
