"""The forecast's line on the Board: which gear to try in a practice that is left."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from pitapp.drive.garage import Garage
from pitapp.drive.outlook import Outlooks


class TryLine(NamedTuple):
    """What to try and where; the address shows the gear's forecast."""

    text: str
    href: str


def try_line(
    connection: sqlite3.Connection, settings: Mapping[str, str], now: datetime
) -> TryLine | None:
    """The gear to try in the next practice of the meeting that is on, if one is worth a word."""
    garage = Garage(connection, dict(settings), now)
    if not garage.next_practice or garage.missing or not garage.logged or garage.track is None:
        return None
    try:
        trial = Outlooks(garage).trial
    except ValueError:
        return None
    if trial is None:
        return None
    gear = trial.gear
    return TryLine(
        f"Try {gear.pinion_teeth}/{gear.spur_teeth} in {garage.next_practice}: "
        "settles longer or shorter.",
        f"/forecast/gear{garage.query}&pinion={gear.pinion_teeth}&spur={gear.spur_teeth}",
    )
