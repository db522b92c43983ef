"""Making the day's plan from what is on record: moments to minutes, the search, and back again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import Heat, Meeting
from pitapp.packs import formulas
from pitapp.packs.cell import FULL_CELL_V, STORAGE_CELL_V, state_of_charge_percent
from pitapp.packs.formulas import Charger, PlanPack, PlanRules, Running
from pitapp.packs.health.state import PackState
from pitapp.packs.models import ChargerRecord, DayPlan, PlannedHeat, PlannedStep, PlanRecord
from pitapp.packs.safety import CHARGE_TEMPERATURE_C

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
    others: Sequence[PackState] = (),
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
        others: the packs that are not planned with; what of them is on the charger keeps its output.

    Raises:
        ValueError: too many heats or packs for one plan, or figures out of range.
    """

    def minutes(moment: datetime) -> float:
        return (moment - now).total_seconds() / 60

    def moment(at_min: float) -> datetime:
        return now + timedelta(minutes=at_min)

    names = _names(states)
    run_min = run_length_s / 60 if run_length_s else USUAL_RUN_MIN
    plan_heats = [
        formulas.Heat(max(0.0, minutes(heat.starts_at)), run_min, record.used_mah) for heat in heats
    ]
    rules = PlanRules(
        most_full_min=record.most_full_min,
        cooling_min=record.cooling_min,
        margin_min=record.margin_min,
    )
    # Of packs that are alike, the one in the car goes into the first heat.
    in_car_first = sorted(states, key=lambda state: state.in_car is None)
    packs = [
        _plan_pack(state, names[state.pack.id], minutes, run_min, record.cooling_min)
        for state in in_car_first
    ]
    running = _running([*states, *others], charger, minutes)
    own = Charger(
        outputs=charger.outputs,
        amps_per_output=charger.amps_per_output,
        watts_per_output=charger.watts_per_output,
        amps_in_all=charger.amps_in_all or charger.outputs * charger.amps_per_output,
        watts_in_all=charger.watts_in_all or charger.outputs * charger.watts_per_output,
        discharge_a=charger.discharge_a,
    )
    plan = formulas.plan_charging(
        plan_heats, packs, own, rules, running=running, most_states=MOST_STATES
    )
    first_full = {
        conflict.heat: remedy
        for conflict in plan.conflicts
        for remedy in conflict.remedies
        if remedy.kind == "full later"
    }
    ids = {name: pack_id for pack_id, name in names.items()}
    return DayPlan(
        heats=tuple(
            PlannedHeat(
                heat_id=heat.id,
                title=heat.title,
                starts_at=heat.starts_at,
                pack_id=ids[heat_plan.pack] if heat_plan.pack else None,
                percent=heat_plan.percent,
                cell_v=heat_plan.cell_v,
                full=heat_plan.full,
                first_full_pack_id=ids[first_full[place].pack] if place in first_full else None,
                first_full_at=moment(first_full[place].at_min) if place in first_full else None,
            )
            for place, (heat, heat_plan) in enumerate(zip(heats, plan.heats, strict=True))
        ),
        steps=tuple(
            PlannedStep(
                pack_id=ids[name],
                kind=step.kind,
                begins_at=moment(step.start_min),
                ends_at=moment(step.end_min),
                amps=step.amps,
                output=None if running else step.output,
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


def _running(
    states: Sequence[PackState], charger: ChargerRecord, minutes: Callable[[datetime], float]
) -> list[Running]:
    """The charges that are on already, and what they draw of this charger."""
    charges = []
    for state in states:
        if state.charging is None or state.charging.due_at is None:
            continue
        full_v = state.pack.cells_series * FULL_CELL_V
        most_a = min(charger.amps_per_output, charger.watts_per_output / full_v)
        amps = min(most_a, state.charging.current_a or most_a)
        amps = 0.0 if state.charging.discharging else amps
        charges.append(Running(minutes(state.charging.due_at), amps, amps * full_v))
    return charges


def _names(states: Sequence[PackState]) -> dict[int, str]:
    """Each pack's mark, told apart by its number where two have the same."""
    many = Counter(state.pack.mark for state in states)
    return {
        state.pack.id: state.pack.mark
        if many[state.pack.mark] == 1
        else f"{state.pack.mark} (no. {state.pack.id})"
        for state in states
    }


def _plan_pack(
    state: PackState,
    name: str,
    minutes: Callable[[datetime], float],
    run_min: float,
    cooling_min: float,
) -> PlanPack:
    percent, charging = state.percent, state.charging
    off = minutes(charging.due_at) if charging and charging.due_at else None
    if charging and off is not None:
        to_full = charging.purpose == "full"
        percent = 100.0 if to_full else state_of_charge_percent(sum(STORAGE_CELL_V) / 2)
    _, moment = state.newest
    return PlanPack(
        name=name,
        cells=state.pack.cells_series,
        capacity_mah=state.pack.capacity_mah,
        most_c_rate=state.pack.most_charge_c,
        percent=UNKNOWN_PERCENT if percent is None else percent,
        cell_resistance_ohm=state.cell_ohm,
        condition=state.pack.condition,
        ready_min=_cool_min(state, minutes, run_min, cooling_min),
        charging_until_min=off,
        full_since_min=minutes(moment) if moment and off is None else None,
    )


def _cool_min(
    state: PackState, minutes: Callable[[datetime], float], run_min: float, cooling_min: float
) -> float | None:
    """When a pack is cool enough to be charged: so long after its run, and after it was found hot."""
    moments = []
    if state.ran_at:
        moments.append(minutes(state.ran_at) + run_min + cooling_min)
    if state.warmth and (state.warmth.cell_c or 0.0) > CHARGE_TEMPERATURE_C[1]:
        moments.append(minutes(state.warmth.read_at) + cooling_min)
    return max((moment for moment in moments if moment > 0), default=None)
