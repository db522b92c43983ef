"""A car's figures with those of its class and its packs where it has none of its own."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from typing import Any

from pitapp.kit.models import MOST_PACK_V, Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.motor.formulas import lower_limit
from pitapp.packs import store as packs
from pitapp.packs.models import NOMINAL_CELL_V
from pitapp.runs import store as runs


def from_class(race_class: RaceClass | None) -> dict[str, Any]:
    """What a class says of a car raced in it, by the car's fields; None where it says nothing."""
    if race_class is None:
        return {}
    cells = race_class.cells_series
    return {
        "rev_limit_rpm": race_class.rev_limit_rpm,
        "pack_v": cells and round(cells * NOMINAL_CELL_V, 1),
        "mass_g": race_class.least_mass_g,
    }


def filled(car: Car, figures: dict[str, Any]) -> Car:
    """The car with these figures where it has none of its own; of two rev limits the lower holds."""
    given = {name: value for name, value in figures.items() if getattr(car, name) is None}
    limit = lower_limit(figures.get("rev_limit_rpm"), car.rev_limit_rpm)
    return car.model_copy(update=given | {"rev_limit_rpm": limit})


def with_class_figures(connection: sqlite3.Connection, car: Car, now: datetime) -> Car:
    """The car as it is to be worked with now; it is read again whenever its class or packs change.

    Rev limit and weight are its class's where it has none of its own, the rev limit also where its own
    is higher. The voltage is that of the pack run last in it, else its class's, else that of the first
    pack.
    """
    meeting = meetings.current_meeting(connection, now)
    known = from_class(meetings.class_raced(connection, meeting, car.id))
    if car.pack_v is None:
        sound = {each.id: each for each in packs.packs(connection) if each.condition == "sound"}
        last = runs.runs(connection, car_id=car.id, limit=1, with_lists=False)
        pack = sound.get(last[0].pack_id or 0) if last else None
        if pack is None and not known.get("pack_v"):
            pack = next(iter(sound.values()), None)
        if pack is not None and pack.shown_nominal_v <= MOST_PACK_V:
            known["pack_v"] = pack.shown_nominal_v
    return filled(car, known)
