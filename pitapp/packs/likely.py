"""Which pack is most likely in a car."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Literal, NamedTuple

from pitapp.meetings.models import Heat
from pitapp.packs.health.state import PackState
from pitapp.packs.models import PlannedHeat
from pitapp.packs.overview import states
from pitapp.packs.planning import store as planning

Reason = Literal["in the car", "planned", "full", "only"]


class LikelyPack(NamedTuple):
    """A pack, and why it is taken to be in the car."""

    pack_id: int
    reason: Reason


def likely_pack(
    connection: sqlite3.Connection, car_id: int, meeting_id: int | None, heat: Heat | None
) -> LikelyPack | None:
    """The pack most likely in the car for that heat (None: no heat), or None where nothing says it.

    The one that was put in, else the charge plan's, else the only full one, else the only one.
    """
    pack_states = states(connection)
    for state in pack_states:
        if state.in_car and state.in_car.car_id == car_id:
            return LikelyPack(state.pack.id, "in the car")
    sound = [state for state in pack_states if state.pack.condition == "sound"]
    full = [state for state in sound if state.full]
    planned = _planned(connection, meeting_id, heat)
    if planned and heat and _may_be(planned, heat, sound, full):
        return LikelyPack(int(planned.pack_id or 0), "planned")
    if len(full) == 1:
        return LikelyPack(full[0].pack.id, "full")
    return LikelyPack(sound[0].pack.id, "only") if len(sound) == 1 else None


def _planned(
    connection: sqlite3.Connection, meeting_id: int | None, heat: Heat | None
) -> PlannedHeat | None:
    record = planning.plan(connection, meeting_id) if meeting_id is not None and heat else None
    heats = record.plan.heats if record and record.plan else ()
    return next((each for each in heats if heat and each.heat_id == heat.id and each.pack_id), None)


def _may_be(
    planned: PlannedHeat, heat: Heat, sound: Sequence[PackState], full: Sequence[PackState]
) -> bool:
    """Whether the planned pack can be in the car: off the charger in time, not empty while another is full."""
    state = next((each for each in sound if each.pack.id == planned.pack_id), None)
    if state is None:
        return False
    if state.charging:
        return bool(state.charging.due_at and state.charging.due_at <= heat.starts_at)
    return not (planned.full and full and state.newest[0] == "run")
