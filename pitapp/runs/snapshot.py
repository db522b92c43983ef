"""What is in a car now: as the values of a new run, and as the snapshot that the run keeps."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from pitapp.checks import after_heat
from pitapp.checks import store as checks
from pitapp.checks.controllers.store import in_car
from pitapp.checks.lists.store import settings_list, steps
from pitapp.errors import NotThere
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import CAR_KINDS, Heat, Meeting
from pitapp.packs import store as packs
from pitapp.packs.likely import likely_pack
from pitapp.runs import store
from pitapp.runs.conditions import NAMES as CONDITIONS
from pitapp.runs.models import (
    FittedCar,
    FittedController,
    FittedMotor,
    FittedPack,
    FittedTyres,
    Run,
    Setting,
    Snapshot,
)
from pitapp.runs.setup import store as setup
from pitapp.runs.tyres import store as tyres

SAME_DAY = timedelta(hours=14)
LONGEST_READ_S = 3600


class Occasion(NamedTuple):
    """Where a run belongs: the meeting that is on, and the heat that it was."""

    meeting: Meeting | None
    heat: Heat | None


def occasion(connection: sqlite3.Connection, heat_id: int | None, now: datetime) -> Occasion:
    """The heat of that id, else the last one begun and not yet logged at the meeting of today.

    Raises:
        NotThere: there is no such heat.
    """
    if heat_id is not None:
        heat = meetings.heat(connection, heat_id)
        outing = heat if heat.kind in CAR_KINDS else None
        return Occasion(meetings.meeting(connection, heat.meeting_id), outing)
    meeting = meetings.current_meeting(connection, now)
    if meeting is None or meeting.day > now.astimezone(meeting.zone).date():
        return Occasion(None, None)
    begun = [
        heat
        for heat in meetings.heats(connection, meeting.id)
        if heat.kind in CAR_KINDS and heat.done_at is None and heat.started(now)
    ]
    return Occasion(meeting, begun[-1] if begun else None)


def default_values(
    connection: sqlite3.Connection, car: Car, at: Occasion, now: datetime
) -> dict[str, Any]:
    """The values of a new run of this car, as far as what is fitted tells them."""
    gear = gearing.fitted(connection, car.id)
    in_it = tyres.fitted(connection, car.id)
    last = next(iter(store.runs(connection, car_id=car.id, limit=1)), None)
    same_day = last if last and now - last.started_at < SAME_DAY else None
    place = at.meeting or same_day
    heat = at.heat if at.meeting is None or at.meeting.is_for(car.id) else None
    likely = likely_pack(connection, car.id, at.meeting.id if at.meeting else None, heat)
    race_class = meetings.class_raced(connection, at.meeting, car.id)
    return {
        "car_id": car.id,
        "meeting_id": at.meeting.id if at.meeting else None,
        "heat_id": heat.id if heat else None,
        "track_id": place.track_id if place else None,
        "race_class_id": race_class.id if race_class else None,
        "motor_id": car.motor_id,
        "pack_id": likely.pack_id if likely else None,
        "pack_reason": likely.reason if likely else "",
        "tyre_set_id": in_it.tyre_set_id,
        "pinion_teeth": gear.pinion_teeth if gear else None,
        "spur_teeth": gear.spur_teeth if gear else None,
        "internal_ratio": car.internal_ratio,
        "tyre_diameter_mm": car.tyre_diameter_mm,
        **_conditions(same_day, now),
        **_read_meanwhile(connection, car, heat, now),
        "air_c": same_day.air_c
        if same_day and now - same_day.started_at < timedelta(hours=1)
        else None,
    }


def _read_meanwhile(
    connection: sqlite3.Connection, car: Car, heat: Heat | None, now: datetime
) -> dict[str, Any]:
    """What was read already: by the list for straight after a heat, else by the clock of the flag."""
    values: dict[str, Any] = dict(after_heat.read_on_list(connection, car.id, now))
    if heat and heat.flag_at and "can_c" not in values:
        since_s = (now - heat.flag_at).total_seconds()
        if 0 <= since_s <= LONGEST_READ_S:
            values["read_after_s"] = round(since_s)
    return values


def _conditions(before: Run | None, now: datetime) -> dict[str, Any]:
    """The conditions as they were in the run before, if that was today; a temperature for an hour."""
    if before is None:
        return {}
    values = before.model_dump(include=set(CONDITIONS))
    if now - before.started_at >= timedelta(hours=1):
        values["track_c"] = None
    return values


def snapshot(connection: sqlite3.Connection, item: Run, earlier: Run | None = None) -> Snapshot:
    """A copy of what the run had, taken now; what `earlier` had already is left as it was then."""
    earlier_copy = earlier.snapshot if earlier else None
    same_car = earlier is not None and earlier.car_id == item.car_id
    if earlier_copy and same_car:
        car, controller, settings = earlier_copy.car, earlier_copy.controller, earlier_copy.setup
    else:
        car = _car(connection, item.car_id)
        controller = _controller(connection, item.car_id, item.motor_id)
        settings = setup.settings(connection, item.car_id)
    return Snapshot(
        car=car,
        controller=controller,
        setup=settings,
        motor=earlier_copy.motor
        if earlier_copy and earlier_copy.motor and earlier_copy.motor.id == item.motor_id
        else _motor(connection, item.motor_id),
        pack=earlier_copy.pack
        if earlier_copy and earlier_copy.pack and earlier_copy.pack.id == item.pack_id
        else _pack(connection, item.pack_id),
        tyres=earlier_copy.tyres
        if earlier_copy and earlier_copy.tyres and earlier_copy.tyres.id == item.tyre_set_id
        else _tyres(connection, item.tyre_set_id, item.started_at),
    )


def _car(connection: sqlite3.Connection, car_id: int) -> FittedCar:
    car = kit.car(connection, car_id)
    return FittedCar(**car.model_dump(include=set(FittedCar.model_fields)))


def _motor(connection: sqlite3.Connection, motor_id: int | None) -> FittedMotor | None:
    if motor_id is None:
        return None
    motor = kit.motor(connection, motor_id)
    return FittedMotor(**motor.model_dump(include=set(FittedMotor.model_fields)))


def _pack(connection: sqlite3.Connection, pack_id: int | None) -> FittedPack | None:
    if pack_id is None:
        return None
    pack = packs.pack(connection, pack_id)
    return FittedPack(**pack.model_dump(include=set(FittedPack.model_fields)))


def _tyres(
    connection: sqlite3.Connection, set_id: int | None, moment: datetime
) -> FittedTyres | None:
    if set_id is None:
        return None
    tyre_set = tyres.tyre_set(connection, set_id)
    return FittedTyres(
        **tyre_set.model_dump(include=set(FittedTyres.model_fields)),
        runs_done=tyres.runs_done_before(connection, tyre_set, moment),
    )


def _controller(
    connection: sqlite3.Connection, car_id: int, motor_id: int | None
) -> FittedController | None:
    """The controller with each setting as it was last read off it in this car, else as planned."""
    controller = in_car(connection, car_id)
    if controller is None:
        return None
    try:
        listed = steps(connection, settings_list(connection, controller.id).id)
    except NotThere:
        listed = []
    read = checks.latest_readings(
        connection, car_id, [step.key for step in listed], controller.id, motor_id
    )
    values = {
        step.id: read[step.key].shown if step.key in read else step.planned for step in listed
    }
    return FittedController(
        id=controller.id,
        name=controller.name,
        firmware=controller.firmware,
        settings=tuple(
            Setting(
                group=step.group_name, name=step.name, value=values[step.id][:60], unit=step.unit
            )
            for step in listed
            if step.kind != "do" and values[step.id]
        ),
    )
