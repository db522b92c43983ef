"""A pack, and a charge of it by steps, as several tests need them."""

from __future__ import annotations

import re
import sqlite3
from typing import Any, Literal
from uuid import uuid4

from pitapp.packs import store
from pitapp.packs.charging import store as charging
from pitapp.packs.models import Pack
from tests.support import RACE_MORNING, PageClient

CHARGER = {
    "name": "Invented charger",
    "outputs": "1",
    "amps_per_output": "10",
    "watts_per_output": "150",
    "discharge_a": "2",
    "used_mah": "3000",
    "most_full_min": "120",
    "cooling_min": "20",
    "watched": "yes",
}
"""What the form of a charge plan sends."""
PACK = Pack(mark="A", cells_series=2, capacity_mah=6000, most_charge_c=1)
GOOD: dict[str, dict[str, str]] = {
    "look": {"answer": "yes"},
    "feel": {"answer": "yes"},
    "warmth": {"cell_c": "22,5"},
    "label": {"answer": "yes"},
    "cells": {"cell_v-0": "3.75", "cell_v-1": "3.76"},
    "program": {"cells_set": "2", "current_a": "6"},
    "balance": {"answer": "yes"},
    "place": {"answer": "yes"},
    "stay": {"answer": "yes"},
}
KEPT = {
    **{key: "yes" for key, values in GOOD.items() if "answer" in values},
    "warmth": "22.5",
    "cells": "[3.75, 3.76]",
    "program": '{"cells_set": 2, "current_a": 6.0}',
}


def add_pack(db: sqlite3.Connection, **changes: Any) -> int:
    """Put a pack on the shelf and return its id."""
    return store.save_pack(db, PACK.model_copy(update=changes), RACE_MORNING)[0]


def begin(client: PageClient, pack_id: int, purpose: str = "full") -> str:
    """Open the first step and return the uuid of the charge that it would make."""
    page = client.get(f"/packs/{pack_id}/charge?purpose={purpose}", follow_redirects=True).text
    found = re.search(r"charges/([0-9a-f-]{36})/steps/", page)
    assert found is not None
    return found[1]


def walk(
    db: sqlite3.Connection,
    pack_id: int,
    purpose: Literal["full", "storage"] = "full",
    leave_out: tuple[str, ...] = (),
    **changes: str,
) -> str:
    """Answer every step (or all but some), as kept in the database; returns the charge's uuid."""
    item = charging.prepare(db, str(uuid4()), pack_id, purpose, RACE_MORNING)
    for key, shown in (KEPT | changes).items():
        if key not in leave_out:
            charging.answer(db, item, key, shown, RACE_MORNING)
    return item.uuid


def answer(
    client: PageClient,
    pack_id: int,
    uuid: str,
    key: str,
    values: dict[str, str],
    purpose: str = "full",
) -> Any:
    """Send one answer."""
    address = f"/packs/{pack_id}/charges/{uuid}/steps/{key}?purpose={purpose}"
    return client.post_form(address, values)


def start(client: PageClient, uuid: str) -> Any:
    """Send the start of the countdown."""
    return client.post_form(f"/packs/charges/{uuid}/start")
