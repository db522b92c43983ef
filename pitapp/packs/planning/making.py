"""Making the day's plan from what is on record: moments to minutes, the search, and back again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import Heat, Meeting
from pitapp.packs import formulas
from pitapp.packs.formulas import ChargePlan, Charger, PlanPack, PlanRules
from pitapp.packs.models import ChargerRecord, DayPlan, PlannedHeat, PlannedStep, PlanRecord
from pitapp.packs.state import PackState

USUAL_RUN_MIN = 6.0
"""Where the class says nothing: from memory."""
UNKNOWN_PERCENT = 0.0
"""A pack of which nothing is known is planned as empty, so that the plan is on the safe side."""
MOST_STATES = 16_000


def make_plan(
    meeting: Meeting,
    heats: Sequence[Heat],
    states: Sequence[PackState],
    charger: ChargerRecord,
    record: PlanRecord,
    run_length_s: float | None,
    now: datetime,
) -> DayPlan:
    """The best plan from now on.

    Args:
        meeting: whose time zone tells the times.
        heats: those still to come.
        states: the packs that are along.
        charger: the charger that is along.
        record: what a run takes and the racer's limits.
        run_length_s: by the class, if it says so.
        now: the moment.

    Raises:
        ValueError: too many heats or packs for one plan, or figures out of range.
    """

    def minutes(moment: datetime) -> float:
        return (moment - now).total_seconds() / 60

    def moment(at_min: float) -> datetime:
        return now + timedelta(minutes=at_min)

    names = _names(states)
    run_min = run_length_s / 60 if run_length_s else USUAL_RUN_MIN
    wanted = [
        formulas.Heat(max(0.0, minutes(heat.starts_at)), run_min, record.used_mah) for heat in heats
    ]
    rules = PlanRules(most_full_min=record.most_full_min, cooling_min=record.cooling_min)
    packs = [
        _plan_pack(one, names[one.pack.id], minutes, run_min + record.cooling_min) for one in states
    ]
    busy = sorted(
        max(0.0, minutes(one.charging.due_at))
        for one in states
        if one.charging and one.charging.due_at
    )
    plan = _best(wanted, packs, charger, rules, busy)
    ids = {name: pack_id for pack_id, name in names.items()}
    return DayPlan(
        heats=tuple(
            PlannedHeat(
                heat_id=heat.id,
                title=heat.title,
                starts_at=heat.starts_at,
                pack_id=ids[told.pack] if told.pack else None,
                percent=told.percent,
                cell_v=told.cell_v,
                full=told.full,
            )
            for heat, told in zip(heats, plan.heats, strict=True)
        ),
        steps=tuple(
            PlannedStep(
                pack_id=ids[name],
                kind=step.kind,
                begins_at=moment(step.start_min),
                ends_at=moment(step.end_min),
                amps=step.amps,
                output=None if busy else step.output,
            )
            for name, steps in plan.steps.items()
            for step in steps
        ),
        conflicts=tuple(
            formulas.conflict_sentence(
                conflict,
                lambda at_min: clock_text(meeting, moment(at_min)),
                lambda number: heats[number - 1].title,
            )
            for conflict in plan.conflicts
        ),
        full_min=plan.full_min,
        proved=plan.proved,
    )


def _best(
    heats: Sequence[formulas.Heat],
    packs: Sequence[PlanPack],
    charger: ChargerRecord,
    rules: PlanRules,
    busy: Sequence[float],
) -> ChargePlan:
    """The best plan on outputs of which some are taken until the moments in `busy`.

    With k outputs the k-th to be free says when the first charge may begin; every k is tried. A
    plan so found can be done, though one that used each output from its own moment on may be better,
    so that it is not called proved.
    """
    idle = max(0, charger.outputs - len(busy))
    free_at = [*([0.0] * idle), *sorted(busy)][: charger.outputs]
    found: list[ChargePlan] = []
    for count, begin in enumerate(free_at, 1):
        if count < len(free_at) and free_at[count] == begin:
            continue
        share = count / charger.outputs
        part = Charger(
            outputs=count,
            amps_per_output=charger.amps_per_output,
            watts_per_output=charger.watts_per_output,
            amps_in_all=share * (charger.amps_in_all or charger.outputs * charger.amps_per_output),
            watts_in_all=share
            * (charger.watts_in_all or charger.outputs * charger.watts_per_output),
            discharge_a=charger.discharge_a,
        )
        waiting = [
            pack
            if begin == 0 or pack.percent >= rules.full_percent
            else replace(pack, ready_min=max(begin, pack.ready_min or 0.0))
            for pack in packs
        ]
        states = MOST_STATES // (1 + len(set(busy)))
        found.append(formulas.plan_charging(heats, waiting, part, rules, most_states=states))
    best = min(found, key=lambda plan: (plan.heats_without, plan.full_min))
    return replace(best, proved=best.proved and len(set(free_at)) == 1)


def _names(states: Sequence[PackState]) -> dict[int, str]:
    """Each pack's mark, told apart by its number where two have the same."""
    many = Counter(one.pack.mark for one in states)
    return {
        one.pack.id: one.pack.mark
        if many[one.pack.mark] == 1
        else f"{one.pack.mark} (no. {one.pack.id})"
        for one in states
    }


def _plan_pack(
    one: PackState, name: str, minutes: Callable[[datetime], float], warm_min: float
) -> PlanPack:
    percent, ready = one.percent, None
    if one.charging and one.charging.due_at:
        percent, ready = 100.0, max(0.0, minutes(one.charging.due_at))
    elif one.last_run and minutes(one.last_run) + warm_min > 0:
        ready = minutes(one.last_run) + warm_min
    return PlanPack(
        name=name,
        cells=one.pack.cells_series,
        capacity_mah=one.pack.capacity_mah,
        most_c_rate=one.pack.most_charge_c,
        percent=UNKNOWN_PERCENT if percent is None else percent,
        cell_resistance_ohm=one.cell_ohm,
        condition=one.pack.condition,
        ready_min=ready,
    )
