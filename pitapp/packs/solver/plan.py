"""The day's charge plan: when each pack goes on, at what current, for which heat, and to storage.

The model, exactly:

- Outputs are alike. If the charger's amps or watts in all are less than its outputs together could
  take, they are shared out evenly over the outputs in use; how many are in use is one number for
  the day, and every number is tried. A pack's current is the least of: its most charge rate, the
  output's amps, the output's watts at 4.20 V/cell, and its share of the whole.
- Charges that are on already keep their outputs, amps and watts until they end. As many outputs
  are free beside them as the whole allows when each draws what the hungriest pack would.
- A charge is one piece on one output, from the pack's state to full, at the length of
  `charge_time_s`, in whole planning steps (upwards). No charge is a part charge.
- A heat takes one full pack at its start, off the charger for the margin at least. After the run
  and the cooling time that pack may be charged again, from 100 % less what the run took.
- A pack on the charger at the start of the day is full from the end of its charge on, and no heat
  gets it before the margin has passed; one on its way to storage may be charged from then on.
- A pack sits full from the end of its charge to the start of its heat, never longer than the
  limit. A pack full at the start of the day, or from a charge that was on then, sits full to its
  heat or, unused, until the last heat is over; the limit cannot bind that, it is reported.
- First the fewest heats without a full pack, then the least time full, all packs added up.
- Storage comes last, after the last heat of the day and the pack's cooling, longest first on
  whichever output is free; its order is not part of what is best.

Within this model the plan is the best there is whenever `proved` is true.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pitapp.limits import whole
from pitapp.packs.cell import FULL_CELL_V, charge_time_s
from pitapp.packs.models import MOST_HEATS
from pitapp.packs.safety import charge_current_a
from pitapp.packs.solver.conflicts import find_conflicts
from pitapp.packs.solver.output_assignment import (
    add_storage_steps,
    charge_steps,
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
    PackCapability,
    PlanPack,
    PlanRules,
    Running,
)
from pitapp.packs.solver.problem import Kind, Schedule, ScheduleProblem
from pitapp.packs.solver.search import search

MOST_PACKS = 60


def plan_charging(
    heats: Sequence[Heat],
    packs: Sequence[PlanPack],
    charger: Charger,
    rules: PlanRules | None = None,
    *,
    running: Sequence[Running] = (),
    most_states: int = 16_000,
) -> ChargePlan:
    """Plan the day's charges so that each heat has a full pack, as late as can be, then storage.

    Args:
        heats: up to 24, in any order, none before `rules.now_min`.
        packs: up to 60, each with its own name; retired and damaged packs are refused.
        charger: outputs and limits.
        rules: the racer's limits.
        running: the charges that are on already, of these packs or of others.
        most_states: where the search gives up proving, 1 to 1 000 000.

    Returns:
        A `ChargePlan`. Never leave a charging pack alone, whatever the plan says.

    Raises:
        ValueError: too many heats or packs, two packs of one name, or a heat in the past.

    Source: the model in this module's docstring.

    >>> plan = plan_charging(
    ...     [Heat(120, 6, 3000)],
    ...     [PlanPack("A", 2, 6000, 1, 40, 0.003)],
    ...     Charger(1, 10, 200, 10, 200),
    ... )
    >>> plan.heats[0].pack, plan.steps["A"][0].end_min, plan.steps["A"][-1].kind
    ('A', 120.0, 'storage')
    """
    rules = rules or PlanRules()
    most = whole(most_states, "most states to search", 1, 1_000_000)
    _check(heats, packs, rules)
    usable = [pack for pack in packs if pack.condition == "sound"]
    order = sorted(range(len(heats)), key=lambda place: heats[place].start_min)
    ordered = [heats[place] for place in order]

    best, outputs, proved = _best_schedule(ordered, usable, charger, rules, running, most)
    prospects = [pack_capability(pack, ordered, charger, outputs, rules) for pack in usable]
    taken = occupied_outputs(charger, outputs, prospects, running, rules)
    turns = _assignments(best, usable, prospects, ordered, rules)
    steps = charge_steps(turns, prospects, outputs, taken)
    heat_plans = _heat_plans(turns, ordered)
    heat_plans, conflicts = find_conflicts(ordered, packs, prospects, turns, heat_plans, rules)
    add_storage_steps(steps, heat_plans, prospects, ordered, charger, outputs, taken, rules)

    return ChargePlan(
        heats=tuple(heat_plans[order.index(place)] for place in range(len(heats))),
        steps={name: tuple(todo) for name, todo in steps.items()},
        conflicts=tuple(conflict.for_list(order) for conflict in conflicts),
        full_min=time_full(heat_plans, prospects, ordered, rules),
        proved=proved,
        outputs_in_use=outputs,
    )


def _check(heats: Sequence[Heat], packs: Sequence[PlanPack], rules: PlanRules) -> None:
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


def _best_schedule(
    ordered: Sequence[Heat],
    usable: Sequence[PlanPack],
    charger: Charger,
    rules: PlanRules,
    running: Sequence[Running],
    most_states: int,
) -> tuple[Schedule, int, bool]:
    """The best schedule over all numbers of outputs in use, that number, whether it is proved."""
    best: tuple[Schedule, int] | None = None
    proved = True
    left = most_states
    before: list[PackCapability] = []
    for outputs in range(charger.outputs, 0, -1):
        prospects = [pack_capability(pack, ordered, charger, outputs, rules) for pack in usable]
        if best is not None and prospects == before:
            continue
        before = prospects
        beat = _rank(best[0]) if best else (len(ordered) + 1, math.inf)
        taken = occupied_outputs(charger, outputs, prospects, running, rules)
        schedule = search(_day(ordered, prospects, outputs, taken, rules), max(left, 1), beat)
        left -= schedule.states
        proved = proved and schedule.proved
        if best is None or _rank(schedule) < _rank(best[0]):
            best = (schedule, outputs)
    if best is None:
        raise AssertionError("a charger has at least one output")
    return (*best, proved)


def _rank(schedule: Schedule) -> tuple[int, float]:
    return schedule.without, round(schedule.full_time, 6)


def _kinds(
    ordered: Sequence[Heat], prospects: Sequence[PackCapability], rules: PlanRules
) -> dict[Kind, list[int]]:
    """Packs that behave alike, and their places. A recharge too late for any heat is none."""
    last_need = ordered[-1].start_min if ordered else rules.now_min
    groups: dict[Kind, list[int]] = {}
    for place, prospect in enumerate(prospects):
        useful = tuple(
            minutes
            if heat.start_min + heat.run_min + rules.cooling_min + minutes + rules.margin_min
            <= last_need + 1e-6
            else math.inf
            for heat, minutes in zip(ordered, prospect.recharge_min, strict=True)
        )
        kind = Kind(
            count=1,
            free_from=prospect.free_min,
            first_length=prospect.first_min,
            recharge_length=useful,
            can_run=tuple(
                math.isfinite(minutes)
                and (not prospect.full or heat.start_min >= prospect.usable_min - 1e-6)
                for heat, minutes in zip(ordered, prospect.recharge_min, strict=True)
            ),
            full=prospect.full,
        )
        groups.setdefault(kind, []).append(place)
    return groups


def _day(
    ordered: Sequence[Heat],
    prospects: Sequence[PackCapability],
    outputs: int,
    taken: tuple[float, ...],
    rules: PlanRules,
) -> ScheduleProblem:
    return ScheduleProblem(
        start=rules.now_min,
        end=last_heat_over(ordered, rules),
        need=tuple(heat.start_min for heat in ordered),
        back=tuple(heat.start_min + heat.run_min + rules.cooling_min for heat in ordered),
        kinds=tuple(
            replace(kind, count=len(places))
            for kind, places in _kinds(ordered, prospects, rules).items()
        ),
        outputs=outputs,
        most_full=rules.most_full_min,
        margin=rules.margin_min,
        taken=taken,
    )


def _assignments(
    schedule: Schedule,
    usable: Sequence[PlanPack],
    prospects: Sequence[PackCapability],
    ordered: Sequence[Heat],
    rules: PlanRules,
) -> dict[str, list[HeatAssignment]]:
    """Each pack's heats and the charge before each; here packs of a kind are told apart."""
    turns: dict[str, list[HeatAssignment]] = {pack.name: [] for pack in usable}
    members = [list(places) for places in _kinds(ordered, prospects, rules).values()]
    name_at: dict[int, str] = {}
    for job in sorted(schedule.jobs, key=lambda job: job.heat):
        if job.before is None:
            place = members[job.kind].pop(0)
            name = usable[place].name
        else:
            name = name_at[job.before]
        name_at[job.heat] = name
        charged = job.end > job.begin
        turns[name].append(HeatAssignment(job.heat, job.begin, job.end, charged))
    return turns


def _heat_plans(turns: dict[str, list[HeatAssignment]], ordered: Sequence[Heat]) -> list[HeatPlan]:
    plans = [HeatPlan(None, 0.0, 0.0, False, None) for _ in ordered]
    for name, todo in turns.items():
        for turn in todo:
            plans[turn.heat] = HeatPlan(name, 100.0, FULL_CELL_V, True, turn.end_min)
    return plans
