"""Thousands of plans for days under way, each judged by a checker that shares no code with the planner.

`PITAPP_DAYS=50000` tries so many of each kind, and on record without the limit on the search's time.
"""

from __future__ import annotations

import os
import random
import sqlite3
from dataclasses import replace

import pytest

from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.packs.formulas import (
    ChargePlan,
    Charger,
    Heat,
    PlanPack,
    PlanRules,
    Running,
    plan_charging,
)
from pitapp.packs.planning import solve_day
from tests.packs_checker import ChargerNow, Facts, OnCharger, PackNow, Plan, Work, complaints
from tests.packs_days import RaceDay
from tests.support import RACE_MORNING, Clock, PageClient

BATCHES = 8
ASKED = os.environ.get("PITAPP_DAYS")
ON_RECORD = int(ASKED or 1500)
PURE = int(ASKED or 4000)
STATES = 16_000 if ASKED else 300
"""A search cut short gives a plan that can be done all the same, and the usual run is quick."""
CAR = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)


@pytest.mark.parametrize("batch", range(BATCHES))
def test_every_plan_made_of_what_is_on_record_can_be_done(
    client: PageClient,
    db: sqlite3.Connection,
    clock: Clock,
    batch: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(solve_day, "MOST_STATES", STATES)
    car_id, _ = kit.save_car(db, CAR, RACE_MORNING)
    token = client.csrf_token()
    for seed in range(batch, ON_RECORD, BATCHES):
        day = RaceDay(db, seed, car_id)
        clock.set(day.now)
        made = client.post("/packs/plan/make", data={"csrf_token": token})
        assert made.status_code == 303, (seed, made.text)
        plan = day.plan()
        assert complaints(day.facts, plan) == [], seed
        told = [title for title, full in day.titles if not full]
        assert [sum(f"{each} has no" in said for said in day.conflicts) for each in told] == [
            1 for _ in told
        ], seed
        if seed % 4 == 0:
            assert client.get("/packs/plan").status_code == 200, seed


# --- the same of the search alone, on longer days -------------------------------------------------


class Day:
    """A day under way for the search, drawn at random."""

    def __init__(self, seed: int) -> None:
        rng = random.Random(seed)
        now = rng.choice([0.0, 37.5])
        at, self.heats = now + rng.uniform(0, 60), []
        long_day = rng.random() < 0.1
        for _ in range(rng.randint(1, 9 if long_day else 5)):
            self.heats.append(Heat(at, rng.choice([5, 6, 8]), rng.choice([1500, 2500, 4200])))
            at += rng.choice([7, 12, 25, 45, 80]) * rng.uniform(0.6, 1.4)
        rng.shuffle(self.heats)
        most_full = rng.choice([0.0, 15.0, 60.0, 240.0])
        self.rules = PlanRules(
            now_min=now,
            most_full_min=most_full,
            cooling_min=rng.choice([0, 10, 20]),
            margin_min=min(most_full, rng.choice([0, 5, 10])),
        )
        self.chargers = [self._charger(rng, 4)]
        several = random.Random(-seed - 1)
        while several.random() < 0.5 and len(self.chargers) < 4:
            self.chargers.append(self._charger(several, 2))
        self.watched = several.random() < 0.3
        self.walk = several.choice([0.0, 3.0, 5.0])
        self.marshalling = [
            (heat.start_min + gap, heat.start_min + gap + heat.run_min)
            for heat in self.heats
            if (gap := several.choice([0, 8, 20]))
        ]
        self.places = several
        self.running: list[Running] = []
        self.on_it: list[str] = []
        self.packs = [
            self._pack(rng, number) for number in range(rng.randint(1, 8 if long_day else 5))
        ]

    def _charger(self, rng: random.Random, most: int) -> Charger:
        outputs, amps = rng.randint(1, most), rng.choice([5.0, 8.0, 12.0])
        in_all = amps * rng.choice([1, 1.5, outputs])
        return Charger(outputs, amps, rng.choice([60, 100]), in_all, rng.choice([80, 300]))

    @property
    def away(self) -> list[tuple[float, float]]:
        """When nobody watches: at the track and on the way there and back."""
        driving = [(heat.start_min, heat.start_min + heat.run_min) for heat in self.heats]
        windows = [] if self.watched else [*driving, *self.marshalling]
        return [(begin - self.walk, end + self.walk) for begin, end in windows]

    def _pack(self, rng: random.Random, number: int) -> PlanPack:
        now = self.rules.now_min
        pack = PlanPack(
            name=f"pack {number}",
            cells=rng.choice([1, 2, 2, 3]),
            capacity_mah=rng.choice([4500, 6000, 6000]),
            most_c_rate=rng.choice([1, 1, 2]),
            percent=rng.choice([0.0, 20.0, 45.0, 70.0, 90.0, 97.0, 99.0, 100.0]),
            cell_resistance_ohm=rng.choice([0.002, 0.006]),
            condition="damaged" if rng.randrange(10) == 9 else "sound",
            ready_min=rng.choice([None, None, now + 15.0]),
            full_since_min=rng.choice([None, now - 90.0]),
        )
        if pack.condition != "sound" or rng.random() < 0.6 or len(self.running) > 3:
            return pack
        until = now + rng.choice([-8.0, 3.0, 20.0, 55.0, 95.0])
        amps = rng.choice([0.0, 2.0, 5.0])
        place = self.places.choice([None, *range(len(self.chargers))])
        self.running.append(Running(until, amps, amps * pack.cells * 4.2, place))
        self.on_it.append(pack.name)
        percent = rng.choice([100.0, 48.0])
        return replace(pack, percent=percent, charging_until_min=until, ready_min=None)

    def planned(self, most_states: int = STATES) -> tuple[ChargePlan, Plan]:
        """The plan as the search gives it, and as the checker takes it: minutes from now."""
        found = plan_charging(
            self.heats,
            self.packs,
            self.chargers if len(self.chargers) > 1 else self.chargers[0],
            self.rules,
            running=self.running,
            away=self.away,
            most_states=most_states,
        )
        now = self.rules.now_min
        work = [
            Work(name, step.kind, begin - now, end - now, step.amps, step.charger)
            for name, todo in found.steps.items()
            for step in todo
            for begin, end in step.pieces
        ]
        for name, todo in found.steps.items():
            for step in todo:
                whole = step.pieces or ((step.start_min, step.end_min),)
                assert (step.start_min, step.end_min) == (whole[0][0], whole[-1][1]), name
        told = {str(one.pack) for one in found.conflicts if one.kind == "sits full"}
        heats = [(heat.pack, heat.full) for heat in found.heats]
        running = [[(begin - now, end - now) for begin, end in one] for one in found.running]
        return found, Plan(heats, work, told, running)

    @property
    def facts(self) -> Facts:
        """The same day as the checker takes it."""
        now = self.rules.now_min
        return Facts(
            packs={pack.name: self._fact(pack) for pack in self.packs},
            heats=[
                (heat.start_min - now, heat.run_min, heat.used_mah / 1000) for heat in self.heats
            ],
            chargers=[
                ChargerNow(
                    one.outputs,
                    one.amps_per_output,
                    one.watts_per_output,
                    one.amps_in_all,
                    one.watts_in_all,
                )
                for one in self.chargers
            ],
            running=[
                OnCharger(max(0.0, each.until_min - now), each.amps, each.watts, name, each.charger)
                for each, name in zip(self.running, self.on_it, strict=True)
            ],
            watched=self.watched,
            marshalling=[(begin - now, end - now) for begin, end in self.marshalling],
            cooling=self.rules.cooling_min,
            margin=self.rules.margin_min,
            most_full=self.rules.most_full_min,
        )

    def _fact(self, pack: PlanPack) -> PackNow:
        now, off = self.rules.now_min, pack.charging_until_min
        full = pack.percent >= self.rules.full_percent
        since = 0.0 if pack.full_since_min is None else min(0.0, pack.full_since_min - now)
        return PackNow(
            capacity_ah=pack.capacity_mah / 1000,
            cells=pack.cells,
            c_rate=pack.most_c_rate,
            percent=pack.percent,
            cool_at=0.0 if full or pack.ready_min is None else pack.ready_min - now,
            on_charger_until=None if off is None else off - now,
            full_when_off=full,
            full_since=since,
            sound=pack.condition == "sound",
        )


@pytest.mark.parametrize("batch", range(BATCHES))
def test_every_plan_of_the_search_can_be_done(batch: int) -> None:
    for seed in range(batch, PURE, BATCHES):
        day = Day(seed)
        found, plan = day.planned()
        assert complaints(day.facts, plan) == [], seed
        told = {one.heat for one in found.conflicts if one.kind == "no full pack"}
        assert told == {place for place, heat in enumerate(found.heats) if not heat.full}, seed
