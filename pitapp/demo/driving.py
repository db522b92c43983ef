"""Invented runs, driven by the same formulas as the forecast: what the lap and the can come to."""

from __future__ import annotations

from math import exp
from random import Random
from typing import Any, NamedTuple

from pitapp.demo.plan import Machine
from pitapp.drive.formulas import run_lap
from pitapp.drive.models import Air, Controller, Pack
from pitapp.heat.formulas import end_of_run_temperature_c
from pitapp.tracks.formulas import for_drive
from pitapp.tracks.models import Track

COOLING_TAU_S = 600.0
PACK = Pack(voltage_v=7.5)
SLOWER_THAN_MODEL = 1.012
LAP_SPREAD = 0.004
READING_SD_K = 0.8


class Driven(NamedTuple):
    """A run as it truly was: laps in s, temperatures in °C."""

    best_lap_s: float
    laps: int
    run_s: float
    flag_c: float


def drive(
    rng: Random,
    machine: Machine,
    track: Track,
    ratio: float,
    tyre_diameter_mm: float,
    air_c: float,
    start_c: float,
    day: float,
) -> Driven:
    """One run of some five minutes: the model's lap, a little slower, and the heat that it makes.

    `day` is how much slower than usual the track is that day, as a share of the lap.
    """
    lap = run_lap(
        machine.car.model_copy(update={"tyre_diameter_mm": tyre_diameter_mm}),
        machine.motor,
        PACK,
        Controller(rev_limit_rpm=machine.rev_limit_rpm),
        Air(temperature_c=air_c),
        for_drive(track),
        ratio,
    )
    best = lap.lap_s * (SLOWER_THAN_MODEL + day + abs(rng.gauss(0, LAP_SPREAD)))
    mean = best * (1.02 + abs(rng.gauss(0, 0.012)))
    laps = int(machine.run_length_s / mean) + 1
    run_s = laps * mean
    flag = end_of_run_temperature_c(
        air_c,
        start_c,
        lap.motor_power_w * (1 + rng.gauss(0, 0.02)),
        machine.thermal_resistance_k_per_w,
        machine.time_constant_s,
        run_s,
    )
    return Driven(round(best, 2), laps, round(run_s, 1), flag)


def read_later(rng: Random, flag_c: float, air_c: float, after_s: float) -> float:
    """What the racer reads off the can of the standing car, in whole degrees."""
    then = air_c + (flag_c - air_c) * exp(-after_s / COOLING_TAU_S)
    return float(round(then + rng.gauss(0, READING_SD_K)))


def cooled(flag_c: float, air_c: float, seconds: float) -> float:
    """What is left of the heat before the next run."""
    return air_c + (flag_c - air_c) * exp(-max(0.0, seconds) / COOLING_TAU_S)


def conditions(days_ago: int, number: int, air_c: float) -> dict[str, Any]:
    """How the track was in an outing: better through the day, dusty in the morning; invented."""
    if days_ago % 3 == 1:
        return {}
    damp = days_ago % 7 == 2 and number == 0
    return {
        "track_c": round(air_c + 3 + number) if number % 2 == 0 else None,
        "grip": ("low", "medium", "medium", "high", "high", "high")[min(number, 5)],
        "dust": "some" if number == 0 and not damp else None,
        "wet": "damp" if damp else "dry",
        "wind": ("none", "light", "strong")[days_ago % 3] if days_ago % 2 else None,
    }
