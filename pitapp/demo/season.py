"""The invented season written down as its driver would have: with gaps, late readings and mistakes."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta
from pathlib import Path
from random import Random
from typing import TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from pitapp.demo import equipment, results
from pitapp.demo.charging import Charger
from pitapp.demo.driving import conditions, cooled, drive, read_later
from pitapp.demo.equipment import DemoEquipment
from pitapp.demo.plan import CHANGES, KINDS, MACHINES, REMARKS, SEASON, Day
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Heat, Meeting
from pitapp.packs import store as packs
from pitapp.runs import store as runs
from pitapp.runs.models import FittedCar, Run, Snapshot
from pitapp.runs.photographs import store as photographs
from pitapp.runs.photographs.jpeg import bare_jpeg
from pitapp.runs.setup import store as setup
from pitapp.runs.snapshot import snapshot
from pitapp.runs.tyres import store as tyres

Value = TypeVar("Value")
SEED = 1905
INTERVAL = timedelta(minutes=40)
MARSHAL_AFTER = timedelta(minutes=12)
DONE_TODAY = 3
FIRST_HOUR = 9
NEXT_IN, EARLY = timedelta(minutes=20), timedelta(minutes=10)
PUT_IN_BEFORE = timedelta(minutes=12)
UNPLANNED = (0, 1, 2, 4, 5, 6)
MISSED = {(168, 5), (14, 4)}
CORRECTED, TWICE, READ_COLD = (119, 1), (91, 3), (35, 4)


def write(connection: sqlite3.Connection, now: datetime, time_zone: str = "UTC") -> None:
    """Write the season, whose last meeting is on at `now`, into an empty database."""
    rng = Random(SEED)  # noqa: S311
    own = equipment.fill(connection, rng, now - timedelta(days=SEASON[0].days_ago + 7))
    charger = Charger(Random(SEED + 1), own.charger_id)  # noqa: S311
    for number, day in enumerate(SEASON):
        meeting = _Meeting(connection, rng, own, charger, day, now, time_zone)
        meeting.write(unplanned=number in UNPLANNED)
    equipment.finish(connection, rng, own, now)
    results.write(connection, next(iter(own.classes.values())), now)
    last = runs.runs(connection, car_id=own.cars[SEASON[-1].car], limit=1)[0]
    drawing = bare_jpeg(Path(__file__).with_name("photograph.jpg").read_bytes())
    caption = "Invented: how the body sat after the run"
    photographs.add(connection, drawing, now, run_id=last.id, caption=caption)


class _Meeting:
    """One day of the season, from its timetable to its last log."""

    def __init__(
        self,
        connection: sqlite3.Connection,
        rng: Random,
        own: DemoEquipment,
        charger: Charger,
        day: Day,
        now: datetime,
        time_zone: str,
    ) -> None:
        self.connection, self.rng, self.own, self.day = connection, rng, own, day
        self.charger, self.time_zone = charger, time_zone
        self.track = own.tracks[day.track]
        self.car_id = own.cars[day.car]
        self.class_id = own.classes.get(day.race_class)
        self.first = self._first(now)
        self.slower = rng.gauss(0, 0.003)
        self.flag_c: float | None = None
        self.ended = self.first

    def _first(self, now: datetime) -> datetime:
        if self.day.days_ago == 0:
            due = now + NEXT_IN - DONE_TODAY * INTERVAL
            return due.replace(minute=due.minute - due.minute % 5, second=0, microsecond=0)
        local = (now - timedelta(days=self.day.days_ago)).astimezone(ZoneInfo(self.time_zone))
        return local.replace(hour=FIRST_HOUR, minute=30, second=0, microsecond=0)

    def write(self, *, unplanned: bool) -> None:
        """Enter the meeting, drive it, and log what was remembered."""
        evening = self.first - timedelta(hours=14)
        meeting = Meeting(
            day=self.first.astimezone(ZoneInfo(self.time_zone)).date(),
            name=self.day.name,
            time_zone=self.time_zone,
            track_id=self.track.id,
            race_class_id=self.class_id,
            car_id=self.car_id,
            remarks=self.day.remarks,
        )
        meeting_id, _ = meetings.save_meeting(self.connection, meeting, evening, self._timetable())
        heats = [
            heat for heat in meetings.heats(self.connection, meeting_id) if heat.kind != "marshal"
        ]
        self.own.measure_tyres(self.connection, self.rng, self.day.car, evening)
        done = heats if self.day.days_ago else heats[:DONE_TODAY]
        for number, heat in enumerate(done):
            self._change(number, heat.starts_at)
            if (self.day.days_ago, number) not in MISSED:
                self._outing(number, meeting_id, heat, heat.starts_at)
        if unplanned:
            last = len(done) - 1
            self._outing(last, meeting_id, None, done[-1].starts_at + INTERVAL)
        if self.day.days_ago:
            self.charger.put_away(self.connection, self.ended)
        else:
            following = heats[DONE_TODAY].starts_at - EARLY
            self._make_ready(self.own.next_pack(), following)

    def _make_ready(self, pack_id: int, run_at: datetime) -> None:
        """Charge a pack for the heat to come and put it in."""
        self.charger.fill(self.connection, pack_id, run_at)
        car = kit.car(self.connection, self.car_id)
        packs.put_in(self.connection, car.id, car.name, pack_id, run_at - PUT_IN_BEFORE)

    def _timetable(self) -> list[Entry]:
        entries = []
        for number, kind in enumerate(KINDS):
            start = self.first + number * INTERVAL
            entries.append(Entry(kind, start))
            if kind == "heat":
                entries.append(Entry("marshal", start + MARSHAL_AFTER))
        return entries

    def _change(self, number: int, start: datetime) -> None:
        """Fit the gear and change the set-up before an outing."""
        moment = start - timedelta(minutes=15)
        pinion, spur = self.day.gears[number]
        fitted = gearing.fitted(self.connection, self.car_id)
        if fitted is None or (fitted.pinion_teeth, fitted.spur_teeth) != (pinion, spur):
            car = kit.car(self.connection, self.car_id)
            gearing.fit(self.connection, car, pinion, spur, moment)
        group, name, value = CHANGES.get((self.day.days_ago, number), ("", "", ""))
        for entry in setup.entries(self.connection, self.car_id):
            if (entry.group_name, entry.name) == (group, name):
                setup.set_value(self.connection, entry.id, value, moment)

    def _outing(self, number: int, meeting_id: int, heat: Heat | None, start: datetime) -> None:
        car = kit.car(self.connection, self.car_id)
        pinion, spur = self.day.gears[number]
        low, high = self.day.air_c
        air_c = round(low + (high - low) * min(1.0, number / 5) + self.rng.gauss(0, 0.4), 1)
        start_c = air_c
        if self.flag_c is not None:
            start_c = cooled(self.flag_c, air_c, (start - self.ended).total_seconds())
        true = drive(
            self.rng,
            MACHINES[self.day.car],
            self.track,
            spur / pinion * car.internal_ratio,
            car.tyre_diameter_mm,
            air_c,
            start_c,
            self.slower - 0.001 * number,
        )
        self.flag_c, self.ended = true.flag_c, start + timedelta(seconds=true.run_s)
        self.own.wear(self.day.car)
        pack_id = self.own.next_pack()
        self.charger.fill(self.connection, pack_id, start)
        written = {
            "uuid": UUID(int=self.rng.getrandbits(128), version=4),
            "car_id": car.id,
            "meeting_id": meeting_id,
            "heat_id": heat.id if heat else None,
            "track_id": self.track.id,
            "race_class_id": self.class_id,
            "motor_id": car.motor_id,
            "pack_id": self._noted(pack_id, 0.9),
            "tyre_set_id": tyres.fitted(self.connection, car.id).tyre_set_id,
            "started_at": start,
            "time_zone": self.time_zone,
            "pinion_teeth": pinion,
            "spur_teeth": spur,
            "internal_ratio": car.internal_ratio,
            "tyre_diameter_mm": car.tyre_diameter_mm,
            "air_c": self._noted(round(air_c), 0.88),
            **conditions(self.day.days_ago, number, air_c),
            "best_lap_s": self._noted(true.best_lap_s, 0.93),
            "laps": self._noted(true.laps, 0.85),
            "run_s": self._noted(true.run_s, 0.7),
            "position": self.rng.randint(1, 8) if heat and heat.kind in ("heat", "final") else None,
            "remarks": self.rng.choice(REMARKS) if self.rng.random() < 0.3 else "",
            "snapshot": Snapshot(car=FittedCar(id=car.id, name=car.name)),
            **self._reading(number, true.flag_c, air_c),
        }
        self._log(number, Run(**written), self.ended + timedelta(minutes=6))
        if heat:
            meetings.finish_heat(self.connection, heat.id, self.ended)

    def _reading(self, number: int, flag_c: float, air_c: float) -> dict[str, object]:
        """The can as it was read, if it was: mostly within a minute and a half of the flag."""
        if (self.day.days_ago, number) == READ_COLD:
            cold = read_later(self.rng, flag_c, air_c, 900)
            return {"can_c": cold, "remarks": "Forgot the can, read it at the table."}
        after_s = self.rng.choice((20, 30, 30, 45, 60, 90))
        can_c = self._noted(read_later(self.rng, flag_c, air_c, after_s), 0.86)
        return {"can_c": can_c, "read_after_s": self._noted(after_s, 0.75) if can_c else None}

    def _log(self, number: int, run: Run, moment: datetime) -> None:
        run = run.model_copy(update={"snapshot": snapshot(self.connection, run)})
        heat_key = (self.day.days_ago, number)
        if heat_key == CORRECTED and run.pinion_teeth:
            wrong = run.model_copy(update={"pinion_teeth": run.pinion_teeth + 1})
            run_id, _ = runs.save_run(self.connection, wrong, moment)
            right = run.model_copy(
                update={"id": run_id, "remarks": "Pinion written down wrong at first."}
            )
            runs.save_run(self.connection, right, moment + timedelta(minutes=50))
            return
        runs.save_run(self.connection, run, moment)
        if heat_key == TWICE:
            again = run.model_copy(update={"uuid": UUID(int=self.rng.getrandbits(128), version=4)})
            run_id, _ = runs.save_run(self.connection, again, moment + timedelta(minutes=1))
            runs.remove_run(self.connection, run_id, moment + timedelta(minutes=2))

    def _noted(self, value: Value, often: float) -> Value | None:
        return value if self.rng.random() < often else None
