"""What has happened since a day's plan was made that the plan does not know of, in words."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from pydantic import ValidationError

from pitapp.meetings.models import Heat
from pitapp.packs.health.state import PackState
from pitapp.packs.models import ChargerRecord, DayPlan, PlannedStep, PlanRecord
from pitapp.record import Record

NEAR = timedelta(minutes=30)
"""A run or a charge so near to the planned one is that one: our choice."""
NEAR_PERCENT = 10.0
"""A pack that is measured so near to what was planned with is as planned: our choice."""


class PackThen(Record):
    """A pack as a plan was made with it: its record's digest, what happened to it last, how full."""

    record: str
    what: str
    at: str
    percent: float | None


class MadeFrom(Record):
    """What a plan was made from, beside its heats."""

    packs: dict[int, PackThen]
    chargers: str
    marshalling: dict[int, int]
    """When each entry begins, in seconds, by its id."""


def made_from(
    states: Sequence[PackState], chargers: Sequence[ChargerRecord], marshalling: Sequence[Heat]
) -> MadeFrom:
    """What a plan made now is made from.

    Args:
        states: of the packs that are along.
        chargers: those that are along.
        marshalling: the timetable's entries of it that are still to come.
    """
    return MadeFrom(
        packs={each.pack.id: _as_it_is(each) for each in states},
        chargers=_digest([each.model_dump(exclude={"version", "name"}) for each in chargers]),
        marshalling={each.id: each.epoch_s for each in marshalling},
    )


def _as_it_is(state: PackState) -> PackThen:
    pack = state.pack
    what, moment = state.newest
    figures = [pack.cells_series, pack.capacity_mah, pack.most_charge_c, pack.condition]
    at = moment.isoformat() if moment else ""
    return PackThen(record=_digest(figures), what=what, at=at, percent=state.percent)


def _digest(content: Any) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]


def made_from_of(record: PlanRecord) -> MadeFrom:
    """What that plan was made from; nothing known where an earlier version made it."""
    try:
        return MadeFrom.model_validate_json(record.made_from)
    except ValidationError:
        return MadeFrom(packs={}, chargers="", marshalling={})


def changes(
    record: PlanRecord,
    heats: Sequence[Heat],
    states: Sequence[PackState],
    chargers: Sequence[ChargerRecord],
    marshalling: Sequence[Heat],
    now: datetime,
) -> list[str]:
    """What the plan does not know of, as sentences; none where no heat is to come.

    Args:
        record: the plan.
        heats: those still to come.
        states: of the packs that are along.
        chargers: those that are along.
        marshalling: the timetable's entries of it that are still to come.
        now: the moment.
    """
    if record.plan is None or not heats:
        return []
    reasons = _timetable(record.plan, heats, now)
    then = made_from_of(record)
    if not then.chargers:
        return reasons
    current = made_from(states, chargers, marshalling)
    if record.watched is False and _marshalling_moved(then, current, now):
        reasons.append("Your marshalling has changed.")
    if then.chargers != current.chargers:
        reasons.append("A charger was changed.")
    marks = {each.pack.id: each.pack.mark for each in states}
    for each in states:
        was = then.packs.get(each.pack.id)
        if was is None:
            reasons.append(f"{each.pack.mark} is new.")
        elif was.record != current.packs[each.pack.id].record:
            reasons.append(f"What is noted of {each.pack.mark} was changed.")
        elif not _known(was, current.packs[each.pack.id]):
            reasons += _not_as_planned(record.plan, each, was)
    if any(pack_id not in marks for pack_id in then.packs):
        reasons.append("A pack of the plan is out.")
    return reasons


def _timetable(plan: DayPlan, heats: Sequence[Heat], now: datetime) -> list[str]:
    planned = {each.heat_id: each for each in plan.heats}
    moved = [
        each.title
        for each in heats
        if each.id in planned and planned[each.id].starts_at != each.starts_at
    ]
    new = [each.title for each in heats if each.id not in planned]
    reasons = []
    if moved:
        what = moved[0] if len(moved) == 1 else f"{len(moved)} heats"
        reasons.append(f"{what} moved.")
    if new:
        what = f"{new[0]} is" if len(new) == 1 else f"{len(new)} heats are"
        reasons.append(f"{what} not in it.")
    to_come = {each.id for each in heats}
    off = [each for each in plan.heats if each.heat_id not in to_come and each.starts_at > now]
    if off and not moved:
        reasons.append(f"{off[0].title} is off, or over early.")
    return reasons


def _marshalling_moved(then: MadeFrom, current: MadeFrom, now: datetime) -> bool:
    """Whether an entry that is to come is new, at another time, or gone."""
    still = {key: at for key, at in then.marshalling.items() if at > now.timestamp()}
    return not still.items() <= current.marshalling.items() <= then.marshalling.items()


def _known(was: PackThen, current: PackThen) -> bool:
    return (was.what, was.at) == (current.what, current.at)


def _not_as_planned(plan: DayPlan, state: PackState, was: PackThen) -> list[str]:
    """What happened to a pack last, where the plan does not have it so."""
    mark, (what, moment) = state.pack.mark, state.newest
    if moment is None:
        return [f"An entry of {mark} was removed."]
    steps = [each for each in (*plan.running, *plan.steps) if each.pack_id == state.pack.id]
    ran = any(
        each.pack_id == state.pack.id and abs(each.starts_at - moment) <= NEAR
        for each in plan.heats
    )
    to_come = [each for each in steps if each.kind == "charge" and each.begins_at > moment]
    needed = bool(to_come) or any(
        each.pack_id == state.pack.id and each.starts_at > moment for each in plan.heats
    )
    if what == "run":
        return [] if ran else [f"{mark} was run, not as planned."]
    if what in ("charging", "full", "part"):
        return _charge_not_as_planned(steps, state, was)
    if what == "stored":
        return [f"{mark} was put away."] if needed else []
    percent = state.percent
    as_then = (
        percent is not None
        and was.percent is not None
        and abs(percent - was.percent) <= NEAR_PERCENT
    )
    after_run = any(
        each.pack_id == state.pack.id and each.starts_at <= moment <= each.starts_at + 2 * NEAR
        for each in plan.heats
    )
    full = state.full and not to_come
    return [] if as_then or full or after_run or not needed else [f"{mark} was measured."]


def _charge_not_as_planned(
    steps: Sequence[PlannedStep], state: PackState, was: PackThen
) -> list[str]:
    """A charge that the plan has not at all, or that ended early where it is not to be stopped."""
    mark, charge = state.pack.mark, state.charge
    if charge is None or charge.started_at is None:
        return []
    kind = "charge" if charge.purpose == "full" else "storage"
    until = charge.ended_at or charge.due_at or charge.started_at
    its = [
        each
        for each in steps
        if each.kind == kind
        and each.begins_at - NEAR <= charge.started_at <= each.ends_at
        and until >= each.begins_at - NEAR
    ]
    was_on = was.what == "charging" and was.at == charge.started_at.isoformat()
    its = its or [each for each in steps if was_on and each.kind == kind]
    if not its and not was_on:
        done = "was charged" if charge.ended_at else "is on the charger"
        return [f"{mark} {done}, not as planned."]
    early = charge.ended_at is not None and charge.outcome != "done"
    if early and all(each.pieces == 1 for each in its):
        return [f"The charge of {mark} ended early."]
    return []
