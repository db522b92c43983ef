"""The invented packs through the season: charged before each run, read, and put to storage after."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random
from uuid import UUID

from pitapp.packs import store as packs
from pitapp.packs.charging import store as charging
from pitapp.packs.models import Pack, Purpose, Reading

NEW_CELL_OHM = 0.0021
GROWTH_A_CHARGE = 0.013
STORED_PERCENT = 50.0
OFF_BEFORE = timedelta(minutes=16)
TAPERING = timedelta(minutes=14)


@dataclass
class Charger:
    """Charges the packs and writes it down; what is drawn here changes nothing else of the season."""

    rng: Random
    charger_id: int | None = None
    left_percent: dict[int, float] = field(default_factory=dict)
    charged: dict[int, int] = field(default_factory=dict)

    def fill(self, connection: sqlite3.Connection, pack_id: int, run_at: datetime) -> None:
        """Charge a pack to full before a run; after the first charge of a day it is read."""
        from_storage = pack_id not in self.left_percent
        start = self.left_percent.get(pack_id, STORED_PERCENT)
        pack = packs.pack(connection, pack_id)
        ended = run_at - OFF_BEFORE
        self._charge(connection, pack, "full", start, 100.0, ended)
        self.charged[pack_id] = self.charged.get(pack_id, 0) + 1
        self.left_percent[pack_id] = round(self.rng.uniform(24, 42))
        if from_storage:
            self._read(connection, pack, ended + timedelta(minutes=2))

    def put_away(self, connection: sqlite3.Connection, after: datetime) -> None:
        """Bring every pack that was run to storage, one after the other."""
        for pack_id, left in self.left_percent.items():
            after += timedelta(minutes=40)
            pack = packs.pack(connection, pack_id)
            self._charge(connection, pack, "storage", left, STORED_PERCENT, after)
        self.left_percent.clear()

    def _charge(
        self,
        connection: sqlite3.Connection,
        pack: Pack,
        purpose: Purpose,
        start: float,
        end: float,
        ended: datetime,
    ) -> None:
        share = (end - start) / 100
        tapering = TAPERING if purpose == "full" else timedelta()
        began = ended - timedelta(hours=share) - tapering
        uuid = str(UUID(int=self.rng.getrandbits(128), version=4))
        ready = charging.prepare(connection, uuid, pack.id, purpose, began).model_copy(
            update={
                "cells_set": pack.cells_series,
                "current_a": pack.capacity_mah / 1000,
                "start_percent": start,
                "due_at": ended,
                "charger_id": self.charger_id,
            }
        )
        charging.start(connection, ready, f"Started the charge of pack {pack.mark}", began)
        moved_mah = round(pack.capacity_mah * share * self.rng.gauss(0.98, 0.015))
        charging.finish(connection, ready, "done", moved_mah, ended)

    def _read(self, connection: sqlite3.Connection, pack: Pack, moment: datetime) -> None:
        charges = self.charged[pack.id]
        ohm = (pack.resistance_new_ohm or NEW_CELL_OHM) * (1 + GROWTH_A_CHARGE * charges)
        worst = ohm * (1 + abs(self.rng.gauss(0, 0.03)))
        spread_v = 0.003 + 0.0004 * charges + 0.011 * (pack.mark == "B1")
        reading = Reading(
            pack_id=pack.id,
            read_at=moment,
            cell_v=(4.19, round(4.19 - spread_v, 3)),
            cell_ohm=(round(ohm, 5), round(worst, 5)),
            cell_c=round(self.rng.uniform(18, 26)),
            after_charge=True,
        )
        packs.add_reading(connection, reading, moment)
