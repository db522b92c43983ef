"""Making the day's plan from what is on record: moments to minutes, the search, and back again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import Heat, Meeting
from pitapp.packs import formulas
from pitapp.packs.cell import FULL_CELL_V, STORAGE_CELL_V, state_of_charge_percent
from pitapp.packs.formulas import ChargePlan, Charger, PlanPack, PlanRules, Running
from pitapp.packs.health.state import PackState
from pitapp.packs.models import (
    Charge,
    ChargerRecord,
    DayPlan,
    PlannedHeat,
    PlannedStep,
    PlanRecord,
)
from pitapp.packs.planning.inputs import away_windows, cool_at, run_minutes
from pitapp.packs.planning.sentences import (
    alone_sentence,
    help_sentence,
    nothing_helps_sentence,
)
from pitapp.packs.solver.helps import what_would_help

UNKNOWN_PERCENT = 0.0
"""A pack of which nothing is known is planned as empty, so that the plan is on the safe side."""
MOST_STATES = 16_000


class _Day(NamedTuple):
    """A day in minutes from now, as the search takes it, and what its answers are called."""

    meeting: Meeting
    now: datetime
    heats: Sequence[Heat]
    names: dict[int, str]
    chargers: Sequence[ChargerRecord]
    on_chargers: Sequence[Charge]
    """What is on already, in the order of `running`."""
    plan_heats: list[formulas.Heat]
    packs: list[PlanPack]
    own: list[Charger]
    rules: PlanRules
    running: list[Running]
    away: list[tuple[float, float]]

    def moment(self, at_min: float) -> datetime:
        """The moment so many minutes from now."""
        return self.now + timedelta(minutes=at_min)

    def solved(self, away: Sequence[tuple[float, float]], most_states: int) -> ChargePlan:
        """The best plan where nobody watches at those times."""
        return formulas.plan_charging(
            self.plan_heats,
            self.packs,
            self.own,
            self.rules,
            running=self.running,
            away=away,
            most_states=most_states,
        )


def make_plan(
    meeting: Meeting,
    heats: Sequence[Heat],
    states: Sequence[PackState],
    chargers: Sequence[ChargerRecord],
    record: PlanRecord,
    run_length_s: float | None,
    now: datetime,
    others: Sequence[PackState] = (),
    marshalling: Sequence[Heat] = (),
) -> DayPlan:
    """The best plan from now on.

    Args:
        meeting: whose time zone tells the times.
        heats: those still to come.
        states: the packs that are along.
        chargers: the chargers that are along.
        record: what a run takes, the racer's limits, and whether somebody watches.
        run_length_s: by the class, if it says so.
        now: the moment.
        others: the packs that are not planned with; what of them is on a charger keeps its output.
        marshalling: the timetable's entries of it that are still to come.

    Raises:
        ValueError: too many heats, packs or chargers for one plan, or figures out of range.
    """

    def minutes(moment: datetime) -> float:
        return (moment - now).total_seconds() / 60

    names = _names(states)
    run_min = run_minutes(run_length_s)
    # Of packs that are alike, the one in the car goes into the first heat.
    in_car_first = sorted(states, key=lambda state: state.in_car is None)
    on_chargers = [each.charging for each in [*states, *others] if each.charging]
    day = _Day(
        meeting=meeting,
        now=now,
        heats=heats,
        names=names,
        chargers=chargers,
        on_chargers=[each for each in on_chargers if each.due_at],
        plan_heats=[
            formulas.Heat(max(0.0, minutes(heat.starts_at)), run_min, record.used_mah)
            for heat in heats
        ],
        packs=[
            _plan_pack(state, names[state.pack.id], minutes, run_min, record.cooling_min)
            for state in in_car_first
        ],
        own=[_charger(each) for each in chargers],
        rules=PlanRules(
            most_full_min=record.most_full_min,
            cooling_min=record.cooling_min,
            margin_min=record.margin_min,
        ),
        running=_running([*states, *others], chargers, minutes),
        away=away_windows(heats, marshalling, record, run_min, now),
    )
    plan = day.solved(day.away, MOST_STATES)
    sentences: list[str] = []
    if plan.heats_without:
        helps = what_would_help(
            day.plan_heats,
            day.packs,
            day.own,
            day.rules,
            plan.heats_without,
            running=day.running,
            away=day.away,
        )
        sentences = [help_sentence(each, plan.heats_without, chargers) for each in helps.helps]
        sentences = sentences or [nothing_helps_sentence(helps)]
    return _as_kept(
        day,
        plan,
        helps=tuple(sentence for sentence in sentences if sentence),
        alone=alone_sentence(plan, day.solved((), MOST_STATES // 4)) if day.away else "",
    )


def _as_kept(day: _Day, plan: ChargePlan, helps: tuple[str, ...], alone: str) -> DayPlan:
    """The plan with moments for minutes and ids for names."""
    first_full = {
        conflict.heat: remedy
        for conflict in plan.conflicts
        for remedy in conflict.remedies
        if remedy.kind == "full later"
    }
    ids = {name: pack_id for pack_id, name in day.names.items()}
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
                first_full_at=day.moment(first_full[place].at_min) if place in first_full else None,
            )
            for place, (heat, heat_plan) in enumerate(zip(day.heats, plan.heats, strict=True))
        ),
        steps=tuple(
            PlannedStep(
                pack_id=ids[name],
                kind=step.kind,
                begins_at=day.moment(begin),
                ends_at=day.moment(end),
                amps=step.amps,
                output=step.output if _outputs_known(day, step.charger) else None,
                charger_id=None if step.output is None else day.chargers[step.charger].id,
                piece=number,
                pieces=max(1, len(step.pieces)),
            )
            for name, steps in plan.steps.items()
            for step in steps
            for number, (begin, end) in enumerate(
                step.pieces or [(step.start_min, step.end_min)], start=1
            )
        ),
        running=tuple(
            PlannedStep(
                pack_id=charge.pack_id,
                kind="charge" if charge.purpose == "full" else "storage",
                begins_at=day.moment(begin),
                ends_at=day.moment(end),
                amps=(-1 if charge.discharging else 1) * (charge.current_a or 0.0),
                output=None,
                charger_id=charge.charger_id,
                piece=number,
                pieces=len(pieces),
            )
            for charge, pieces in zip(day.on_chargers, plan.running, strict=True)
            if len(pieces) > 1 or (pieces and pieces[0][0] > 0)
            for number, (begin, end) in enumerate(pieces, start=1)
        ),
        conflicts=tuple(
            formulas.conflict_sentence(
                conflict,
                lambda at_min: clock_text(day.meeting, day.moment(at_min)),
                lambda number: day.heats[number - 1].title,
            )
            for conflict in plan.conflicts
        ),
        helps=helps,
        alone=alone,
        full_min=plan.full_min,
        proved=plan.proved,
    )


def _outputs_known(day: _Day, charger: int) -> bool:
    """Whether nothing is on that charger, so that its outputs can be told apart."""
    return all(each.charger not in (None, charger) for each in day.running)


def _charger(own: ChargerRecord) -> Charger:
    return Charger(
        outputs=own.outputs,
        amps_per_output=own.amps_per_output,
        watts_per_output=own.watts_per_output,
        amps_in_all=own.amps_in_all or own.outputs * own.amps_per_output,
        watts_in_all=own.watts_in_all or own.outputs * own.watts_per_output,
        discharge_a=own.discharge_a,
        name=own.name,
    )


def _running(
    states: Sequence[PackState],
    chargers: Sequence[ChargerRecord],
    minutes: Callable[[datetime], float],
) -> list[Running]:
    """The charges that are on already, what they draw, and of which charger."""
    places = {each.id: place for place, each in enumerate(chargers)}
    charges = []
    for state in states:
        if state.charging is None or state.charging.due_at is None:
            continue
        place = places.get(state.charging.charger_id or 0)
        full_v = state.pack.cells_series * FULL_CELL_V
        able = chargers if place is None else [chargers[place]]
        most_a = max(min(each.amps_per_output, each.watts_per_output / full_v) for each in able)
        amps = min(most_a, state.charging.current_a or most_a)
        amps = 0.0 if state.charging.discharging else amps
        charges.append(Running(minutes(state.charging.due_at), amps, amps * full_v, place))
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
    cool = cool_at(state, run_min, cooling_min)
    return PlanPack(
        name=name,
        cells=state.pack.cells_series,
        capacity_mah=state.pack.capacity_mah,
        most_c_rate=state.pack.most_charge_c,
        percent=UNKNOWN_PERCENT if percent is None else percent,
        cell_resistance_ohm=state.cell_ohm,
        condition=state.pack.condition,
        ready_min=minutes(cool) if cool and minutes(cool) > 0 else None,
        charging_until_min=off,
        full_since_min=minutes(moment) if moment and off is None else None,
    )
