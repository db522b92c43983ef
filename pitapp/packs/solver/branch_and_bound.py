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
    Slot,
)
from pitapp.packs.solver.problem import Job, ScheduleProblem
from pitapp.packs.solver.watched_time import SLACK_MIN


class _DominanceRecord(NamedTuple):
    """A state met before: free times, last charge end, drops left (more is better), and its cost."""

    free: tuple[float, ...]
    last: tuple[float, int]
    drops_left: int
    cost: float


class _Choice(NamedTuple):
    """A charge that may come next, or (no slot) a pack for its heat that is full already."""

    waits: float
    length: float
    heat: int
    number: int
    before: int
    end: float
    group: int = 0
    slot: Slot | None = None


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
        self.ends_at = None if self.day.time.always else self.day.time.earliest

    def least_cost(self) -> float:
        """Least time full that the bound promises before anything is placed."""
        todo = self.partial.open_heats()
        if self.partial.drops_left < 0:
            return math.inf
        return self._bound(todo, 0.0) if todo else 0.0

    def branch(self, cost: float) -> None:
        """Decide what is still open, everything already placed costing `cost`."""
        partial = self.partial
        todo = partial.open_heats()
        if partial.drops_left < 0:
            return
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
        free = partial.free[0]
        if len(partial.free) > 1:
            free = sorted((moment for each in partial.free for moment in each), reverse=True)
        return cost + least_waiting(
            [partial.deadline[heat] for heat in todo],
            [day.need[heat] for heat in todo],
            partial.shortest_lengths(charges),
            free,
            latest_end=partial.last_end,
            start=day.start,
            most_full=day.most_full,
            room=self.best_time - spent - cost - SLACK_MIN,
            ends_at=self.ends_at,
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
            again = self.day.back[heat] + partial.recharge_from[number][heat]
            idle = not partial.runs_again[heat] and again <= partial.deadline[latest] + SLACK_MIN
            marks.append((DONE, number if idle else -1))
        free = tuple(moment for each in partial.free for moment in each)
        last = (partial.last_end, partial.last_heat)
        records = self.met.setdefault((*marks, *partial.left, *partial.taken), [])
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
        latest = todo[0]
        free = max(each[0] for each in partial.free)
        choices = [
            _Choice(0.0, 0.0, latest, number, NONE, min(partial.deadline[latest], free))
            for number in partial.full_kinds
            if partial.left[number] and partial.may_run(latest, number)
        ]
        whole = partial.latest_whole(todo)
        for group in partial.groups:
            slots = partial.slots(group)
            for heat in todo:
                gap_from = next((begin for begin, other in whole if other != heat), -math.inf)
                choices += self._charges_for(heat, group, slots, gap_from)
        outputs = sum(day.outputs)
        again = partial.deadline[todo[outputs]] if len(todo) > outputs else -math.inf

        def promise(choice: _Choice) -> tuple[float, ...]:
            """Little waiting first; then short, or long but done for the output's next heat."""
            waits, length, heat, number, before, end, group, _ = choice
            if self.short_first:
                return waits, length, -heat, number, -before, group
            spare = end - length - again
            return waits, spare < 0, abs(spare), -heat, number, -before, group

        choices.sort(key=promise)
        for choice in choices:
            waits, length, heat, number, before, end, group, slot = choice
            if cost + waits >= self.best_time - SLACK_MIN:
                break
            if slot is None:
                waits = day.need[heat] - day.kinds[number].free_from
                old = partial.place_full(heat, number)
            else:
                old = partial.place(heat, number, before, group, slot, end - length, end)
            self.branch(cost + waits)
            partial.unplace(old)

    def _charges_for(
        self, heat: int, group: int, slots: list[Slot], gap_from: float
    ) -> list[_Choice]:
        """Each charge for the heat that may come next on the group's outputs, as late as it can."""
        day, partial = self.day, self.partial
        choices: list[_Choice] = []
        before_it = math.inf
        for slot in slots:
            end = min(partial.deadline[heat], slot.free[0])
            in_turn, before_it = slot.until < end <= before_it, slot.until
            if not in_turn:
                continue
            waits = day.need[heat] - (end if self.ends_at is None else self.ends_at(end))
            if (
                end < gap_from
                or waits > day.most_full + SLACK_MIN
                or not partial.in_order(heat, end)
            ):
                continue
            choices += [
                _Choice(waits, length, heat, number, before, end, group, slot)
                for number, before, length in partial.options(heat, end, group)
                if partial.leaves_occupied_outputs(group, slot, end - length)
            ]
        return choices
