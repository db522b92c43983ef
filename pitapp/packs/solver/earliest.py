"""When a pack could be full for a heat at the earliest, were it charged for that heat before all others."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pitapp.packs.solver.plan_types import Heat, OutputGroup, PlanRules
from pitapp.packs.solver.watched_time import SLACK_MIN, WatchedTime


class FirstCharge:
    """The earliest moments at which packs can be full, by every number of outputs in use.

    A pack keeps the heats that it runs before; beside its own charges there are those that are on
    already, and no other.

    Args:
        ways: the groups of outputs, for each number of outputs in use.
        ordered: the heats by their starts.
        rules: the racer's limits.
        time: the watched clock.
    """

    def __init__(
        self,
        ways: Sequence[Sequence[OutputGroup]],
        ordered: Sequence[Heat],
        rules: PlanRules,
        time: WatchedTime,
    ) -> None:
        self.ways, self.ordered, self.rules, self.time = ways, ordered, rules, time

    def earliest(self, place: int, before: Sequence[int]) -> float:
        """When the pack is full after the heats that it runs `before`, in minutes by the clock.

        Args:
            place: among the packs of the groups' capabilities.
            before: places of those heats, in order.

        Returns:
            The moment by the clock on the wall; infinite where it cannot run those heats.
        """
        return min(self._with(groups, place, before) for groups in self.ways)

    def _with(self, groups: Sequence[OutputGroup], place: int, before: Sequence[int]) -> float:
        each, margin = groups[0].capabilities[place], self.rules.margin_min
        if each.full:
            full, ready_for = each.free_min, each.usable_min
        else:
            lengths = [group.capabilities[place].first_min for group in groups]
            full = self._charged(groups, lengths, each.free_min)
            ready_for = full + margin
        for number in before:
            heat = self.ordered[number]
            if ready_for > heat.start_min + SLACK_MIN:
                return math.inf
            cool = heat.start_min + heat.run_min + self.rules.cooling_min
            lengths = [group.capabilities[place].recharge_min[number] for group in groups]
            full = self._charged(groups, lengths, cool)
            ready_for = full + margin
        return full

    def _charged(
        self, groups: Sequence[OutputGroup], lengths: Sequence[float], ready_min: float
    ) -> float:
        """The end of a charge that goes on as soon as an output is free."""
        release = self.time.passed(ready_min)
        ends = []
        for group, length in zip(groups, lengths, strict=True):
            every = len(group.taken) == len(group.outputs)
            free = group.taken[-1] if every else -math.inf
            ends.append(max(release, free) + length)
        return self.time.earliest(min(ends))
