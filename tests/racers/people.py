"""The racers themselves: cars, tracks, gear boxes, and what each would type of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.racers.physics import GRAVITY, Array, Cars, drive_run

KINDS = ("indoor", "club", "large")
LIMITS = (14_600.0, 17_200.0, None)
INTERNAL = 1.9
LIMIT_C = 80.0
# Longest straight, the others, corner radius: m, by kind of track.
SIZES = {
    "indoor": ((14, 20), (4, 11), (1.1, 2.2)),
    "club": ((28, 42), (9, 20), (2.2, 4.5)),
    "large": ((45, 65), (12, 28), (3.0, 6.5)),
}
STRAIGHTS = 7


@dataclass(frozen=True)
class Typed:
    """What a racer types before the first run; None where the field is left empty."""

    kind: str
    rev_limit: float | None
    kv: float
    motor_ohm: float | None
    mass_g: float
    tyre_mm: float
    capacity_mah: float
    straights: tuple[tuple[float, float, float], ...]
    lap_m: float | None
    longest_m: float
    corners: str
    run_s: float
    pinions: tuple[int, ...]
    spurs: tuple[int, ...]


@dataclass(frozen=True)
class People:
    """Racers: cars as they are (one lane each), what is typed, and how they and their days are.

    `gears` has each racer's owned pairs as (pinion, spur, ratio) rows, shortest ratio number first;
    `notes_laps` is the share of runs whose laps are all noted, `reads_twice` who reads the can of
    a day's first run a second time.
    """

    seed: int
    cars: Cars
    typed: tuple[Typed, ...]
    gears: tuple[Array, ...]
    lap_scatter: Array
    day_spread: Array
    reading_sd: Array
    air_base: Array
    first_ratio: Array
    notes_laps: Array
    reads_twice: Array


def _draw(rng: np.random.Generator, index: int) -> tuple[dict[str, object], dict[str, object]]:
    kind, limit = KINDS[index % 3], LIMITS[(index // 3) % 3]
    longest, other, radii = SIZES[kind]
    kv = {14_600.0: (2000, 2600), 17_200.0: (2300, 3000), None: (1900, 2500)}[limit]
    true_kv = rng.uniform(*kv)
    kt = 60.0 / (2.0 * np.pi * true_kv)
    ohm = 0.09 * (2300.0 / true_kv) ** 2 * rng.uniform(0.75, 1.35)
    mass, tyre = rng.uniform(1.32, 1.40), rng.uniform(61.5, 64.0)
    grip = rng.uniform(1.0, 1.3)
    lengths = [rng.uniform(*longest), *rng.uniform(*other, STRAIGHTS - 1)]
    radius = rng.uniform(*radii, STRAIGHTS)
    corner_m = radius * rng.uniform(1.4, 3.1, STRAIGHTS)
    capacity = rng.uniform(4200, 7000)
    pack_ohm = rng.uniform(0.007, 0.014)
    winding, can = rng.uniform(22, 42), rng.uniform(60, 110)
    inner = winding / rng.uniform(14, 48)
    moving = (winding + can) / rng.uniform(280, 800)
    car = {
        "mass": mass,
        "radius": tyre / 2000.0,
        "inertia": rng.uniform(3e-6, 7e-6),
        "rolling": rng.uniform(0.02, 0.045),
        "drag_area": rng.uniform(0.007, 0.012),
        "drive_grip": grip * rng.uniform(0.95, 1.1),
        "corner_grip": grip,
        "braking": grip * GRAVITY * rng.uniform(0.62, 0.8),
        "scrub": rng.uniform(0.02, 0.08),
        "efficiency": rng.uniform(0.86, 0.94),
        "torque_constant": kt,
        "motor_ohm": ohm,
        "hysteresis_nm": kt * rng.uniform(0.8, 2.0),
        "eddy_nm_s": kt * rng.uniform(0.4, 1.4) / 1600.0,
        "brake_heat": rng.uniform(0.6, 1.0),
        "rev_limit": limit or 1e9,
        "cells": 2.0,
        "pack_ohm": pack_ohm + rng.uniform(0.001, 0.003),
        "capacity_as": capacity * 3.6,
        "winding_j_k": winding,
        "can_j_k": can,
        "inner_w_k": inner,
        "moving_w_k": moving,
        "standing_w_k": moving * rng.uniform(0.5, 1.0),
        "straight_m": np.array(lengths),
        "corner_radius": radius,
        "corner_m": corner_m,
    }
    speeds = np.sqrt(grip * GRAVITY * radius) * 3.6
    guess = rng.uniform(0.94, 1.06)
    rows = []
    for i in range(STRAIGHTS):
        length = lengths[i] * rng.normal(1, 0.03)
        enter, leave = speeds[i - 1] * guess, speeds[i] * guess
        enter, leave = enter * rng.normal(1, 0.05), leave * rng.normal(1, 0.05)
        rows.append((round(length), round(enter), round(leave)))
    knows = rng.random()
    true_lap = sum(lengths) + corner_m.sum()
    corners = "tight" if radius.mean() < 2.5 else "mixed" if radius.mean() < 5 else "flowing"
    typed = {
        "kind": kind,
        "rev_limit": limit,
        "kv": round(true_kv * rng.normal(1, 0.01) / 10) * 10,
        "motor_ohm": round(ohm * rng.normal(1, 0.08), 4) if rng.random() < 0.9 else None,
        "mass_g": round(mass * 1000 * rng.normal(1, 0.01)),
        "tyre_mm": round(tyre * rng.normal(1, 0.003), 1),
        "capacity_mah": round(capacity * rng.uniform(1.0, 1.1) / 100) * 100,
        "straights": tuple(rows) if knows < 0.85 else (),
        "lap_m": round(true_lap * rng.normal(1, 0.03)) if knows < 0.45 else None,
        "longest_m": round(lengths[0] * rng.normal(1, 0.05)),
        "corners": corners,
        "run_s": float(rng.choice([300, 300, 300, 360, 480])),
    }
    about = {
        "lap_scatter": rng.uniform(0.0015, 0.006),
        "day_spread": rng.uniform(0.004, 0.02),
        "reading_sd": rng.uniform(0.9, 2.4),
        "air_base": rng.uniform(13, 27),
        "rise": rng.uniform(50, 96),
        "first": rng.uniform(1.02, 1.14),
        "centre": rng.uniform(0.98, 1.07),
        "notes_laps": rng.choice([0.0, 0.3, 0.8]),
        "reads_twice": rng.random() < 0.4,
        "spur": int(rng.choice([66, 69, 72, 78, 84])),
    }
    return car, {"typed": typed, "about": about}


def _best(
    cars: Cars, typed: list[dict[str, object]], air: Array, rise: Array
) -> tuple[Cars, Array]:
    """Cars whose can gets so warm in their quickest gear, and each one's best safe ratio."""
    count, grid = len(air), np.geomspace(2.0, 8.5, 40)
    lanes = np.repeat(np.arange(count), len(grid))
    ratios = np.tile(grid, count)
    run_s = np.array([one["run_s"] for one in typed], dtype=float)

    def outcome(these: Cars) -> tuple[Array, Array]:
        out = drive_run(
            these.take(lanes), ratios, run_s[lanes], air[lanes], air[lanes],
            np.ones(len(lanes)), np.full(len(lanes), 0.99),
        )  # fmt: skip
        return out.lap_s.reshape(count, -1), out.can_c.reshape(count, -1)

    for _ in range(2):
        laps, cans = outcome(cars)
        at = laps.argmin(axis=1)
        share = (cans[np.arange(count), at] - air) / rise
        cars = cars.changed(
            **{
                name: getattr(cars, name) * share
                for name in ("winding_j_k", "can_j_k", "inner_w_k", "moving_w_k", "standing_w_k")
            }
        )
    laps, cans = outcome(cars)
    safe = np.where(cans <= LIMIT_C, laps, np.inf)
    return cars, grid[safe.argmin(axis=1)]


