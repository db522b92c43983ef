"""An invented racer for the Forecast tests: a car with a box of gears, a track, and logged runs.

The runs are made by the drive and heat formulas with hidden figures and noise, so that what the
app learns can be held against the truth.
"""

from __future__ import annotations

import random
import sqlite3
from datetime import datetime, timedelta

from pitapp.drive import models as drive
from pitapp.drive.formulas import run_lap
from pitapp.gearing import store as gearing
from pitapp.heat.formulas import two_node_temperatures_c
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.runs import store as runs
from pitapp.runs.models import FittedCar, Run, Snapshot
from pitapp.tracks import store as tracks
from pitapp.tracks.formulas import for_drive
from pitapp.tracks.models import Straight, Track

COOLING_TAU_S, HIDDEN_RTH, HIDDEN_TAU_S, HIDDEN_WINDING_TAU_S = 600.0, 3.1, 260.0, 30.0
HIDDEN = (
    drive.Car(mass_kg=1.36, tyre_diameter_mm=63, grip=1.35, drag_area_m2=0.0085),
    drive.Motor(kv_rpm_per_v=2380, resistance_ohm=0.024, no_load_current_a=2.6),
    drive.Pack(voltage_v=8.0),
    drive.Controller(rev_limit_rpm=14_600),
)
LENGTHS = (42, 18, 25, 12, 20)
PINIONS, SPURS = range(38, 51), (64, 66, 69, 72, 74)
FITTED = (42, 69)


def add_car(connection: sqlite3.Connection, now: datetime, **more: object) -> Car:
    """A car with motor, gears and one of them fitted."""
    motor_id, _ = kit.save_motor(
        connection,
        Motor(name="Test motor", kv_rpm_per_v=2380, resistance_ohm=0.021, no_load_current_a=2.4),
        now,
    )
    values = {
        "name": "Test car",
        "internal_ratio": 1.9,
        "pitch": "dp:64",
        "tyre_diameter_mm": 63,
        "motor_id": motor_id,
        "pack_v": 7.4,
        "rev_limit_rpm": 14_600,
        "mass_g": 1330,
        "least_tooth_sum": 106,
        "most_tooth_sum": 126,
    }
    car_id, _ = kit.save_car(connection, Car.model_validate(values | more), now)
    kit.choose_car(connection, car_id)
    kit.add_gears(connection, "pinion", "dp:64", list(PINIONS), now)
    kit.add_gears(connection, "spur", "dp:64", list(SPURS), now)
    car = kit.car(connection, car_id)
    gearing.fit(connection, car, *FITTED, now - timedelta(hours=1))
    return car


def add_track(connection: sqlite3.Connection, now: datetime, name: str = "Test hall") -> int:
    """A measured track of five straights."""
    straights = tuple(
        Straight(length_m=length, entry_kmh=20 + i, exit_kmh=22 + i)
        for i, length in enumerate(LENGTHS)
    )
    track = Track(name=name, lap_length_m=sum(LENGTHS) + 90, straights=straights)
    return tracks.save_track(connection, track, now)[0]


def hidden_can(watts: float, air_c: float, run_s: float, wait_s: float = 0.0) -> float:
    """The can in °C some time after the flag of a run from cold, winding and can told apart."""
    outer = 1.0 / HIDDEN_RTH
    whole = HIDDEN_TAU_S * outer
    winding, can = 0.3 * whole, 0.7 * whole
    inner = winding / HIDDEN_WINDING_TAU_S
    hot = two_node_temperatures_c(air_c, air_c, air_c, watts, winding, can, inner, outer, run_s)
    still = whole / COOLING_TAU_S
    return two_node_temperatures_c(*hot, air_c, 0.0, winding, can, inner, still, wait_s)[1]


def truth(track: drive.Track, ratio: float, air_c: float, run_s: float) -> tuple[float, float]:
    """(lap in s, can at the flag in °C) of the hidden car."""
    lap = run_lap(*HIDDEN, drive.Air(temperature_c=air_c), track, ratio)
    return lap.lap_s, hidden_can(lap.motor_power_w, air_c, run_s)


def log_runs(
    connection: sqlite3.Connection,
    car: Car,
    track_id: int,
    now: datetime,
    count: int,
    seed: int = 1,
) -> list[int]:
    """Log runs two days apart, the last one two days ago, with noise in what was read."""
    rng = random.Random(seed)
    track = for_drive(tracks.track(connection, track_id))
    pairs = [(40, 72), (42, 69), (44, 69), (41, 74), (43, 66), (45, 72), (46, 66), (44, 74)]
    made = []
    for index in range(count):
        pinion, spur = pairs[index % len(pairs)]
        air_c, run_s = float(rng.randint(17, 27)), float(rng.choice([240, 300, 360]))
        lap = run_lap(*HIDDEN, drive.Air(temperature_c=air_c), track, 1.9 * spur / pinion)
        wait_s = float(rng.randint(30, 120))
        read_c = hidden_can(lap.motor_power_w, air_c, run_s, wait_s) + rng.gauss(0, 0.8)
        run = Run(
            car_id=car.id,
            motor_id=car.motor_id,
            track_id=track_id,
            started_at=now - timedelta(days=2 * (count - index)),
            pinion_teeth=pinion,
            spur_teeth=spur,
            internal_ratio=1.9,
            tyre_diameter_mm=63,
            can_c=round(read_c, 1),
            read_after_s=wait_s,
            air_c=air_c,
            best_lap_s=round(lap.lap_s + abs(rng.gauss(0, 0.04)), 3),
            run_s=run_s,
            snapshot=Snapshot(car=FittedCar(id=car.id, name=car.name)),
        )
        made.append(runs.save_run(connection, run, now)[0])
    return made
