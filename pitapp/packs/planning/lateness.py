"""Which packs of a plan cannot be ready for their heats any more, by what is on record now."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from pitapp.packs.cell import FULL_CELL_V, charge_time_s
from pitapp.packs.health.state import PackState
from pitapp.packs.late_text import late_text
from pitapp.packs.models import ChargerRecord, DayPlan, PlannedHeat, PlannedStep, PlanRecord
from pitapp.packs.planning.inputs import LATE, USUAL_RUN_MIN, cool_at
from pitapp.packs.safety import charge_current_a
from pitapp.packs.solver.watched_time import WatchedTime

NEAR = timedelta(minutes=1)


class LatePack(NamedTuple):
    """A heat whose pack is not ready in time: what keeps it, and when it is full (None: not at all)."""

    heat: PlannedHeat
    mark: str
    why: str
    full_at: datetime | None
    on_it: bool = False
    """It is being charged to full now; else it is full then if it goes on as soon as it can."""

    @property
    def after(self) -> str:
        """How long after the heat's start that is, in words."""
        delay = self.full_at - self.heat.starts_at if self.full_at else timedelta()
        return late_text(delay.total_seconds() / 60)


def late_packs(
    record: PlanRecord,
    states: Sequence[PackState],
    chargers: Sequence[ChargerRecord],
    now: datetime,
    away: Sequence[tuple[float, float]] = (),
    run_min: float = USUAL_RUN_MIN,
) -> dict[int, LatePack]:
    """By heat: each pack that its next heat calls full and that will not be.

    Args:
        record: the plan.
        states: of every pack.
        chargers: those that are along, one at least.
        now: the moment.
        away: from and to when nobody watches, in minutes from now.
        run_min: how long a run takes.
    """
    free = _output_free(states, chargers, now)
    time = WatchedTime(0.0, away)

    def done(moment: datetime) -> datetime:
        """When a charge is done that would be then if nothing stopped it."""
        minutes = (moment - now).total_seconds() / 60
        return now + timedelta(minutes=time.earliest(minutes)) if minutes > 0 else moment

    plan = record.plan or DayPlan()
    by_id = {one.pack.id: one for one in states}
    by_heat: dict[int, LatePack] = {}
    handled: set[int] = set()
    for heat in sorted(plan.heats, key=lambda each: each.starts_at):
        if heat.pack_id is None or heat.starts_at <= now - LATE or heat.pack_id in handled:
            continue
        handled.add(heat.pack_id)
        state = by_id.get(heat.pack_id)
        if state is None:
            by_heat[heat.heat_id] = LatePack(heat, "its pack", "was removed", None)
        elif state.pack.condition != "sound":
            why = f"is {state.pack.condition}"
            by_heat[heat.heat_id] = LatePack(heat, state.pack.mark, why, None)
        elif heat.full and (
            late_pack := _late_pack(
                plan,
                heat,
                state,
                record,
                _length(state, chargers),
                max(now, free, cool_at(state, run_min, record.cooling_min) or now),
                done,
            )
        ):
            by_heat[heat.heat_id] = late_pack
    return by_heat


def _late_pack(
    plan: DayPlan,
    heat: PlannedHeat,
    state: PackState,
    record: PlanRecord,
    length: timedelta,
    ready: datetime,
    done: Callable[[datetime], datetime],
) -> LatePack | None:
    """A charge that the plan has is trusted to be done, though it was not noted, until an entry
    says otherwise; a pack for which it has none was full then. `ready` is when it can go on."""
    step = _charge_for(plan, heat)
    mark, charging = state.pack.mark, state.charging
    if charging and charging.due_at:
        due, why = charging.due_at, "is on the charger"
        if charging.purpose == "storage":
            due, why = max(due, ready) + length, "is on its way to storage"
    elif state.full or (step and not _no_longer_full(state, step.begins_at)):
        return None
    else:
        due, why = ready + length, "is not full"
    due = done(due)
    if due + timedelta(minutes=record.margin_min) <= heat.starts_at + NEAR:
        return None
    return LatePack(heat, mark, why, due, on_it=why == "is on the charger")


def _charge_for(plan: DayPlan, heat: PlannedHeat) -> PlannedStep | None:
    """The charge that the plan has before that heat, if it needs one."""
    mine = [
        step
        for step in [*plan.running, *plan.steps]
        if step.kind == "charge" and step.pack_id == heat.pack_id and step.ends_at <= heat.starts_at
    ]
    return max(mine, key=lambda step: step.ends_at, default=None)


def _no_longer_full(state: PackState, since: datetime) -> bool:
    """Whether something happened to the pack since that leaves it not full."""
    what, moment = state.newest
    return what != "unknown" and moment is not None and moment > since


def _output_free(
    states: Sequence[PackState], chargers: Sequence[ChargerRecord], now: datetime
) -> datetime:
    """When an output is free at the earliest, beside the charges that are on."""
    dues = sorted(each.charging.due_at for each in states if each.charging and each.charging.due_at)
    outputs = sum(each.outputs for each in chargers)
    return now if len(dues) < outputs else dues[len(dues) - outputs]


def _length(state: PackState, chargers: Sequence[ChargerRecord]) -> timedelta:
    """How long a charge to full would take from now, about, on the charger that is quickest."""
    pack = state.pack
    full_v = pack.cells_series * FULL_CELL_V
    able = max(min(each.amps_per_output, each.watts_per_output / full_v) for each in chargers)
    amps = min(charge_current_a(pack.capacity_mah, pack.most_charge_c), able)
    seconds = charge_time_s(pack.capacity_mah, amps, state.cell_ohm, state.percent or 0.0)
    return timedelta(seconds=seconds)
