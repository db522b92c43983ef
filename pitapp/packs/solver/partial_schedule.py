"""A day's charges as far as they are placed, from its end backwards, and what may come next."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, field
from typing import NamedTuple

from pitapp.packs.solver.problem import Job, ScheduleProblem, is_better
from pitapp.packs.solver.watched_time import SLACK_MIN

UNDECIDED, MUST, DONE, DROPPED = range(4)
NONE = -1
"""No heat before: a kind's first charge."""


class PlacementUndo(NamedTuple):
    """State to restore when a placed charge is taken back."""

    heat: int
    before: int
    of_heat: tuple[int, int]
    of_before: tuple[int, int]
    outputs: Outputs


class Outputs(NamedTuple):
    """Each group until when each output is free, the latest first; the last end; how many taken
    ones are placed."""

    free: list[list[float]]
    last_end: float
    last_heat: int
    taken: list[int]


class Slot(NamedTuple):
    """Where a charge of a group may go next: until when outputs are free, and taken ones placed."""

    free: list[float]
    taken: int
    until: float
    """A charge that ends by then comes after the next taken output; −∞ if none is left."""


@dataclass
class PartialSchedule:
    """What is decided of each heat, and which packs and outputs are left at which time."""

    day: ScheduleProblem
    drops_left: int
    jobs: list[Job] = field(default_factory=list)

    def __post_init__(self) -> None:
        day = self.day
        heats = len(day.need)
        self.status = [UNDECIDED] * heats
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
        for heat, servable in enumerate(self._servable()):
            if not servable:
                self.status[heat] = DROPPED
                self.drops_left -= 1
        self.groups = range(len(day.outputs))
        self.free = [[math.inf] * outputs for outputs in day.outputs]
        self.taken = [0] * len(day.outputs)
        self.deadline = day.deadline
        self.full_kinds = [number for number, kind in enumerate(day.kinds) if kind.full]
        self.idle_time = [kind.idle_time(day.end) for kind in day.kinds]
        self.last_end = math.inf
        self.last_heat = heats
        self.longest = [self._longest_lengths(group) for group in self.groups]
        self.shortest_recharge = min(
            (length for kind in day.kinds for after in kind.recharge_length for length in after),
            default=math.inf,
        )
        self.recharge_from = [
            [min(lengths) for lengths in zip(*kind.recharge_length, strict=True)]
            for kind in day.kinds
        ]
        self.first_ready = [
            day.time.passed(kind.free_from - day.margin)
            if kind.full
            else kind.free_from + min(kind.first_length)
            for kind in day.kinds
        ]
        self.first_lengths = sorted(
            (min(kind.first_length), number)
            for number, kind in enumerate(day.kinds)
            if not kind.full
        )

    def _servable(self) -> list[bool]:
        """Whether each heat could have a full pack, if nothing else were on the chargers."""
        day, servable = self.day, [False] * len(self.day.need)
        for heat, deadline in enumerate(day.deadline):
            in_time = day.need[heat] - day.time.earliest(deadline) <= day.most_full + SLACK_MIN
            servable[heat] = any(
                kind.can_run[heat]
                and (
                    kind.full
                    or (in_time and deadline - min(kind.first_length) >= kind.free_from - SLACK_MIN)
                )
                for kind in day.kinds
            ) or (
                in_time
                and any(
                    servable[before]
                    and kind.can_run[heat]
                    and deadline - day.back[before] >= lengths[before] - SLACK_MIN
                    for kind in day.kinds
                    for lengths in kind.recharge_length
                    for before in range(heat)
                )
            )
        return servable

    def _longest_lengths(self, group: int) -> list[float]:
        longest = []
        for heat in range(len(self.day.need)):
            lengths = [0.0]
            for kind in self.day.kinds:
                if kind.can_run[heat]:
                    lengths.append(kind.first_length[group])
                    lengths += [
                        length
                        for length in kind.recharge_length[group][:heat]
                        if math.isfinite(length)
                    ]
            longest.append(max(lengths))
        return longest

    def open_heats(self) -> list[int]:
        """The heats still to be served, the latest first."""
        return [
            heat
            for heat in range(len(self.status) - 1, -1, -1)
            if self.status[heat] in (UNDECIDED, MUST)
        ]

    def full_left(self, todo: list[int]) -> tuple[int, float, float]:
        """Packs that need no charge: how many an open heat could have, the sum of the moments since
        which those are full, and how long the others will sit full for nothing."""
        usable, since, idle = 0, 0.0, 0.0
        for number in self.full_kinds:
            left, kind = self.left[number], self.day.kinds[number]
            if left and any(kind.can_run[heat] for heat in todo):
                usable += left
                since += left * kind.free_from
            else:
                idle += left * self.idle_time[number]
        return usable, since, idle

    def chains_can_begin(self) -> bool:
        """Whether each open heat that is bound to a kind can still get a pack of that kind.

        It needs a first charge that is left, or a pack of the kind that idles since an earlier run.
        """
        idle = list(self.left)
        for heat, number in enumerate(self.kind_of):
            if self.status[heat] == MUST and number >= 0:
                idle[number] -= 1
                if idle[number] < 0:
                    return False
            elif self.status[heat] == DONE and not self.runs_again[heat]:
                idle[number] += 1
        return True

    def short_of_packs(self, todo: list[int]) -> int:
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
            if self.status[heat] == DONE and not self.runs_again[heat]:
                ready.append(self.day.back[heat] + self.shortest_recharge)
        heapq.heapify(ready)
        short = 0
        for heat in reversed(todo):
            if not ready or ready[0] > self.deadline[heat] + SLACK_MIN:
                short += 1
            elif self.runs_again[heat]:
                heapq.heappop(ready)
            else:
                heapq.heapreplace(ready, self.day.back[heat] + self.shortest_recharge)
        return short

    def shortest_lengths(self, jobs: int) -> list[float]:
        """The shortest lengths that so many charges can have, from the shortest."""
        lengths: list[float] = []
        for length, number in self.first_lengths:
            if length >= self.shortest_recharge or len(lengths) >= jobs:
                break
            lengths += [length] * self.left[number]
        lengths += [self.shortest_recharge] * (jobs - len(lengths))
        return lengths[:jobs]

    def may_run(self, heat: int, number: int) -> bool:
        """Whether a heat may be run with a pack of this kind."""
        return self.kind_of[heat] in (-1, number) and self.day.kinds[number].can_run[heat]

    def in_order(self, heat: int, end: float) -> bool:
        """Whether a charge that ends here comes after the last one placed, from the end."""
        return end < self.last_end or (end == self.last_end and heat < self.last_heat)

    def latest_whole(self, todo: list[int]) -> list[tuple[float, int]]:
        """The latest moments at which a charge that must be could begin, and its heat: of the two
        heats for which that is latest.

        A charge that ends before such a moment, for another heat, leaves a gap in which that one
        would fit whole.
        """
        begins = []
        for heat in todo:
            if self.status[heat] == MUST:
                latest = -math.inf
                for group in self.groups:
                    begin = min(self.deadline[heat], self.free[group][0])
                    begin -= self.longest[group][heat]
                    if begin >= self._next_taken(group, self.taken[group]):
                        latest = max(latest, begin)
                begins.append((latest, heat))
        return sorted(begins, reverse=True)[:2]

    def options(self, heat: int, end: float, group: int) -> list[tuple[int, int, float]]:
        """Kind, heat before (or none), length of each charge for `heat` that may end at `end`."""
        charges: list[tuple[int, int, float]] = []
        for number, kind in enumerate(self.day.kinds):
            if not self.may_run(heat, number):
                continue
            if (
                self.left[number]
                and not kind.full
                and end - kind.first_length[group] >= kind.free_from - SLACK_MIN
            ):
                charges.append((number, NONE, kind.first_length[group]))
            lengths = kind.recharge_length[group]
            for before in range(heat):
                length = lengths[before]
                if (
                    not self.runs_again[before]
                    and self.status[before] != DROPPED
                    and self.may_run(before, number)
                    and end - length >= self.day.back[before] - SLACK_MIN
                ):
                    charges.append((number, before, length))
        return charges

    def slots(self, group: int) -> list[Slot]:
        """Where the group's next charge may go: before its next taken output, after it, and so on."""
        free, taken = self.free[group], self.taken[group]
        slots = []
        while True:
            until = self._next_taken(group, taken)
            slots.append(Slot(free, taken, until))
            fit = [place for place, moment in enumerate(free) if moment >= until - SLACK_MIN]
            if until == -math.inf or not fit:
                return slots
            free = list(free)
            free.pop(fit[-1])
            free.append(-math.inf)
            taken += 1

    def _next_taken(self, group: int, placed: int) -> float:
        taken = self.day.taken[group]
        return taken[placed] if placed < len(taken) else -math.inf

    def leaves_occupied_outputs(self, group: int, slot: Slot, begin: float) -> bool:
        """Whether a charge from `begin` on the output free latest lets the taken ones have theirs."""
        waiting = self.day.taken[group][slot.taken :]
        if not waiting:
            return True
        free = sorted([*slot.free[1:], begin], reverse=True)
        return all(own >= until - SLACK_MIN for own, until in zip(free, waiting, strict=False))

    def place_full(self, heat: int, number: int) -> PlacementUndo:
        """Give a heat a pack that is full already, and return what stood before."""
        old = self._before(heat, NONE)
        self.status[heat], self.kind_of[heat] = DONE, number
        self.left[number] -= 1
        since = self.day.kinds[number].free_from
        self.jobs.append(Job(heat, number, None, since, since, None))
        return old

    def place(
        self, heat: int, number: int, before: int, group: int, slot: Slot, begin: float, end: float
    ) -> PlacementUndo:
        """Place one charge on the output of the slot that is free latest; what stood before."""
        old = self._before(heat, before)
        self.status[heat], self.kind_of[heat] = DONE, number
        if before == NONE:
            self.left[number] -= 1
        else:
            self.runs_again[before] = True
            self.kind_of[before] = number
            if self.status[before] == UNDECIDED:
                self.status[before] = MUST
        self.free = list(self.free)
        self.free[group] = sorted([*slot.free[1:], begin], reverse=True)
        self.taken = list(self.taken)
        self.taken[group] = slot.taken
        self.last_end, self.last_heat = end, heat
        first = None if before == NONE else before
        self.jobs.append(Job(heat, number, first, begin, end, group))
        return old

    def _before(self, heat: int, before: int) -> PlacementUndo:
        return PlacementUndo(
            heat,
            before,
            (self.status[heat], self.kind_of[heat]),
            (self.status[before], self.kind_of[before]),
            Outputs(self.free, self.last_end, self.last_heat, self.taken),
        )

    def unplace(self, old: PlacementUndo) -> None:
        """Undo the last `place`."""
        number = self.jobs.pop().kind
        if old.before == NONE:
            self.left[number] += 1
        else:
            self.runs_again[old.before] = False
            self.status[old.before], self.kind_of[old.before] = old.of_before
        self.status[old.heat], self.kind_of[old.heat] = old.of_heat
        self.free, self.last_end, self.last_heat, self.taken = old.outputs
