"""Every pack with its state, in a fixed number of queries."""

from __future__ import annotations

import sqlite3

from pitapp.packs import store
from pitapp.packs.charging import store as charging
from pitapp.packs.health.state import PackState
from pitapp.packs.models import Pack


def states(connection: sqlite3.Connection) -> list[PackState]:
    """The state of every pack that was not removed, sound ones first."""
    return _states(connection, store.packs(connection))


def state(connection: sqlite3.Connection, item: Pack) -> PackState:
    """The state of one pack."""
    return _states(connection, [item])[0]


def _states(connection: sqlite3.Connection, packs: list[Pack]) -> list[PackState]:
    voltages = store.latest_readings(connection, "cell_v")
    resistances = store.latest_readings(connection, "cell_ohm")
    after_charge = store.latest_readings(connection, "after_charge")
    warmth = store.latest_readings(connection, "cell_c")
    storages = store.latest_storages(connection)
    runs = store.last_runs(connection)
    cars = store.packs_in_cars(connection)
    charges = charging.latest_charges(connection)
    counts = charging.full_charges(connection)
    return [
        PackState(
            pack=item,
            voltages=voltages.get(item.id),
            resistances=resistances.get(item.id),
            after_charge=after_charge.get(item.id),
            warmth=warmth.get(item.id),
            charge=charges.get(item.id),
            storage=storages.get(item.id),
            last_run=runs.get(item.id),
            in_car=cars.get(item.id),
            full_charges=counts.get(item.id, (0, None))[0],
            usual_mah=counts.get(item.id, (0, None))[1],
        )
        for item in packs
    ]
