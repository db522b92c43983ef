"""What a charge plan cannot do and what the racer may do instead, in structure and in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import NamedTuple

from pitapp.packs.cell import FULL_CELL_V, open_circuit_cell_v
from pitapp.packs.late_text import late_text
from pitapp.packs.solver.earliest import FirstCharge
from pitapp.packs.solver.output_assignment import last_heat_over
from pitapp.packs.solver.plan_types import (
    Conflict,
    Heat,
    HeatAssignment,
    HeatPlan,
    PackCapability,
    PlanPack,
    PlanRules,
    Remedy,
)
from pitapp.packs.solver.watched_time import SLACK_MIN, WatchedTime

NONE_FREE = "no pack is free for it"
NONE_LARGE = "no pack is large enough for it"
LEFT_ALONE = "the chargers are unwatched before it for longer than a pack may sit full"


def find_conflicts(
    ordered: Sequence[Heat],
    packs: Sequence[PlanPack],
    by_group: Sequence[Sequence[PackCapability]],
    first_charge: FirstCharge,
    turns: dict[str, list[HeatAssignment]],
    heat_plans: Sequence[HeatPlan],
    rules: PlanRules,
) -> tuple[list[HeatPlan], list[Conflict]]:
    """The heats' plans with packs filled in that run as they are, and every conflict of the day.

    Args:
        ordered: the heats by their starts.
        packs: as given.
        by_group: what each group of outputs can do for each sound pack.
        first_charge: when a pack could be full if it were charged before all others.
        turns: each pack's heats.
        heat_plans: each heat's pack.
        rules: the racer's limits.
    """
    prospects = by_group[0]
    plans = list(heat_plans)
    conflicts: list[Conflict] = []
    spoken_for: set[str] = set()
    for place, plan in enumerate(plans):
        if plan.full:
            continue
        idle = [
            each
            for number, prospect in enumerate(prospects)
            if prospect.pack.name not in spoken_for
            and (
                each := _idle(
                    [group[number] for group in by_group],
                    turns[prospect.pack.name],
                    ordered,
                    rules,
                    place,
                    partial(first_charge.earliest, number),
                )
            )
        ]
        heat = ordered[place]
        as_it_is = _as_it_is(heat, idle, rules)
        if as_it_is is not None:
            plans[place] = as_it_is
            spoken_for.add(str(as_it_is.pack))
            if as_it_is.full:
                continue
        remedies = _remedies(heat, idle, rules, first_charge.time)
        if as_it_is is not None:
            cell_v = as_it_is.cell_v
            remedies.append(Remedy("run part charged", str(as_it_is.pack), heat.start_min, cell_v))
        large = any(math.isfinite(each.recharge_min[place]) for each in prospects)
        reason = NONE_LARGE if prospects and not large else LEFT_ALONE if idle else NONE_FREE
        conflicts.append(
            Conflict("no full pack", place, None, heat.start_min, reason, tuple(remedies))
        )
    over = last_heat_over(ordered, rules)
    for prospect in prospects:
        name = prospect.pack.name
        ran = [place for place, plan in enumerate(plans) if plan.pack == name]
        until = ordered[ran[0]].start_min if ran else over
        if prospect.full and until - _full_since(prospect) > rules.most_full_min:
            conflicts.append(Conflict("sits full", None, name, until))
    for pack in packs:
        if pack.condition != "sound":
            conflicts.append(
                Conflict("refused", None, pack.name, rules.now_min, f"it is {pack.condition}")
            )
    return plans, conflicts


def _full_since(prospect: PackCapability) -> float:
    since = prospect.pack.full_since_min
    return prospect.free_min if since is None else min(since, prospect.free_min)


class _Idle(NamedTuple):
    """A pack before a heat that the plan has no full one for."""

    prospect: PackCapability
    chargeable_min: float
    usable_min: float
    percent: float
    length_min: float
    """On the outputs that charge it quickest."""
    amps: float
    """Of those."""
    full_min: float
    """When it could be full at the earliest, were it charged for this heat before all others."""
    needed_later: bool
    """The plan needs it at a later heat: it is not to be disturbed."""


def _idle(
    by_group: Sequence[PackCapability],
    todo: Sequence[HeatAssignment],
    ordered: Sequence[Heat],
    rules: PlanRules,
    place: int,
    full_after: Callable[[Sequence[int]], float],
) -> _Idle | None:
    """How a pack stands before a heat, or None if it is too small for it."""
    prospect = by_group[0]
    if not math.isfinite(prospect.recharge_min[place]):
        return None
    later = any(turn.heat > place for turn in todo)
    ran = [turn.heat for turn in todo if turn.heat < place]
    full = full_after(ran)
    if not ran:
        percent = 100.0 if prospect.full else prospect.pack.percent
        free, usable = prospect.free_min, prospect.usable_min
        length, amps = min((each.first_min, each.amps) for each in by_group)
        return _Idle(prospect, free, usable, percent, length, amps, full, later)
    last = ran[-1]
    back = ordered[last].start_min + ordered[last].run_min + rules.cooling_min
    left = prospect.left_percent[last]
    length, amps = min((each.recharge_min[last], each.amps) for each in by_group)
    return _Idle(prospect, back, back, left, length, amps, full, later)


def _as_it_is(heat: Heat, idle: Sequence[_Idle], rules: PlanRules) -> HeatPlan | None:
    """The fullest pack that may be run without another charge, if there is one."""
    able = [
        each
        for each in idle
        if not each.needed_later
        and each.usable_min <= heat.start_min
        and each.percent - 100 * heat.used_mah / each.prospect.pack.capacity_mah
        >= rules.least_left_percent
    ]
    if not able:
        return None
    best = max(able, key=lambda each: (each.percent, each.prospect.pack.name))
    full = best.percent >= rules.full_percent
    since = best.prospect.free_min if full else None
    name = best.prospect.pack.name
    return HeatPlan(name, best.percent, open_circuit_cell_v(best.percent), full, since)


def _remedies(
    heat: Heat, idle: Sequence[_Idle], rules: PlanRules, time: WatchedTime
) -> list[Remedy]:
    """Charge one elsewhere in time; and which could be full first here, in time or how late."""
    latest = heat.start_min - rules.margin_min
    off = time.passed(latest)
    if heat.start_min - time.earliest(off) > rules.most_full_min + SLACK_MIN:
        return []  # nobody watches for so long before it that any pack sits full too long
    elsewhere = [
        Remedy(
            "charge elsewhere",
            each.prospect.pack.name,
            time.latest(off - each.length_min),
            FULL_CELL_V,
            amps=each.amps,
        )
        for each in idle
        if not each.needed_later
        and each.length_min > 0
        and time.passed(each.chargeable_min) + each.length_min <= off + SLACK_MIN
    ]
    remedies = [max(elsewhere, key=lambda remedy: remedy.at_min)] if elsewhere else []
    if idle:
        first = min(idle, key=lambda each: (each.full_min, each.prospect.pack.name))
        name, at = first.prospect.pack.name, first.full_min
        amps = first.amps if first.length_min else 0.0
        if at > latest + SLACK_MIN:
            late = at - heat.start_min
            remedies.append(Remedy("full later", name, at, FULL_CELL_V, late, amps))
        else:
            remedies.append(Remedy("before others", name, at, FULL_CELL_V, amps=amps))
    return remedies


def conflict_sentence(
    conflict: Conflict,
    tell_time: Callable[[float], str],
    tell_heat: Callable[[int], str] = "Heat {}".format,
) -> str:
    """One conflict in words; `tell_time` turns the plan's minutes into a time of day.

    `tell_heat` names a heat by its number in the plan, counted from 1.

    >>> lost = Conflict("no full pack", 3, None, 80.0, remedies=(
    ...     Remedy("charge elsewhere", "B", 20.0, 4.2, amps=6),
    ...     Remedy("run part charged", "A", 80.0, 3.9)))
    >>> conflict_sentence(lost, lambda minutes: f"11:{minutes:02.0f}")
    'Heat 4 has no full pack: put B on another charger by 11:20 (6 A) or run A as it is, about 3.90 V/cell.'
    """
    when = tell_time(conflict.at_min)
    if conflict.kind == "refused":
        return f"Pack {conflict.pack} is not in the plan: {conflict.reason}."
    if conflict.kind == "sits full":
        return (
            f"Pack {conflict.pack} is full now and sits full until {when}, longer than your limit."
        )
    heat = tell_heat((conflict.heat or 0) + 1)
    ways = [way for each in conflict.remedies if (way := _way_out(each, tell_time))]
    first = [each for each in conflict.remedies if each.kind == "full later"]
    why = " or ".join(ways) or ("" if first else conflict.reason)
    sentence = f"{heat} has no full pack{': ' if why else ''}{why}."
    for each in first:
        what = f"Charged first, {each.pack} can be" if each.amps else f"{each.pack} is"
        sentence += f" {what} full at {tell_time(each.at_min)}, {late_text(each.after_min)}."
    return sentence


def _way_out(remedy: Remedy, tell_time: Callable[[float], str]) -> str:
    """What to do, in words; nothing where a full pack is late whatever is done here."""
    if remedy.kind == "charge elsewhere":
        when = tell_time(remedy.at_min)
        return f"put {remedy.pack} on another charger by {when} ({remedy.amps:.3g} A)"
    if remedy.kind == "before others":
        what = f"charge {remedy.pack} for it first" if remedy.amps else f"take {remedy.pack} for it"
        return f"{what} (another heat may then have none)"
    if remedy.kind == "run part charged":
        return f"run {remedy.pack} as it is, about {remedy.cell_v:.2f} V/cell"
    return ""
