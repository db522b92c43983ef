"""The steps of each pack: charges on their outputs, and storage last."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pitapp.packs.cell import open_circuit_cell_v, storage_step
from pitapp.packs.day import Charger, Heat, PlanRules, Prospect, Step, Turn


def last_heat_over(ordered: Sequence[Heat], rules: PlanRules) -> float:
    """When the day's last run ends; now, on a day without heats."""
    return max((heat.start_min + heat.run_min for heat in ordered), default=rules.now_min)


def charge_steps(
    turns: dict[str, list[Turn]], prospects: Sequence[Prospect], outputs: int
) -> dict[str, list[Step]]:
    """Give each charge an output: in order of their beginnings, the first output that is free."""
    steps: dict[str, list[Step]] = {name: [] for name in turns}
    amps = {prospect.pack.name: prospect.amps for prospect in prospects}
    busy_until = [-math.inf] * outputs
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
    turns: dict[str, list[Turn]],
    prospects: Sequence[Prospect],
    ordered: Sequence[Heat],
    charger: Charger,
    outputs: int,
    rules: PlanRules,
) -> None:
    """Append each pack's storage step, longest first, after the last heat and its cooling."""
    over = last_heat_over(ordered, rules)
    waiting: list[tuple[float, str, float, float]] = []
    for prospect in prospects:
        name = prospect.pack.name
        percent, free = prospect.pack.percent, max(over, prospect.free_min)
        if turns[name]:
            heat = ordered[turns[name][-1].heat]
            percent = prospect.left_percent[turns[name][-1].heat]
            free = max(over, heat.start_min + heat.run_min + rules.cooling_min)
        step = storage_step(
            prospect.pack.capacity_mah,
            open_circuit_cell_v(percent),
            prospect.amps,
            charger.discharge_a,
        )
        amps = {"charge": prospect.amps, "discharge": -charger.discharge_a, "none": 0.0}
        waiting.append((step.minutes, name, amps[step.action], free))
    free_outputs = [over] * outputs
    for minutes, name, current, free in sorted(waiting, key=lambda job: (-job[0], job[1])):
        if current == 0:
            steps[name].append(Step("storage", free, free, 0.0, None))
            continue
        output = min(range(outputs), key=lambda place: free_outputs[place])
        begin = max(free, free_outputs[output])
        free_outputs[output] = begin + minutes
        steps[name].append(Step("storage", begin, begin + minutes, current, output + 1))
