"""Depth-first search over the charges of a day, from its end backwards."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

from pitapp.packs.solver.bounds import least_waiting
from pitapp.packs.solver.partial_schedule import (
    DONE,
    DROPPED,
    MUST,
    NONE,
    UNDECIDED,
    PartialSchedule,
)
from pitapp.packs.solver.problem import SLACK_MIN, Job, ScheduleProblem


class _DominanceRecord(NamedTuple):
    """What is good to have more of in a state met, and what it has cost."""

    free: tuple[float, ...]
    last: tuple[float, int]
    drops_left: int
    cost: float


@dataclass
class BranchAndBound:
    """One search, with a number of heats left out and a limit on the time full; see `search.py`."""

    day: ScheduleProblem
    without: int
    most_states: int
    best_time: float = math.inf
    short_first: bool = True
    states: int = 0
    best_jobs: list[Job] | None = None
    met: dict[tuple[object, ...], list[_DominanceRecord]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.partial = PartialSchedule(self.day, self.without)

    def least_cost(self) -> float:
        """Least time full that the bound promises before anything is placed."""
        todo = self.partial.open_heats()
        return self._bound(todo, 0.0) if todo else 0.0

    def branch(self, cost: float) -> None:
        """Decide what is still open, everything already placed costing `cost`."""
        partial = self.partial
        todo = partial.open_heats()
        if not todo:
            cost += partial.full_left([])[2]
            if cost < self.best_time - SLACK_MIN:
                self.best_time = cost
                self.best_jobs = list(partial.jobs)
            return
        if not partial.chains_can_begin() or partial.short_of_packs(todo) > partial.drops_left:
            return
        self.states += 1
        if self.states > self.most_states:
            return
        if cost + self._bound(todo, cost) >= self.best_time - SLACK_MIN or self._is_dominated(
            todo[0], cost
        ):
            return
        latest = todo[0]
        undecided = partial.status[latest] == UNDECIDED
        partial.status[latest] = MUST
        self._place_next(todo, cost)
        partial.status[latest] = UNDECIDED if undecided else MUST
        if undecided and partial.drops_left:
            partial.status[latest] = DROPPED
            partial.drops_left -= 1
            self.branch(cost)
            partial.drops_left += 1
            partial.status[latest] = UNDECIDED

    def _bound(self, todo: list[int], spent: float) -> float:
        """Least time that packs will yet sit full, or infinity where it cannot be done or pay."""
        day, partial = self.day, self.partial
        full_left, since, cost = partial.full_left(todo)
        if full_left:
            soonest = todo[::-1][:full_left]
            needs = sum(day.need[heat] for heat in soonest)
            cost += max(0.0, needs + (full_left - len(soonest)) * day.end - since)
        charges = len(todo) - partial.drops_left - full_left
        if charges <= 0:
            return cost
        cost += charges * day.margin
        return cost + least_waiting(
            [partial.deadline[heat] for heat in todo],
            partial.shortest_lengths(charges),
            partial.free,
            latest_end=partial.last_end,
            start=day.start,
            most_full=day.most_full - day.margin,
            room=self.best_time - spent - cost - SLACK_MIN,
        )

    def _is_dominated(self, latest: int, cost: float) -> bool:
        """Whether a state at least as good has been searched; if not, note this one."""
        partial = self.partial
        marks = []
        for heat in range(latest + 1):
            status, number = partial.status[heat], partial.kind_of[heat]
            if status != DONE:
                marks.append((status, number))
                continue
            again = self.day.back[heat] + self.day.kinds[number].recharge_length[heat]
            idle = not partial.runs_again[heat] and again <= self.day.need[latest] + SLACK_MIN
            marks.append((DONE, number if idle else -1))
        free, last = tuple(partial.free), (partial.last_end, partial.last_heat)
        records = self.met.setdefault((*marks, *partial.left, partial.taken), [])
        for old in records:
            if (
                old.cost <= cost + SLACK_MIN
                and old.drops_left >= partial.drops_left
                and old.last >= last
                and all(before >= now for before, now in zip(old.free, free, strict=True))
            ):
                return True
        records.append(_DominanceRecord(free, last, partial.drops_left, cost))
        return False

    def _place_next(self, todo: list[int], cost: float) -> None:
        """Try each charge that may come next, and each full pack for the latest heat."""
        day, partial = self.day, self.partial
        latest_free, taken_until = partial.free[0], partial.next_occupied()
        choices: list[tuple[float, float, int, int, int]] = []
        for heat in todo:
            end = min(partial.deadline[heat], latest_free)
            waits = day.need[heat] - end
            if heat == todo[0]:
                choices += [
                    (0.0, 0.0, heat, number, NONE)
                    for number, kind in enumerate(day.kinds)
                    if kind.full and partial.left[number] and partial.may_run(heat, number)
                ]
            if waits > day.most_full + SLACK_MIN or not partial.in_order(heat, end):
                continue
            if end <= taken_until:
                continue
            if partial.leaves_a_gap(heat, end, todo):
                continue
            for number, before, length in partial.options(heat, end):
                if partial.leaves_occupied_outputs(end - length):
                    choices.append((waits, length, heat, number, before))
        again = day.need[todo[day.outputs]] if len(todo) > day.outputs else -math.inf

        def promise(choice: tuple[float, float, int, int, int]) -> tuple[float, ...]:
            """Little waiting first; then short, or long but done for the output's next heat."""
            waits, length, heat, number, before = choice
            if self.short_first:
                return waits, length, -heat, number, -before
            spare = min(partial.deadline[heat], latest_free) - length - again
            return waits, spare < 0, abs(spare), -heat, number, -before

        choices.sort(key=promise)
        for waits, length, heat, number, before in choices:
            if cost + waits >= self.best_time - SLACK_MIN:
                break
            if before == NONE and day.kinds[number].full:
                waits = day.need[heat] - day.kinds[number].free_from
                old = partial.place(heat, number, before, day.kinds[number].free_from, None)
            else:
                end = min(partial.deadline[heat], latest_free)
                old = partial.place(heat, number, before, end - length, end)
            self.branch(cost + waits)
            partial.unplace(old)
        if math.isfinite(taken_until) and not partial.leaves_a_gap(NONE, taken_until, todo):
            before_it = partial.place_occupied()
            if before_it is not None:
                self.branch(cost)
                partial.unplace_occupied(before_it)
