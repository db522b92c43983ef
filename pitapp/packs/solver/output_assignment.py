"""The steps of each pack: charges on their outputs, and storage last."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from pitapp.packs.cell import FULL_CELL_V, open_circuit_cell_v, storage_step
from pitapp.packs.solver.plan_types import (
    Charger,
    Heat,
    HeatAssignment,
    HeatPlan,
    OutputGroup,
    PackCapability,
    PlanRules,
    Running,
    Step,
)
from pitapp.packs.solver.watched_time import SLACK_MIN, WatchedTime


def last_heat_over(ordered: Sequence[Heat], rules: PlanRules) -> float:
    """When the day's last run ends; now, on a day without heats."""
    return max((heat.start_min + heat.run_min for heat in ordered), default=rules.now_min)


def occupied_outputs(
    charger: Charger,
    outputs: int,
    capabilities: Sequence[PackCapability],
    running: Sequence[Running],
    rules: PlanRules,
) -> tuple[float, ...]:
    """Until when outputs are not to be had because charges are on already, the latest first.

    Of `outputs` in use so many are free beside them as there are left, and as the amps and watts in
    all allow when each draws what the hungriest pack would. On the watched clock, as `running` is.
    """
    amps = max((each.amps for each in capabilities), default=0.0)
    watts = max((each.amps * each.pack.cells * FULL_CELL_V for each in capabilities), default=0.0)
    taken: list[float] = []
    moments = {each.until_min for each in running if each.until_min > rules.now_min}
    for until in sorted(moments, reverse=True):
        on = [each for each in running if each.until_min >= until]
        free = float(charger.outputs - len(on))
        if amps:
            free = min(free, (charger.amps_in_all - sum(each.amps for each in on)) / amps)
            free = min(free, (charger.watts_in_all - sum(each.watts for each in on)) / watts)
        missing = outputs - max(0, math.floor(free + 1e-9))
        taken += [until] * (missing - len(taken))
    return tuple(taken[:outputs])


class BusyOutputs:
    """What each output is taken by, as charges are given theirs; all on the watched clock."""

    def __init__(self, groups: Sequence[OutputGroup], time: WatchedTime) -> None:
        self.groups, self.time = groups, time
        self._busy: list[list[list[tuple[float, float]]]] = []
        for group in groups:
            idle = len(group.outputs) - len(group.taken)
            untils = [*group.taken, *[-math.inf] * idle]
            self._busy.append([[(-math.inf, until)] for until in untils])

    def charge_steps(self, turns: dict[str, list[HeatAssignment]]) -> dict[str, list[Step]]:
        """Give each charge an output: in order of their beginnings, the first output that is free."""
        steps: dict[str, list[Step]] = {name: [] for name in turns}
        amps = {
            (place, each.pack.name): each.amps
            for place, group in enumerate(self.groups)
            for each in group.capabilities
        }
        charges = sorted(
            (turn.begin_min, turn.end_min, name, turn.group)
            for name, todo in turns.items()
            for turn in todo
            if turn.group is not None
        )
        for begin, end, name, group in charges:
            output = next(
                place
                for place, busy in enumerate(self._busy[group])
                if busy[-1][1] <= begin + SLACK_MIN
            )
            steps[name].append(self._step("charge", begin, end, amps[group, name], (group, output)))
        return steps

    def _step(
        self,
        kind: Literal["charge", "storage"],
        begin: float,
        end: float,
        amps: float,
        where: tuple[int, int],
    ) -> Step:
        group, output = where
        self._busy[group][output].append((begin, end))
        pieces = tuple(self.time.pieces(begin, end))
        charger, number = self.groups[group].outputs[output]
        return Step(kind, pieces[0][0], pieces[-1][1], amps, number, charger, pieces)

    def add_storage_steps(
        self,
        steps: dict[str, list[Step]],
        plans: Sequence[HeatPlan],
        ordered: Sequence[Heat],
        chargers: Sequence[Charger],
        rules: PlanRules,
    ) -> None:
        """Append each pack's storage step, longest first, after the last heat and its cooling."""
        over = last_heat_over(ordered, rules)
        waiting: list[tuple[float, str, float, list[tuple[float, float]]]] = []
        for place, each in enumerate(self.groups[0].capabilities):
            pack, name = each.pack, each.pack.name
            percent, free = pack.percent, max(over, each.free_min)
            ran = [number for number, plan in enumerate(plans) if plan.pack == name]
            if ran:
                heat = ordered[ran[-1]]
                percent = plans[ran[-1]].percent - 100 * heat.used_mah / pack.capacity_mah
                free = max(over, heat.start_min + heat.run_min + rules.cooling_min)
            ways = [self._way_to_storage(group, place, percent, chargers) for group in self.groups]
            waiting.append((min(minutes for minutes, _ in ways), name, free, ways))
        over_at = self.time.passed(over)
        free_from = [
            [max(over_at, until) for until in group.taken]
            + [over_at] * (len(group.outputs) - len(group.taken))
            for group in self.groups
        ]
        for _, name, free, ways in sorted(waiting, key=lambda job: (-job[0], job[1])):
            if ways[0][1] == 0:
                steps[name].append(Step("storage", free, free, 0.0, None))
                continue
            ready = self.time.passed(free)
            _, _, group, output = min(
                (max(ready, moment) + ways[group][0], moment, group, output)
                for group, moments in enumerate(free_from)
                for output, moment in enumerate(moments)
            )
            begin = max(ready, free_from[group][output])
            minutes, amps = ways[group]
            free_from[group][output] = begin + minutes
            where = (group, output)
            steps[name].append(self._step("storage", begin, begin + minutes, amps, where))

    def _way_to_storage(
        self, group: OutputGroup, place: int, percent: float, chargers: Sequence[Charger]
    ) -> tuple[float, float]:
        """Minutes and amps; every charger of a group discharges alike."""
        each = group.capabilities[place]
        discharge_a = chargers[group.outputs[0][0]].discharge_a
        cell_v = open_circuit_cell_v(max(0.0, percent))
        step = storage_step(each.pack.capacity_mah, cell_v, each.amps, discharge_a)
        amps = {"charge": each.amps, "discharge": -discharge_a, "none": 0.0}
        return step.minutes, amps[step.action]


def time_full(
    plans: Sequence[HeatPlan],
    capabilities: Sequence[PackCapability],
    ordered: Sequence[Heat],
    rules: PlanRules,
) -> float:
    """Minutes that packs sit full, from now or their charge to their heat, or for nothing."""
    waits = [
        heat.start_min - max(rules.now_min, plan.full_since_min)
        for heat, plan in zip(ordered, plans, strict=True)
        if plan.full_since_min is not None
    ]
    used = {plan.pack for plan in plans}
    over = last_heat_over(ordered, rules)
    idle = [each for each in capabilities if each.full and each.pack.name not in used]
    return sum(waits) + sum(max(0.0, over - each.free_min) for each in idle)
