"""What the screen of a charge as last time shows, and whether it is offered."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from typing import Any, NamedTuple

from pitapp.packs import store as shelf
from pitapp.packs.charging import store
from pitapp.packs.charging.again import KEY, LastTime, end_limit, last_time, reasons_against
from pitapp.packs.charging.again_form import AgainForm
from pitapp.packs.charging.prompts import STEPS
from pitapp.packs.charging.steps import allowed_a
from pitapp.packs.charging.view import address
from pitapp.packs.models import Pack
from pitapp.packs.overview import state
from pitapp.packs.planning import store as planning
from pitapp.packs.safety import CHARGE_TEMPERATURE_C, MAKERS_CHARGE_C

LOOKED_BACK = 20
"""Readings of the pack that are compared."""


class Repetition(NamedTuple):
    """What was set last time, or why the pack is not charged so again."""

    last: LastTime | None
    reasons: list[str]


def repetition(connection: sqlite3.Connection, own: Pack, now: datetime) -> Repetition:
    """Whether this pack may be charged as last time."""
    pack_state = state(connection, own)
    if pack_state.charging:
        return Repetition(None, ["This pack is on the charger already."])
    charge = store.last_full(connection, own.id)
    chargers = planning.chargers_along(connection)
    reasons = reasons_against(
        pack_state,
        charge,
        chargers,
        readings=shelf.readings(connection, own.id, limit=LOOKED_BACK),
        wrong_at=store.wrong_at(connection, own.id),
        now=now,
    )
    if reasons or charge is None:
        return Repetition(None, reasons)
    return Repetition(last_time(charge, chargers), [])


def again_values(
    own: Pack, offered: Repetition, uuid: str, form: AgainForm | None = None
) -> dict[str, Any]:
    """What the screen needs."""
    filled = form or AgainForm(formdata=None)
    if offered.last:
        filled.prepare(own, offered.last)
    return {
        "pack": own,
        "last": offered.last,
        "reasons": offered.reasons,
        "steps": STEPS,
        "address": address(own.id, uuid, "full", KEY),
        "form": filled,
        "allowed_a": allowed_a(own),
        "end": end_limit(own.cells_series),
        "charge_c": CHARGE_TEMPERATURE_C,
        "makers_c": MAKERS_CHARGE_C,
    }