def invent(seed: int, count: int) -> People:
    """So many racers; the same seed gives the same ones."""
    drawn = [_draw(np.random.default_rng([seed, index]), index) for index in range(count)]
    typed = [dict(one[1]["typed"]) for one in drawn]  # type: ignore[call-overload]
    about = {
        name: np.array([one[1]["about"][name] for one in drawn])  # type: ignore[index]
        for name in drawn[0][1]["about"]  # type: ignore[attr-defined]
    }
    cars = Cars(
        **{name: np.array([one[0][name] for one in drawn], dtype=float) for name in drawn[0][0]}
    )
    cars, best = _best(cars, typed, about["air_base"], about["rise"])
    gears = []
    for index, one in enumerate(typed):
        spur = int(about["spur"][index])
        middle = INTERNAL * spur / (best[index] * about["centre"][index])
        # Boxes reach well into gears that are too hot: those are sold and lent like any other.
        pinions = tuple(range(max(10, round(middle) - 4), round(middle) + 10))
        spurs = (spur, spur + 3)
        one["pinions"], one["spurs"] = pinions, spurs
        pairs = [(p, s, INTERNAL * s / p) for p in pinions for s in spurs]
        gears.append(np.array(sorted(pairs, key=lambda pair: pair[2])))
    return People(
        seed=seed,
        cars=cars,
        typed=tuple(Typed(**one) for one in typed),
        gears=tuple(gears),
        lap_scatter=about["lap_scatter"],
        day_spread=about["day_spread"],
        reading_sd=about["reading_sd"],
        air_base=about["air_base"],
        first_ratio=best * about["first"],
        notes_laps=about["notes_laps"],
        reads_twice=about["reads_twice"],
    )
