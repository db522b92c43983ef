"""The day's charge plan: when each pack goes on, where, at what current, for which heat, and to storage.

The model, exactly:

- A charger's outputs are alike. If its amps or watts in all are less than its outputs together could
  take, they are shared out evenly over the outputs in use; how many are in use is one number for
  the day, and every number is tried. A pack's current is the least of: its most charge rate, the
  output's amps, the output's watts at 4.20 V/cell, and its share of the whole.
- Charges that are on already keep their outputs, amps and watts until they end. As many outputs
  are free beside them as the whole allows when each draws what the hungriest pack would.
- A charge stays on one output, from the pack's state to full, at the length of `charge_time_s`, in
  whole planning steps (upwards). No charge is a part charge.
- While nobody watches no charge is on, no discharge either: what is on then is stopped, keeps its
  output, and is taken up again where it was. Nothing else stops a charge.
- A heat takes one full pack at its start, off the charger for the margin at least. After the run
  and the cooling time that pack may be charged again, from 100 % less what the run took.
- A pack on the charger at the start of the day is full from the end of its charge on, and no heat
  gets it before the margin has passed; one on its way to storage may be charged from then on.
- A pack sits full from the end of its charge to the start of its heat, never longer than the
  limit. A pack full at the start of the day, or from a charge that was on then, sits full to its
  heat or, unused, until the last heat is over; the limit cannot bind that, it is reported.
- First the fewest heats without a full pack, then the least time full, all packs added up.
- Storage comes last, after the last heat of the day and the pack's cooling, longest first on
  whichever output ends it first; its order is not part of what is best.

Within this model the plan is the best there is whenever `proved` is true.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from pitapp.limits import number, whole
from pitapp.packs.cell import FULL_CELL_V, charge_time_s
from pitapp.packs.models import MOST_HEATS
from pitapp.packs.safety import charge_current_a
from pitapp.packs.solver.conflicts import find_conflicts
from pitapp.packs.solver.earliest import FirstCharge
from pitapp.packs.solver.output_assignment import (
    BusyOutputs,
    last_heat_over,
    occupied_outputs,
    time_full,
)
from pitapp.packs.solver.plan_types import (
    ChargePlan,
    Charger,
    Heat,
    HeatAssignment,
    HeatPlan,
    OutputGroup,
    PackCapability,
    PlanPack,
    PlanRules,
    Running,
)
from pitapp.packs.solver.problem import Kind, Schedule, ScheduleProblem
from pitapp.packs.solver.search import search
from pitapp.packs.solver.watched_time import WatchedTime

MOST_PACKS = 60
MOST_CHARGERS = 8


class Day(NamedTuple):
    """Everything that a plan is made from, put in order: heats by their starts, sound packs."""

    heats: list[Heat]
    packs: list[PlanPack]
    chargers: list[Charger]
    rules: PlanRules
    running: list[Running]
    time: WatchedTime
    """`running` ends on its watched clock, a pack's charge on the wall's."""


class BestSchedule(NamedTuple):
    """The best schedule over all numbers of outputs in use, on which groups of outputs."""

    schedule: Schedule
    groups: list[OutputGroup]
    proved: bool


def plan_charging(
    heats: Sequence[Heat],
    packs: Sequence[PlanPack],
    charger: Charger | Sequence[Charger],
    rules: PlanRules | None = None,
    *,
    running: Sequence[Running] = (),
    away: Sequence[tuple[float, float]] = (),
    most_states: int = 16_000,
) -> ChargePlan:
    """Plan the day's charges so that each heat has a full pack, as late as can be, then storage.

    Args:
        heats: up to 24, in any order, none before `rules.now_min`.
        packs: up to 60, each with its own name; retired and damaged packs are refused.
        charger: outputs and limits; several chargers as a sequence, up to 8.
        rules: the racer's limits.
        running: the charges that are on already, of these packs or of others.
        away: from and to when nobody watches the chargers.
        most_states: where the search gives up proving, 1 to 1 000 000.

    Returns:
        A `ChargePlan`. Never leave a charging pack alone, whatever the plan says.

    Raises:
        ValueError: too many heats, packs or chargers, two packs of one name, or a heat in the past.

    Source: the model in this module's docstring.

    >>> plan = plan_charging(
    ...     [Heat(120, 6, 3000)],
    ...     [PlanPack("A", 2, 6000, 1, 40, 0.003)],
    ...     Charger(1, 10, 200, 10, 200),
    ... )
    >>> plan.heats[0].pack, plan.steps["A"][0].end_min, plan.steps["A"][-1].kind
    ('A', 120.0, 'storage')
    """
    most = whole(most_states, "most states to search", 1, 1_000_000)
    day, order = day_of(heats, packs, charger, rules or PlanRules(), running, away)
    best = best_schedule(day, most)
    usable = [group.capabilities for group in best.groups]
    turns = _assignments(best, day)
    outputs = BusyOutputs(best.groups, day.time)
    steps = outputs.charge_steps(turns)
    heat_plans = _heat_plans(turns, day)
    ways = [] if all(plan.full for plan in heat_plans) else _ways_to_share(day)
    first_charge = FirstCharge(ways, day.heats, day.rules, day.time)
    heat_plans, conflicts = find_conflicts(
        day.heats, packs, usable, first_charge, turns, heat_plans, day.rules
    )
    outputs.add_storage_steps(steps, heat_plans, day.heats, day.chargers, day.rules)
    now = day.rules.now_min
    return ChargePlan(
        heats=tuple(heat_plans[order.index(place)] for place in range(len(heats))),
        steps={name: tuple(todo) for name, todo in steps.items()},
        conflicts=tuple(conflict.for_list(order) for conflict in conflicts),
        full_min=time_full(heat_plans, usable[0], day.heats, day.rules),
        proved=best.proved,
        outputs_in_use=sum(len(group.outputs) for group in best.groups),
        running=tuple(
            tuple(day.time.pieces(now, each.until_min)) if each.until_min > now else ()
            for each in running
        ),
    )


def day_of(
    heats: Sequence[Heat],
    packs: Sequence[PlanPack],
    charger: Charger | Sequence[Charger],
    rules: PlanRules,
    running: Sequence[Running],
    away: Sequence[tuple[float, float]],
) -> tuple[Day, list[int]]:
    """The day in order, and the place of each of its heats in the list given; see `plan_charging`."""
    chargers = [charger] if isinstance(charger, Charger) else list(charger)
    _check(heats, packs, chargers, rules, running, away)
    time = WatchedTime(rules.now_min, away)
    usable = [
        pack
        if pack.charging_until_min is None or pack.charging_until_min <= rules.now_min
        else replace(pack, charging_until_min=time.earliest(pack.charging_until_min))
        for pack in packs
        if pack.condition == "sound"
    ]
    order = sorted(range(len(heats)), key=lambda place: heats[place].start_min)
    ordered = [heats[place] for place in order]
    return Day(ordered, usable, chargers, rules, list(running), time), order


def _check(
    heats: Sequence[Heat],
    packs: Sequence[PlanPack],
    chargers: Sequence[Charger],
    rules: PlanRules,
    running: Sequence[Running],
    away: Sequence[tuple[float, float]],
) -> None:
    if not chargers:
        raise ValueError("A plan needs a charger.")
    if len(chargers) > MOST_CHARGERS:
        raise ValueError(f"A plan covers at most {MOST_CHARGERS} chargers.")
    if any(each.charger is not None and not 0 <= each.charger < len(chargers) for each in running):
        raise ValueError("A charge is on a charger that is not among those given.")
    for moment in itertools.chain.from_iterable(away):
        number(moment, "time at which nobody watches", -1e8, 1e8, unit="min")
    if any(end < begin for begin, end in away):
        raise ValueError("A time at which nobody watches ends before it begins.")
    if len(heats) > MOST_HEATS:
        raise ValueError(f"A plan covers at most {MOST_HEATS} heats.")
    if len(packs) > MOST_PACKS:
        raise ValueError(f"A plan covers at most {MOST_PACKS} packs.")
    if len({pack.name for pack in packs}) < len(packs):
        raise ValueError("Two packs have the same name. Give each pack its own.")
    if any(heat.start_min < rules.now_min for heat in heats):
        raise ValueError("A heat that has started already cannot be planned for.")


def pack_capability(
    pack: PlanPack, ordered: Sequence[Heat], charger: Charger, outputs: int, rules: PlanRules
) -> PackCapability:
    """What the charger can do for one pack with so many outputs in use."""
    full_v = pack.cells * FULL_CELL_V
    watts = min(charger.watts_per_output, charger.watts_in_all / outputs)
    current = min(
        charge_current_a(pack.capacity_mah, pack.most_c_rate),
        charger.amps_per_output,
        charger.amps_in_all / outputs,
        watts / full_v,
    )

    def length_min(percent: float) -> float:
        minutes = charge_time_s(pack.capacity_mah, current, pack.cell_resistance_ohm, percent) / 60
        return max(1, math.ceil(minutes / rules.step_min - 1e-9)) * rules.step_min

    left = tuple(100 * (1 - heat.used_mah / pack.capacity_mah) for heat in ordered)
    full = pack.percent >= rules.full_percent
    off = rules.now_min if pack.charging_until_min is None else pack.charging_until_min
    cool = rules.now_min if full or pack.ready_min is None else pack.ready_min
    return PackCapability(
        pack=pack,
        amps=current,
        full=full,
        free_min=max(rules.now_min, off, cool),
        usable_min=max(cool, rules.now_min)
        if pack.charging_until_min is None
        else max(cool, off + rules.margin_min),
        first_min=0.0 if full else length_min(pack.percent),
        left_percent=left,
        recharge_min=tuple(
            length_min(percent) if percent >= rules.least_left_percent else math.inf
            for percent in left
        ),
    )


def best_schedule(
    day: Day,
    most_states: int,
    beat: tuple[int, float] | None = None,
    *,
    any_time: bool = False,
) -> BestSchedule:
    """The best schedule over all numbers of outputs in use; none that is not better than `beat`.

    With `any_time` the first is taken that serves so many heats, however long packs sit full.
    """
    best: BestSchedule | None = None
    proved = True
    left = most_states
    rank = beat or (len(day.heats) + 1, math.inf)
    for groups in _ways_to_share(day):
        if left < -most_states:
            proved = False
            break
        schedule = search(_problem(day, groups), max(left, 1), rank, any_time=any_time)
        left -= schedule.states
        proved = proved and schedule.proved
        if best is None or _rank(schedule) < rank:
            best, rank = BestSchedule(schedule, groups, False), min(rank, _rank(schedule))
    if best is None:
        raise AssertionError("a charger has at least one output")
    return best._replace(proved=proved)


def _ways_to_share(day: Day) -> list[list[OutputGroup]]:
    """The groups of outputs for every number of outputs in use that makes a difference."""
    by_charger: list[list[tuple[int, tuple[PackCapability, ...]]]] = []
    for charger in day.chargers:
        ways: list[tuple[int, tuple[PackCapability, ...]]] = []
        for outputs in range(charger.outputs, 0, -1):
            able = tuple(
                pack_capability(pack, day.heats, charger, outputs, day.rules) for pack in day.packs
            )
            if not ways or able != ways[-1][1]:
                ways.append((outputs, able))
        by_charger.append(ways)
    return [_groups(day, way) for way in itertools.product(*by_charger)]


def _groups(day: Day, way: Sequence[tuple[int, tuple[PackCapability, ...]]]) -> list[OutputGroup]:
    """Outputs that charge and discharge alike, put together."""
    groups: dict[tuple[object, ...], OutputGroup] = {}
    for place, (charger, (outputs, able)) in enumerate(zip(day.chargers, way, strict=True)):
        on_it = [each for each in day.running if each.charger in (None, place)]
        taken = occupied_outputs(charger, outputs, able, on_it, day.rules)
        own = OutputGroup(tuple((place, output + 1) for output in range(outputs)), taken, able)
        key = (able, charger.discharge_a)
        if key in groups:
            own = _together(groups[key], own)
        groups[key] = own
    return list(groups.values())


def _together(group: OutputGroup, other: OutputGroup) -> OutputGroup:
    """Two groups as one, the outputs that are taken first, the latest of them first."""
    taken = [*group.taken, *other.taken]
    taken_first = [
        *group.outputs[: len(group.taken)],
        *other.outputs[: len(other.taken)],
    ]
    order = sorted(range(len(taken)), key=lambda place: -taken[place])
    outputs = [taken_first[place] for place in order]
    outputs += [*group.outputs[len(group.taken) :], *other.outputs[len(other.taken) :]]
    return OutputGroup(tuple(outputs), tuple(taken[place] for place in order), group.capabilities)


def _rank(schedule: Schedule) -> tuple[int, float]:
    return schedule.without, round(schedule.full_time, 6)


def _kinds(day: Day, groups: Sequence[OutputGroup]) -> dict[Kind, list[int]]:
    """Packs that behave alike, and their places. A recharge too late for any heat is none."""
    rules, time = day.rules, day.time
    last = time.passed(day.heats[-1].start_min - rules.margin_min) if day.heats else rules.now_min
    back = [time.passed(_cool_again(heat, rules)) for heat in day.heats]
    alike: dict[Kind, list[int]] = {}
    for place in range(len(day.packs)):
        each = groups[0].capabilities[place]
        kind = Kind(
            count=1,
            free_from=each.free_min if each.full else time.passed(each.free_min),
            first_length=tuple(group.capabilities[place].first_min for group in groups),
            recharge_length=tuple(
                tuple(
                    minutes if from_then + minutes <= last + 1e-6 else math.inf
                    for from_then, minutes in zip(
                        back, group.capabilities[place].recharge_min, strict=True
                    )
                )
                for group in groups
            ),
            can_run=tuple(
                math.isfinite(minutes)
                and (not each.full or heat.start_min >= each.usable_min - 1e-6)
                for heat, minutes in zip(day.heats, each.recharge_min, strict=True)
            ),
            full=each.full,
        )
        alike.setdefault(kind, []).append(place)
    return alike


def _cool_again(heat: Heat, rules: PlanRules) -> float:
    """When the pack that ran it may be charged again."""
    return heat.start_min + heat.run_min + rules.cooling_min


def _problem(day: Day, groups: Sequence[OutputGroup]) -> ScheduleProblem:
    rules, time = day.rules, day.time
    return ScheduleProblem(
        start=rules.now_min,
        end=last_heat_over(day.heats, rules),
        need=tuple(heat.start_min for heat in day.heats),
        deadline=tuple(time.passed(heat.start_min - rules.margin_min) for heat in day.heats),
        back=tuple(time.passed(_cool_again(heat, rules)) for heat in day.heats),
        kinds=tuple(
            replace(kind, count=len(places)) for kind, places in _kinds(day, groups).items()
        ),
        outputs=tuple(len(group.outputs) for group in groups),
        taken=tuple(group.taken for group in groups),
        most_full=rules.most_full_min,
        margin=rules.margin_min,
        time=time,
    )


def _assignments(best: BestSchedule, day: Day) -> dict[str, list[HeatAssignment]]:
    """Each pack's heats and the charge before each; here packs of a kind are told apart."""
    turns: dict[str, list[HeatAssignment]] = {pack.name: [] for pack in day.packs}
    members = [list(places) for places in _kinds(day, best.groups).values()]
    name_at: dict[int, str] = {}
    for job in sorted(best.schedule.jobs, key=lambda job: job.heat):
        if job.before is None:
            place = members[job.kind].pop(0)
            name = day.packs[place].name
        else:
            name = name_at[job.before]
        name_at[job.heat] = name
        turns[name].append(HeatAssignment(job.heat, job.begin, job.end, job.group))
    return turns


def _heat_plans(turns: dict[str, list[HeatAssignment]], day: Day) -> list[HeatPlan]:
    plans = [HeatPlan(None, 0.0, 0.0, False, None) for _ in day.heats]
    for name, todo in turns.items():
        for turn in todo:
            since = turn.end_min if turn.group is None else day.time.earliest(turn.end_min)
            plans[turn.heat] = HeatPlan(name, 100.0, FULL_CELL_V, True, since)
    return plans
