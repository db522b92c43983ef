"""A racer's runs, one after the other, and what is true of every owned gear on a day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tests.racers.people import LIMIT_C, People
from tests.racers.physics import Array, Outing, drive_run, stand

LOOKS = (0, 3, 6, 12, 25)
RUNS_A_DAY = 4
TRAFFIC = 0.04
TOO_WARM_C = 72.0


class Logged(NamedTuple):
    """A run as it is logged: hours since the first, gear, °C, s after the flag, °C, s, laps, s.

    `lap_list` is empty where only the best was noted; `second_c` is a later reading of the can.
    """

    hours: float
    pinion: int
    spur: int
    ratio: float
    can_c: float
    read_after_s: float
    air_c: float
    best_lap_s: float
    laps: int
    run_s: float
    used_mah: float
    lap_list: tuple[float, ...] = ()
    second_c: float | None = None
    second_after_s: float | None = None


@dataclass(frozen=True)
class Truth:
    """What every owned gear of a racer does on the day of a look, in order of its ratio."""

    lap_s: Array
    can_c: Array
    charge_mah: Array
    top_kmh: Array


Chooser = Callable[[int, np.random.Generator, Array, list[Logged]], int]
"""Picks the next gear: which racer, chance, the gears owned, the runs so far."""


def at_random(_racer: int, rng: np.random.Generator, gears: Array, log: list[Logged]) -> int:
    """Any gear near the last one; a shorter one after a warm can."""
    last = log[-1]
    step = np.log(gears[:, 2] / last.ratio)
    near = (np.abs(step) > 0.006) & (np.abs(step) < 0.06)
    if last.can_c > TOO_WARM_C:
        near &= step > 0
    return int(rng.choice(np.flatnonzero(near))) if near.any() else int(np.abs(step).argmin())


def neighbours(racer: int, rng: np.random.Generator, gears: Array, log: list[Logged]) -> int:
    """The next gear as an invented racer picks it: the best so far, or one near the last."""
    cool = [one for one in log if one.can_c <= TOO_WARM_C]
    if cool and rng.random() < 0.45:
        best = min(cool, key=lambda one: one.best_lap_s)
        return int(np.abs(gears[:, 2] - best.ratio).argmin())
    return at_random(racer, rng, gears, log)


def driven_laps(
    rng: np.random.Generator, stretches: Array, run_s: float, scatter: float
) -> tuple[float, ...]:
    """A run's laps as they are timed: what the car can do there, a driver's scatter, some traffic."""
    middles = (np.arange(len(stretches)) + 0.5) * run_s / len(stretches)
    slow = abs(rng.normal()) * scatter
    laps: list[float] = []
    while sum(laps) < run_s:
        able = float(np.interp(sum(laps), middles, stretches))
        lap = able * (1 + slow + rng.exponential(scatter))
        if rng.random() < TRAFFIC:
            lap *= rng.uniform(1.05, 1.3)
        laps.append(round(float(lap), 2))
    return tuple(laps)


class Season:
    """The runs of many racers, driven side by side."""

    def __init__(self, people: People, choose: Chooser = neighbours) -> None:
        self.people = people
        self.choose = choose
        self.count = len(people.typed)
        self.rngs = [np.random.default_rng([people.seed, 7, i]) for i in range(self.count)]
        self.logs: list[list[Logged]] = [[] for _ in range(self.count)]
        self.day = -1
        self.hours = np.zeros(self.count)
        self.winding = self.can = people.air_base
        self.air = people.air_base
        self.grip = np.ones(self.count)
        self.tops = np.zeros((self.count, 0))

    def _each(self, draw: Callable[[np.random.Generator], float]) -> Array:
        return np.array([draw(rng) for rng in self.rngs])

    def begin_day(self) -> None:
        """A new day, a week or so later: other air, other grip, everything at rest."""
        self.day += 1
        people = self.people
        self.hours = np.full(self.count, 24.0 * 7 * self.day)
        self.air = np.clip(people.air_base + self._each(lambda r: r.normal(0, 3)), 8, 30)
        self.grip = np.clip(1 + people.day_spread * self._each(lambda r: r.normal()), 0.9, 1.1)
        self.winding = self.can = self.air

    def run(self, index: int) -> None:
        """One more run of everybody."""
        if index % RUNS_A_DAY == 0:
            self.begin_day()
        people = self.people
        picks = []
        for i, rng in enumerate(self.rngs):
            gears = people.gears[i]
            if self.logs[i]:
                picks.append(self.choose(i, rng, gears, self.logs[i]))
            else:
                picks.append(int(np.abs(gears[:, 2] - people.first_ratio[i]).argmin()))
        gear = np.array([people.gears[i][pick] for i, pick in enumerate(picks)])
        planned = np.array([one.run_s for one in people.typed])
        run_s = np.round(planned * self._each(lambda r: r.uniform(0.8, 1.1)))
        air = np.clip(self.air + self._each(lambda r: r.normal(0, 0.7)), 8, 30)
        cooled = people.cars.moving_w_k * self._each(lambda r: r.normal(1, 0.03))
        out = drive_run(
            people.cars.changed(moving_w_k=cooled), gear[:, 2], run_s, air, self.can,
            self.grip * self._each(lambda r: r.normal(1, 0.003)),
            self._each(lambda r: r.uniform(0.97, 1.0)),
        )  # fmt: skip
        self.tops = out.tops
        after = self._each(lambda r: float(r.choice([0, 15, 30, 30, 60, 60, 90, 120, 180, 300])))
        late = np.maximum(0.0, after + self._each(lambda r: r.normal(0, 8)) * (after > 0))
        read = self._read(out, air, late)
        later = np.round(after + self._each(lambda r: r.uniform(150, 420)), -1)
        again = self._read(out, air, later)
        pause = self._each(lambda r: r.uniform(35, 90)) * 60
        for i, (rng, log) in enumerate(zip(self.rngs, self.logs, strict=True)):
            laps = driven_laps(rng, out.laps_s[i], run_s[i], people.lap_scatter[i])
            listed = rng.random() < people.notes_laps[i]
            twice = bool(people.reads_twice[i]) and index % RUNS_A_DAY == 0
            log.append(
                Logged(
                    float(self.hours[i]),
                    int(gear[i, 0]),
                    int(gear[i, 1]),
                    float(gear[i, 2]),
                    round(float(read[i]), 1),
                    float(after[i]),
                    round(float(air[i] + rng.normal(0, 0.4)) * 2) / 2,
                    min(laps),
                    len(laps),
                    float(run_s[i]),
                    float(out.charge_mah[i]),
                    laps if listed else (),
                    round(float(again[i]), 1) if twice else None,
                    float(later[i]) if twice else None,
                )
            )
        self.winding, self.can = stand(people.cars, out.winding_c, out.can_c, air, pause, 600)
        self.hours = self.hours + (run_s + pause) / 3600

    def _read(self, out: Outing, air: Array, after_s: Array) -> Array:
        """What each one's thermometer shows so long after the flag."""
        _, can = stand(self.people.cars, out.winding_c, out.can_c, air, after_s)
        return can + self.people.reading_sd * self._each(lambda r: r.normal())

    def truths(self) -> list[Truth]:
        """What every owned gear would do now: on this day's mean grip, from cold."""
        people = self.people
        if self.day < 0:
            self.begin_day()
        lanes = np.concatenate([np.full(len(g), i) for i, g in enumerate(people.gears)])
        ratios = np.concatenate([g[:, 2] for g in people.gears])
        cars = people.cars.take(lanes)
        run_s = np.array([one.run_s for one in people.typed])[lanes]
        out = drive_run(
            cars, ratios, run_s, self.air[lanes], self.air[lanes],
            np.ones(len(lanes)), np.full(len(lanes), 0.985),
        )  # fmt: skip
        found, at = [], 0
        for gears in people.gears:
            part = slice(at, at + len(gears))
            found.append(
                Truth(out.lap_s[part], out.can_c[part], out.charge_mah[part], out.top[part] * 3.6)
            )
            at += len(gears)
        return found


def best_safe(truth: Truth) -> int | None:
    """The quickest gear that is truly under the limit."""
    safe = np.where(truth.can_c <= LIMIT_C, truth.lap_s, np.inf)
    return int(safe.argmin()) if np.isfinite(safe).any() else None
