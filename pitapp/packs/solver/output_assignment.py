"""The steps of each pack: charges on their outputs, and storage last."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pitapp.packs.cell import FULL_CELL_V, open_circuit_cell_v, storage_step
from pitapp.packs.solver.plan_types import (
    Charger,
    Heat,
    HeatAssignment,
    HeatPlan,
    PackCapability,
    PlanRules,
    Running,
    Step,
)


def last_heat_over(ordered: Sequence[Heat], rules: PlanRules) -> float:
    """When the day's last run ends; now, on a day without heats."""
    return max((heat.start_min + heat.run_min for heat in ordered), default=rules.now_min)


def occupied_outputs(
    charger: Charger,
    outputs: int,
    prospects: Sequence[PackCapability],
    running: Sequence[Running],
    rules: PlanRules,
) -> tuple[float, ...]:
    """Until when outputs are not to be had because charges are on already, the latest first.

    Of `outputs` in use so many are free beside them as there are left, and as the amps and watts in
    all allow when each draws what the hungriest pack would.
    """
    amps = max((prospect.amps for prospect in prospects), default=0.0)
    watts = max((p.amps * p.pack.cells * FULL_CELL_V for p in prospects), default=0.0)
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


def charge_steps(
    turns: dict[str, list[HeatAssignment]],
    prospects: Sequence[PackCapability],
    outputs: int,
    taken: Sequence[float],
) -> dict[str, list[Step]]:
    """Give each charge an output: in order of their beginnings, the first output that is free."""
    steps: dict[str, list[Step]] = {name: [] for name in turns}
    amps = {prospect.pack.name: prospect.amps for prospect in prospects}
    busy_until = [*taken, *[-math.inf] * (outputs - len(taken))]
    charges = sorted(
        (turn.begin_min, turn.end_min, name)
        for name, todo in turns.items()
        for turn in todo
        if turn.charged
    )
    for begin, end, name in charges:
        output = next(place for place, until in enumerate(busy_until) if until <= begin + 1e-6)
        busy_until[output] = end
        steps[name].append(Step("charge", begin, end, amps[name], output + 1))
    return steps


def add_storage_steps(
    steps: dict[str, list[Step]],
    plans: Sequence[HeatPlan],
    prospects: Sequence[PackCapability],
    ordered: Sequence[Heat],
    charger: Charger,
    outputs: int,
    taken: Sequence[float],
    rules: PlanRules,
) -> None:
    """Append each pack's storage step, longest first, after the last heat and its cooling."""
    over = last_heat_over(ordered, rules)
    waiting: list[tuple[float, str, float, float]] = []
    for prospect in prospects:
        name = prospect.pack.name
        percent, free = prospect.pack.percent, max(over, prospect.free_min)
        ran = [place for place, plan in enumerate(plans) if plan.pack == name]
        if ran:
            heat = ordered[ran[-1]]
            percent = plans[ran[-1]].percent - 100 * heat.used_mah / prospect.pack.capacity_mah
            free = max(over, heat.start_min + heat.run_min + rules.cooling_min)
        step = storage_step(
            prospect.pack.capacity_mah,
            open_circuit_cell_v(max(0.0, percent)),
            prospect.amps,
            charger.discharge_a,
        )
        amps = {"charge": prospect.amps, "discharge": -charger.discharge_a, "none": 0.0}
        waiting.append((step.minutes, name, amps[step.action], free))
    free_outputs = [max(over, until) for until in taken] + [over] * (outputs - len(taken))
    for minutes, name, current, free in sorted(waiting, key=lambda job: (-job[0], job[1])):
        if current == 0:
            steps[name].append(Step("storage", free, free, 0.0, None))
            continue
        output = min(range(outputs), key=lambda place: free_outputs[place])
        begin = max(free, free_outputs[output])
        free_outputs[output] = begin + minutes
        steps[name].append(Step("storage", begin, begin + minutes, current, output + 1))


def time_full(
    plans: Sequence[HeatPlan],
    prospects: Sequence[PackCapability],
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
    idle = [p for p in prospects if p.full and p.pack.name not in used]
    return sum(waits) + sum(max(0.0, over - prospect.free_min) for prospect in idle)
