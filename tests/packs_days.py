"""Random moments of random race days as rows of the database, and the same as facts for the checker."""

from __future__ import annotations

import json
import random
import sqlite3
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from tests.packs_checker import ChargerNow, Facts, OnCharger, PackNow, Plan, Work
from tests.support import RACE_MORNING

# The pouch cell of Ai et al., J. Electrochem. Soc. 167 (2020) 013512, as computed by PyBaMM 26.10.
RESTING_V = {20: 3.695, 40: 3.762, 50: 3.793, 70: 3.909, 90: 4.088}
USED_PERCENT = 40.0
"""Left after a run of which nothing is known: 60 % taken, as the app says that it assumes."""
TABLES = (
    "charge_plans",
    "car_packs",
    "runs",
    "pack_readings",
    "pack_storages",
    "pack_charges",
    "chargers",
    "packs",
    "heats",
    "meetings",
    "race_classes",
    "undo_steps",
)


def when(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class RaceDay:
    """A race day under way, written into an emptied database; `facts` are what a plan has to mind."""

    def __init__(self, db: sqlite3.Connection, seed: int, car_id: int) -> None:
        self.db, self.rng, self.car_id = db, random.Random(seed), car_id
        self.now = RACE_MORNING + timedelta(seconds=self.rng.randint(0, 9 * 3600))
        db.execute("BEGIN")
        for table in TABLES:
            db.execute(f"DELETE FROM {table}")
        self.run_min = float(self.rng.choice([5, 6, 8]))
        self.rules = {
            "most_full_min": float(self.rng.choice([20, 60, 120, 240])),
            "cooling_min": float(self.rng.choice([0, 10, 20])),
            "margin_min": float(self.rng.choice([0, 5, 10])),
        }
        self.used_mah = float(self.rng.choice([1500, 2600, 3400]))
        self.places = random.Random(-seed - 1)
        self.watched = self.places.random() < 0.4
        self.walk = self.places.choice([0.0, 3.0, 5.0])
        self.marshalling: list[tuple[float, float]] = []
        self.running: list[OnCharger] = []
        self.due: list[int] = []
        self.names: dict[int, str] = {}
        self.facts = self._written()
        db.execute("COMMIT")

    def at(self, minutes: float) -> str:
        """A moment so many minutes from now, as a row keeps it."""
        return when(self.now + timedelta(seconds=round(minutes * 60)))

    def insert(self, table: str, **values: Any) -> int:
        names = ", ".join(values)
        marks = ", ".join("?" * len(values))
        sql = f"INSERT INTO {table} ({names}) VALUES ({marks})"
        return int(self.db.execute(sql, list(values.values())).lastrowid or 0)

    def uuid(self) -> str:
        return str(UUID(int=self.rng.getrandbits(128), version=4))

    def _written(self) -> Facts:
        rng = self.rng
        class_id = self.insert("race_classes", name="Invented", run_length_s=self.run_min * 60)
        self.meeting_id = self.insert(
            "meetings",
            day=self.now.date().isoformat(),
            time_zone="UTC",
            race_class_id=class_id,
            car_id=self.car_id,
        )
        heats = self._heats()
        chargers = self._chargers()
        packs: dict[str, PackNow] = {}
        left_out = []
        for number in range(rng.randint(1, 6)):
            name, pack_id, pack = self._pack(number)
            if rng.random() < 0.1:
                left_out.append(pack_id)
                pack = None
            elif pack:
                packs[name] = pack
        self.insert(
            "charge_plans",
            meeting_id=self.meeting_id,
            charger_id=self.charger_ids[0],
            watched=self.watched,
            walk_min=self.walk,
            used_mah=self.used_mah,
            left_out=json.dumps(left_out),
            made_at=self.at(0),
            **self.rules,
        )
        return Facts(
            packs=packs,
            heats=heats,
            chargers=chargers,
            running=self.running,
            watched=self.watched,
            marshalling=self.marshalling,
            cooling=self.rules["cooling_min"],
            margin=self.rules["margin_min"],
            most_full=self.rules["most_full_min"],
        )

    def _chargers(self) -> list[ChargerNow]:
        """One to three that are along, and sometimes one that is at home, written down first."""
        rng, chargers = self.rng, []
        home = self.places.random() < 0.2
        self.charger_ids: list[int] = []
        for number in range(1 + home + self.places.choice([0, 0, 1, 1, 2])):
            charger = ChargerNow(
                outputs=rng.randint(1, 4) if not self.charger_ids else self.places.randint(1, 2),
                amps=rng.choice([5.0, 8.0, 12.0]),
                watts=rng.choice([60.0, 100.0, 200.0]),
                all_amps=rng.choice([None, None, 8.0, 14.0]),
                all_watts=rng.choice([None, None, 100.0, 180.0]),
            )
            charger_id = self.insert(
                "chargers",
                name=f"Invented {number}",
                outputs=charger.outputs,
                amps_per_output=charger.amps,
                watts_per_output=charger.watts,
                amps_in_all=charger.all_amps,
                watts_in_all=charger.all_watts,
                at_home=home and number == 0,
            )
            if not home or number > 0:
                chargers.append(charger)
                self.charger_ids.append(charger_id)
        return chargers

    def _heats(self) -> list[tuple[float, float, float]]:
        """Heats that were, one that may be late, and those to come, with marshalling between."""
        rng, start, found = self.rng, -self.rng.uniform(0, 120), []
        for number in range(1, rng.randint(2, 9)):
            done = start < -15 or (start < 0 and rng.random() < 0.5)
            self.insert(
                "heats",
                meeting_id=self.meeting_id,
                number=number,
                kind=rng.choice(["heat", "heat", "practice", "final"]),
                starts_at=self.at(start),
                done_at=self.at(start + 9) if done else None,
            )
            if rng.random() < 0.5:
                self.insert(
                    "heats",
                    meeting_id=self.meeting_id,
                    number=number,
                    kind="marshal",
                    starts_at=self.at(start + 8),
                )
                if start + 8 > -15:
                    marshals = max(0.0, round((start + 8) * 60) / 60)
                    self.marshalling.append((marshals, marshals + self.run_min))
            if not done:
                # Rows keep whole seconds.
                shown = round(start * 60) / 60 if start > 0 else 0.0
                found.append((max(0.0, shown), self.run_min, self.used_mah / 1000))
            start += rng.choice([9, 16, 30, 45, 70]) * rng.uniform(0.7, 1.3)
        return found

    def _pack(self, number: int) -> tuple[str, int, PackNow | None]:
        rng = self.rng
        name = f"P{number}"
        capacity, rate = rng.choice([4500.0, 6000.0, 6000.0]), rng.choice([1.0, 1.0, 2.0])
        condition = rng.choice(["sound"] * 9 + ["damaged", "retired"])
        pack_id = self.insert(
            "packs",
            mark=name,
            cells_series=2,
            capacity_mah=capacity,
            most_charge_c=rate,
            damaged=condition == "damaged",
            retired_at=self.at(-3000) if condition == "retired" else None,
        )
        self.names[pack_id] = name
        told = getattr(self, f"_{rng.choice(self.HISTORIES)}")(pack_id, capacity)
        pack = PackNow(capacity_ah=capacity / 1000, cells=2, c_rate=rate, **told)
        return name, pack_id, pack if condition == "sound" else None

    HISTORIES = (
        "unknown",
        "read",
        "stored",
        "full",
        "full_and_put_in",
        "half_charged",
        "on_the_charger",
        "on_the_charger",
        "on_the_charger",
        "going_to_storage",
        "used",
        "used",
        "hot",
    )

    def _unknown(self, pack_id: int, capacity: float) -> dict[str, Any]:
        return {"percent": None}

    def _read(self, pack_id: int, capacity: float) -> dict[str, Any]:
        percent = self.rng.choice(list(RESTING_V))
        cells = json.dumps([RESTING_V[percent]] * 2)
        at = -self.rng.uniform(1, 300)
        self.insert("pack_readings", pack_id=pack_id, read_at=self.at(at), cell_v=cells)
        return {"percent": float(percent)}

    def _stored(self, pack_id: int, capacity: float) -> dict[str, Any]:
        self.insert("pack_storages", pack_id=pack_id, stored_at=self.at(-2000), cell_v=3.793)
        return {"percent": 50.0}

    def _charge(self, pack_id: int, begun: float, due: float, **more: Any) -> float:
        amps = self.rng.choice([2.0, 4.0, 5.0])
        self.place = self.places.choice([None, *range(len(self.charger_ids))])
        if self.place is not None:
            more["charger_id"] = self.charger_ids[self.place]
        values = {"purpose": "full", "start_percent": 30.0, "current_a": amps} | more
        self.insert(
            "pack_charges",
            uuid=self.uuid(),
            pack_id=pack_id,
            prepared_at=self.at(begun),
            started_at=self.at(begun),
            due_at=self.at(due),
            cells_set=2,
            **values,
        )
        return amps

    def _full(self, pack_id: int, capacity: float) -> dict[str, Any]:
        ended = -round(self.rng.uniform(1, 200))
        self._charge(pack_id, ended - 50, ended, ended_at=self.at(ended), outcome="done")
        return {"percent": 100.0, "full_since": float(ended)}

    def _full_and_put_in(self, pack_id: int, capacity: float) -> dict[str, Any]:
        told = self._full(pack_id, capacity)
        since = self.at(told["full_since"] + 1)
        self.insert("car_packs", car_id=self.car_id, pack_id=pack_id, since=since)
        return told

    def _half_charged(self, pack_id: int, capacity: float) -> dict[str, Any]:
        ended = -self.rng.uniform(1, 60)
        amps = self._charge(
            pack_id, ended - 20, ended + 30, ended_at=self.at(ended), outcome="stopped"
        )
        # 20 min at the amps noted, from 30 %; rows keep whole seconds.
        return {"percent": 30.0 + 100 * amps * (20 * 60 - 1) / 3.6 / capacity}

    def _on_the_charger(self, pack_id: int, capacity: float) -> dict[str, Any]:
        """Due in a while, or since a while with nobody having ended it."""
        due = self.rng.choice([-20, -3, 1, 8, 25, 25, 50, 90]) + round(self.rng.uniform(0, 9))
        amps = self._charge(pack_id, due - 70, due)
        self._runs(pack_id, due, amps)
        return {"percent": None, "on_charger_until": float(due), "full_when_off": True}

    def _runs(self, pack_id: int, due: float, amps: float) -> None:
        name = self.names[pack_id]
        self.running.append(OnCharger(max(0.0, due), amps, amps * 8.4, name, self.place))
        self.due.append(pack_id)

    def _going_to_storage(self, pack_id: int, capacity: float) -> dict[str, Any]:
        due, down = round(self.rng.uniform(1, 60)), self.rng.random() < 0.5
        amps = self._charge(pack_id, due - 30, due, purpose="storage", discharging=down)
        self._runs(pack_id, due, 0.0 if down else amps)
        return {"percent": None, "on_charger_until": float(due)}

    def _used(self, pack_id: int, capacity: float, ago: float | None = None) -> dict[str, Any]:
        self._full(pack_id, capacity)
        began = -round(ago if ago is not None else self.rng.uniform(0.5, 90), 1)
        self.db.execute("DELETE FROM pack_charges WHERE pack_id = ?", (pack_id,))
        self._charge(pack_id, -400, -350, ended_at=self.at(-350), outcome="done")
        self.insert(
            "runs",
            uuid=self.uuid(),
            car_id=self.car_id,
            pack_id=pack_id,
            started_at=self.at(began),
            snapshot=json.dumps({"car": {"id": self.car_id, "name": "Invented TC"}}),
        )
        cool = began + self.run_min + self.rules["cooling_min"]
        return {"percent": USED_PERCENT, "cool_at": max(0.0, cool)}

    def _hot(self, pack_id: int, capacity: float) -> dict[str, Any]:
        """Run a good while ago, and found hot since."""
        told = self._used(pack_id, capacity, ago=60)
        at = -round(self.rng.uniform(0.5, 15), 1)
        self.insert("pack_readings", pack_id=pack_id, read_at=self.at(at), cell_c=52.0)
        return told | {"cool_at": max(0.0, at + self.rules["cooling_min"])}

    def plan(self) -> Plan:
        """The plan as it is kept, for the checker."""
        row = self.db.execute("SELECT plan FROM charge_plans").fetchone()
        told = json.loads(row["plan"])
        heats = [(self.names.get(heat["pack_id"]), heat["full"]) for heat in told["heats"]]
        self.titles = [(heat["title"], heat["full"]) for heat in told["heats"]]
        work = [
            Work(
                self.names[step["pack_id"]],
                step["kind"],
                self._minutes(step["begins_at"]),
                self._minutes(step["ends_at"]),
                step["amps"],
                self.charger_ids.index(step["charger_id"]) if step["charger_id"] else 0,
            )
            for step in told["steps"]
        ]
        running = [
            [
                (self._minutes(step["begins_at"]), self._minutes(step["ends_at"]))
                for step in told["running"]
                if step["pack_id"] == pack_id
            ]
            or ([(0.0, one.until)] if one.until > 0 else [])
            for pack_id, one in zip(self.due, self.running, strict=True)
        ]
        self.conflicts: list[str] = told["conflicts"]
        words = " ".join(self.conflicts)
        too_long = {name for name in self.names.values() if f"Pack {name} is full" in words}
        return Plan(heats, work, too_long, running)

    def _minutes(self, moment: str) -> float:
        return (datetime.fromisoformat(moment) - self.now).total_seconds() / 60
