"""What a charge plan cannot do and what the racer may do instead, in structure and in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from pitapp.packs.cell import FULL_CELL_V, open_circuit_cell_v
from pitapp.packs.day import Conflict, Heat, HeatPlan, PlanPack, PlanRules, Prospect, Remedy, Turn
from pitapp.packs.steps import last_heat_over


def find_conflicts(
    ordered: Sequence[Heat],
    packs: Sequence[PlanPack],
    prospects: Sequence[Prospect],
    turns: dict[str, list[Turn]],
    heat_plans: Sequence[HeatPlan],
    rules: PlanRules,
) -> tuple[list[HeatPlan], list[Conflict]]:
    """The heats' plans with part-charged packs filled in, and every conflict of the day."""
    plans = list(heat_plans)
    found: list[Conflict] = []
    spoken_for: set[str] = set()
    for place, plan in enumerate(plans):
        if plan.full:
            continue
        options = [
            (prospect, _idle_since(prospect, turns[prospect.pack.name], ordered, place, rules))
            for prospect in prospects
            if prospect.pack.name not in spoken_for
        ]
        idle = [(prospect, *since) for prospect, since in options if since is not None]
        remedies, part = _remedies(ordered[place], place, idle)
        if part is not None:
            plans[place] = part
            spoken_for.add(str(part.pack))
        found.append(
            Conflict(
                "no full pack", place, None, ordered[place].start_min, remedies=tuple(remedies)
            )
        )
    over = last_heat_over(ordered, rules)
    for prospect in prospects:
        todo = turns[prospect.pack.name]
        until = ordered[todo[0].heat].start_min if todo else over
        if prospect.full and until - rules.now_min > rules.most_full_min:
            found.append(Conflict("sits full", None, prospect.pack.name, until))
    for pack in packs:
        if pack.condition != "sound":
            found.append(
                Conflict("refused", None, pack.name, rules.now_min, f"it is {pack.condition}")
            )
    return plans, found


def _idle_since(
    prospect: Prospect, todo: Sequence[Turn], ordered: Sequence[Heat], place: int, rules: PlanRules
) -> tuple[float, float, float] | None:
    """Instant since which a pack idles, its charge then, and the length of its next charge.

    None if the plan needs the pack at or after this heat: it is not to be disturbed.
    """
    if any(turn.heat >= place for turn in todo):
        return None
    if not todo:
        return prospect.free_min, prospect.pack.percent, prospect.first_min
    last = todo[-1].heat
    back = ordered[last].start_min + ordered[last].run_min + rules.cooling_min
    return back, prospect.left_percent[last], prospect.recharge_min[last]


def _remedies(
    heat: Heat, place: int, idle: Sequence[tuple[Prospect, float, float, float]]
) -> tuple[list[Remedy], HeatPlan | None]:
    elsewhere: list[Remedy] = []
    later: list[Remedy] = []
    part: list[tuple[float, str]] = []
    for prospect, since, percent, length in idle:
        name = prospect.pack.name
        if not math.isfinite(prospect.recharge_min[place]):
            continue
        if prospect.full and percent == prospect.pack.percent:
            continue
        if since + length <= heat.start_min:
            elsewhere.append(Remedy("charge elsewhere", name, heat.start_min - length, FULL_CELL_V))
        else:
            later.append(Remedy("full later", name, since + length, FULL_CELL_V))
        needed = 100 * heat.used_mah / prospect.pack.capacity_mah
        if since <= heat.start_min and percent >= needed:
            part.append((percent, name))
    found = sorted(elsewhere, key=lambda remedy: -remedy.at_min)[:1]
    if not found:
        found = sorted(later, key=lambda remedy: remedy.at_min)[:1]
    if not part:
        return found, None
    percent, name = max(part)
    cell_v = open_circuit_cell_v(percent)
    found.append(Remedy("run part charged", name, heat.start_min, cell_v))
    return found, HeatPlan(name, percent, cell_v, False, None)


def conflict_sentence(
    conflict: Conflict,
    tell_time: Callable[[float], str],
    tell_heat: Callable[[int], str] = "Heat {}".format,
) -> str:
    """One conflict in words; `tell_time` turns the plan's minutes into a time of day.

    `tell_heat` names a heat by its number in the plan, counted from 1.

    >>> lost = Conflict("no full pack", 3, None, 80.0, remedies=(
    ...     Remedy("charge elsewhere", "B", 20.0, 4.2), Remedy("run part charged", "A", 80.0, 3.9)))
    >>> conflict_sentence(lost, lambda minutes: f"11:{minutes:02.0f}")
    'Heat 4 has no full pack: charge B elsewhere by 11:20 or run A again at about 3.90 V/cell.'
    """
    when = tell_time(conflict.at_min)
    if conflict.kind == "refused":
        return f"Pack {conflict.pack} is not in the plan: {conflict.reason}."
    if conflict.kind == "sits full":
        return (
            f"Pack {conflict.pack} is full now and sits full until {when}, longer than your limit."
        )
    heat = tell_heat((conflict.heat or 0) + 1)
    ways = " or ".join(_remedy_words(remedy, tell_time) for remedy in conflict.remedies)
    return f"{heat} has no full pack: {ways or 'no pack is free for it'}."


def _remedy_words(remedy: Remedy, tell_time: Callable[[float], str]) -> str:
    when = tell_time(remedy.at_min)
    if remedy.kind == "charge elsewhere":
        return f"charge {remedy.pack} elsewhere by {when}"
    if remedy.kind == "full later":
        return f"{remedy.pack} can be full at {when} at the earliest"
    return f"run {remedy.pack} again at about {remedy.cell_v:.2f} V/cell"
