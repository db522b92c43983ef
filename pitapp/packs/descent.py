"""Depth-first search over the charges of a day, from its end backwards."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, field
from typing import NamedTuple

from pitapp.packs.bounds import least_waiting
from pitapp.packs.jobs import SLACK_MIN, Day, Job, is_better

_UNDECIDED, _MUST, _DONE, _DROPPED = range(4)


class _Met(NamedTuple):
    """What is good to have more of in a state met, and what it has cost."""

    free: tuple[float, ...]
    last: tuple[float, int]
    drops_left: int
    cost: float


@dataclass
class Descent:
    """One search, with a number of heats left out and a limit on the time full; see `search.py`."""

    day: Day
    without: int
    most_states: int
    best_time: float = math.inf
    short_first: bool = True
    states: int = 0
    best_jobs: list[Job] | None = None
    jobs: list[Job] = field(default_factory=list)
    met: dict[tuple[object, ...], list[_Met]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        day = self.day
        heats = len(day.need)
        self.status = [_UNDECIDED] * heats
        self.kind_of = [-1] * heats
        self.runs_again = [False] * heats
        self.better = [
            [place for place in range(len(day.kinds)) if is_better(day.kinds, place, number)]
            for number in range(len(day.kinds))
        ]
        self.left = [
            kind.count
            if kind.full
            else max(
                0, min(kind.count, heats - sum(day.kinds[p].count for p in self.better[number]))
            )
            for number, kind in enumerate(day.kinds)
        ]
        self.free = [math.inf] * day.outputs
        self.last_end = math.inf
        self.last_heat = heats
        self.drops_left = self.without
        self.longest = self._longest_lengths()
        self.shortest_recharge = min(
            (length for kind in day.kinds for length in kind.recharge_length), default=math.inf
        )
        self.shortest_hold = self.shortest_recharge + min(
            (back - need for back, need in zip(day.back, day.need, strict=True)), default=0.0
        )
        self.first_ready = [kind.free_from + kind.first_length for kind in day.kinds]
        self.first_lengths = sorted(
            (kind.first_length, number) for number, kind in enumerate(day.kinds) if not kind.full
        )

    def _longest_lengths(self) -> list[float]:
        longest = []
        for heat in range(len(self.day.need)):
            lengths = [0.0]
            for kind in self.day.kinds:
                if kind.can_run[heat]:
                    lengths.append(kind.first_length)
                    lengths += [
                        length for length in kind.recharge_length[:heat] if math.isfinite(length)
                    ]
            longest.append(max(lengths))
        return longest

    def least_cost(self) -> float:
        """Least time full that the bound promises before anything is placed."""
        todo = list(range(len(self.day.need)))[::-1]
        return self._bound(todo, self._full_left(), 0.0) if todo else 0.0

    def _full_left(self) -> int:
        return sum(self.left[number] for number, kind in enumerate(self.day.kinds) if kind.full)

    def descend(self, cost: float) -> None:
        """Decide what is still open, everything already placed costing `cost`."""
        todo = [heat for heat, status in enumerate(self.status) if status in (_UNDECIDED, _MUST)]
        todo.reverse()
        full_left = self._full_left()
        if not todo:
            cost += full_left * (self.day.end - self.day.start)
            if cost < self.best_time - SLACK_MIN:
                self.best_time = cost
                self.best_jobs = list(self.jobs)
            return
        if not self._chains_can_begin() or self._short_of_packs(todo) > self.drops_left:
            return
        self.states += 1
        if self.states > self.most_states:
            return
        if cost + self._bound(todo, full_left, cost) >= self.best_time - SLACK_MIN or self._met(
            todo[0], cost
        ):
            return
        latest = todo[0]
        undecided = self.status[latest] == _UNDECIDED
        self.status[latest] = _MUST
        self._place_next(todo, cost)
        self.status[latest] = _UNDECIDED if undecided else _MUST
        if undecided and self.drops_left:
            self.status[latest] = _DROPPED
            self.drops_left -= 1
            self.descend(cost)
            self.drops_left += 1
            self.status[latest] = _UNDECIDED

    def _chains_can_begin(self) -> bool:
        """Whether each open heat that is bound to a kind can still get a pack of that kind.

        It needs a first charge that is left, or a pack of the kind that idles since an earlier run.
        """
        idle = list(self.left)
        for heat, number in enumerate(self.kind_of):
            if self.status[heat] == _MUST and number >= 0:
                idle[number] -= 1
                if idle[number] < 0:
                    return False
            elif self.status[heat] == _DONE and not self.runs_again[heat]:
                idle[number] += 1
        return True

    def _short_of_packs(self, todo: list[int]) -> int:
        """Least number of open heats for which there is no pack, however many outputs there were.

        Packs are moments at which one could be full: each first charge left, and after each heat
        whose pack is not spoken for the shortest run, cooling and recharge. Once full, packs are
        all alike here, so serving the earlier heat first is best.
        """
        ready = [
            self.first_ready[number] for number, left in enumerate(self.left) for _ in range(left)
        ]
        latest = todo[0]
        for heat in range(latest):
            if self.status[heat] == _DONE and not self.runs_again[heat]:
                ready.append(self.day.need[heat] + self.shortest_hold)
        heapq.heapify(ready)
        short = 0
        for heat in reversed(todo):
            need = self.day.need[heat]
            if not ready or ready[0] > need + SLACK_MIN:
                short += 1
            elif self.runs_again[heat]:
                heapq.heappop(ready)
            else:
                heapq.heapreplace(ready, need + self.shortest_hold)
        return short

    def _bound(self, todo: list[int], full_left: int, spent: float) -> float:
        """Least time that packs will yet sit full, or infinity where it cannot be done or pay."""
        day = self.day
        loose = self.drops_left + full_left
        cost = 0.0
        if full_left:
            soonest = todo[::-1][:full_left]
            cost += sum(day.need[heat] - day.start for heat in soonest)
            cost += (full_left - len(soonest)) * (day.end - day.start)
        charges = len(todo) - loose
        if charges <= 0:
            return cost
        return cost + least_waiting(
            [day.need[heat] for heat in todo],
            self._shortest_lengths(charges),
            self.free,
            latest_end=self.last_end,
            start=day.start,
            most_full=day.most_full,
            room=self.best_time - spent - cost - SLACK_MIN,
        )

    def _shortest_lengths(self, jobs: int) -> list[float]:
        """The shortest lengths that so many charges can have, from the shortest."""
        lengths: list[float] = []
        for length, number in self.first_lengths:
            if length >= self.shortest_recharge or len(lengths) >= jobs:
                break
            lengths += [length] * self.left[number]
        lengths += [self.shortest_recharge] * (jobs - len(lengths))
        return lengths[:jobs]

    def _met(self, latest: int, cost: float) -> bool:
        """Whether a state at least as good has been searched; if not, note this one."""
        marks = []
        for heat in range(latest + 1):
            status, number = self.status[heat], self.kind_of[heat]
            if status != _DONE:
                marks.append((status, number))
                continue
            again = self.day.back[heat] + self.day.kinds[number].recharge_length[heat]
            idle = not self.runs_again[heat] and again <= self.day.need[latest] + SLACK_MIN
            marks.append((_DONE, number if idle else -1))
        free, last = tuple(self.free), (self.last_end, self.last_heat)
        seen = self.met.setdefault((*marks, *self.left), [])
        for old in seen:
            if (
                old.cost <= cost + SLACK_MIN
                and old.drops_left >= self.drops_left
                and old.last >= last
                and all(before >= now for before, now in zip(old.free, free, strict=True))
            ):
                return True
        seen.append(_Met(free, last, self.drops_left, cost))
        return False

    def _place_next(self, todo: list[int], cost: float) -> None:
        """Try each charge that may come next, and each full pack for the latest heat."""
        day = self.day
        latest_free = self.free[0]
        choices: list[tuple[float, float, int, int, int]] = []
        for heat in todo:
            end = min(day.need[heat], latest_free)
            waits = day.need[heat] - end
            if heat == todo[0]:
                choices += [
                    (0.0, 0.0, heat, number, -1)
                    for number, kind in enumerate(day.kinds)
                    if kind.full and self.left[number] and self._may_run(heat, number)
                ]
            if waits > day.most_full + SLACK_MIN or not self._in_order(heat, end):
                continue
            if self._leaves_a_gap(heat, end, todo):
                continue
            for number, before, length in self._options(heat, end):
                choices.append((waits, length, heat, number, before))
        again = day.need[todo[day.outputs]] if len(todo) > day.outputs else -math.inf

        def promise(choice: tuple[float, float, int, int, int]) -> tuple[float, ...]:
            """Little waiting first; then short, or long but done for the output's next heat."""
            waits, length, heat, number, before = choice
            if self.short_first:
                return waits, length, -heat, number, -before
            spare = min(day.need[heat], latest_free) - length - again
            return waits, spare < 0, abs(spare), -heat, number, -before

        choices.sort(key=promise)
        for waits, length, heat, number, before in choices:
            if cost + waits >= self.best_time - SLACK_MIN:
                break
            if before == -1 and day.kinds[number].full:
                waits = day.need[heat] - day.start
                self._take(heat, number, before, day.kinds[number].free_from, None, cost + waits)
            else:
                end = min(day.need[heat], latest_free)
                self._take(heat, number, before, end - length, end, cost + waits)

    def _may_run(self, heat: int, number: int) -> bool:
        return self.kind_of[heat] in (-1, number) and self.day.kinds[number].can_run[heat]

    def _in_order(self, heat: int, end: float) -> bool:
        return end < self.last_end or (end == self.last_end and heat < self.last_heat)

    def _leaves_a_gap(self, heat: int, end: float, todo: list[int]) -> bool:
        """Whether another heat's charge would fit whole between this end and the free time."""
        return any(
            other != heat
            and self.status[other] == _MUST
            and min(self.day.need[other], self.free[0]) - self.longest[other] > end
            for other in todo
        )

    def _options(self, heat: int, end: float) -> list[tuple[int, int, float]]:
        """Kind, heat before (−1: none), length of each charge for `heat` that may end at `end`."""
        found: list[tuple[int, int, float]] = []
        for number, kind in enumerate(self.day.kinds):
            if not self._may_run(heat, number):
                continue
            if (
                self.left[number]
                and not kind.full
                and end - kind.first_length >= kind.free_from - SLACK_MIN
            ):
                found.append((number, -1, kind.first_length))
            for before in range(heat):
                length = kind.recharge_length[before]
                if (
                    not self.runs_again[before]
                    and self.status[before] != _DROPPED
                    and self._may_run(before, number)
                    and end - length >= self.day.back[before] - SLACK_MIN
                ):
                    found.append((number, before, length))
        return found

    def _take(
        self, heat: int, number: int, before: int, begin: float, end: float | None, cost: float
    ) -> None:
        """Place one charge (`end` None: the pack is full already), search on, and take it back."""
        old = (self.status[heat], self.kind_of[heat], self.free, self.last_end, self.last_heat)
        self.status[heat], self.kind_of[heat] = _DONE, number
        if before == -1:
            self.left[number] -= 1
        else:
            old_before = (self.status[before], self.kind_of[before])
            self.runs_again[before] = True
            self.kind_of[before] = number
            if self.status[before] == _UNDECIDED:
                self.status[before] = _MUST
        if end is not None:
            self.free = sorted([*self.free[1:], begin], reverse=True)
            self.last_end, self.last_heat = end, heat
        job_end = begin if end is None else end
        self.jobs.append(Job(heat, number, None if before == -1 else before, begin, job_end))
        self.descend(cost)
        self.jobs.pop()
        if before == -1:
            self.left[number] += 1
        else:
            self.runs_again[before] = False
            self.status[before], self.kind_of[before] = old_before
        self.status[heat], self.kind_of[heat], self.free, self.last_end, self.last_heat = old
