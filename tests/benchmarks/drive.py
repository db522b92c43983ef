"""The drive model beside numerical integration: one straight, and a ranking of 400 gears.

Those rows are in works done per second, so that the ratio says how many times faster pitapp is; a
ranking after 25 runs is in ms beside its limit.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from pitapp.drive.formulas import (
    Air,
    Car,
    Controller,
    Motor,
    Pack,
    Setup,
    Straight,
    Track,
    rank_gears,
    run_lap,
    run_straight,
)
from pitapp.drive.learning.can import CanReading
from pitapp.drive.learning.can_fit import fit_can
from pitapp.drive.learning.laps import LapTime, fit_laps
from pitapp.gearing.models import GearOption
from tests.benchmarks import Row, seconds_per_call, side_by_side, table

Numbers = NDArray[np.float64]

CAR = Car(mass_kg=1.35, tyre_diameter_mm=63, grip=1.5)
MOTOR = Motor(kv_rpm_per_v=2460, resistance_ohm=0.02)
PACK = Pack(voltage_v=7.4)
AIR = Air()
LIMITED, FREE = Controller(rev_limit_rpm=15000), Controller()
STRAIGHT = Straight(length_m=60, entry_speed_m_s=6, exit_speed_m_s=7)
RATIO = 3.0

_LENGTHS = (45, 20, 12, 30, 8, 25, 15, 10, 18, 35)
TRACK = Track(
    straights=tuple(
        Straight(
            length_m=length, entry_speed_m_s=5 + i * 0.3, exit_speed_m_s=6 + i * 0.2, corner_s=1.2
        )
        for i, length in enumerate(_LENGTHS)
    )
)
GEARS = [GearOption(p, s, 1.9 * s / p) for p in range(36, 56) for s in range(70, 90)]
STEP_S = 0.005
RANKING_MS = 250.0


def figures(controller: Controller, ratio: Numbers) -> tuple[Numbers, ...]:
    """Plain figures of the law of motion, for one gear or many."""
    k = ratio / (CAR.tyre_diameter_mm / 2000)
    emf = k * 60 / (2 * pi * MOTOR.kv_rpm_per_v)
    ohm = MOTOR.resistance_ohm + PACK.resistance_ohm + controller.resistance_ohm + 0 * k
    inertia = CAR.mass_kg + MOTOR.inertia_kg_m2 * k**2
    weight = CAR.mass_kg * 9.80665
    grip_amps = CAR.grip * weight / (CAR.drive_efficiency * emf) + MOTOR.no_load_current_a
    push = CAR.drive_efficiency * emf / inertia
    roll = CAR.rolling_resistance * weight / inertia
    drag = 0.5 * AIR.density_kg_m3 * CAR.drag_area_m2 / inertia
    limit = controller.rev_limit_rpm or np.inf
    return emf, ohm, grip_amps, push, roll, drag, limit * 2 * pi / 60 / k


def straight_by_solve_ivp(controller: Controller) -> float:
    """Time of the straight by DOP853, with events for the rev limit and the brake point."""
    emf, ohm, grip_amps, push, roll, drag, top = (
        float(x)
        for x in figures(controller, np.float64(RATIO))  # type: ignore[arg-type]
    )
    volts, idle, heats = PACK.voltage_v, MOTOR.no_load_current_a, MOTOR.resistance_ohm
    braking, length = CAR.braking_m_s2, STRAIGHT.length_m
    entry, leave = STRAIGHT.entry_speed_m_s, STRAIGHT.exit_speed_m_s or 0.0

    def throttle(_t: float, y: Numbers) -> tuple[float, float, float, float]:
        v = y[1]
        amps = min((volts - emf * v) / ohm, grip_amps)
        pull = push * (amps - idle) - roll - drag * v * v
        return v, pull, amps * (emf * v + amps * ohm) / volts, amps * amps * heats + idle * emf * v

    def hold(_t: float, y: Numbers) -> tuple[float, float, float, float]:
        v = y[1]
        amps = (roll + drag * v * v) / push + idle
        return v, 0.0, amps * (emf * v + amps * ohm) / volts, amps * amps * heats + idle * emf * v

    def at_limit(_t: float, y: Numbers) -> float:
        return float(y[1] - top)

    def at_brake(_t: float, y: Numbers) -> float:
        return float(y[0] + (y[1] ** 2 - leave**2) / (2 * braking) - length)

    at_limit.terminal = at_brake.terminal = True  # type: ignore[attr-defined]
    start = (0.0, entry, 0.0, 0.0)
    ends = [at_brake, at_limit] if top < np.inf else [at_brake]
    run = solve_ivp(throttle, (0, 100), start, "DOP853", rtol=1e-8, events=ends)
    time = run.t[-1]
    if top < np.inf and len(run.t_events[1]):
        run = solve_ivp(hold, (0, 100), run.y[:, -1], "DOP853", rtol=1e-8, events=at_brake)
        time += run.t[-1]
    return float(time + (run.y[1, -1] - leave) / braking)


def laps_by_steps(controller: Controller) -> tuple[Numbers, ...]:
    """All that a ranking needs of a lap, for all gears at once, by steps of 5 ms in NumPy.

    Lap time, charge, heat, time and distance at the rev limit, and top speed.
    """
    ratios = np.array([gear.final_drive_ratio for gear in GEARS])
    emf, ohm, grip_amps, push, roll, drag, top = figures(controller, ratios)
    volts, idle, heats = PACK.voltage_v, MOTOR.no_load_current_a, MOTOR.resistance_ohm
    braking = CAR.braking_m_s2
    k = 0.5 / braking
    time, charge, heat, limit_s, limit_m, fastest = (np.zeros(len(ratios)) for _ in range(6))
    for straight in TRACK.straights:
        leave = straight.exit_speed_m_s or 0.0
        reach = straight.length_m + k * leave**2
        v = np.full(len(ratios), straight.entry_speed_m_s)
        x = np.zeros(len(ratios))
        weight = np.full(len(ratios), STEP_S)
        while weight.any():
            back = emf * v
            square = roll + drag * v * v
            amps = np.minimum((volts - back) / ohm, grip_amps)
            then = v + (push * (amps - idle) - square) * weight
            over = then > top
            amps = np.where(over, square / push + idle, amps)
            charge += amps * (back + amps * ohm) / volts * weight
            heat += (amps * amps * heats + idle * back) * weight
            time += weight
            dx = v * weight
            x += dx
            if top[0] < np.inf:
                limit_s += over * weight
                limit_m += over * dx
            v = np.where(over, top, then)
            fastest = np.maximum(fastest, v)
            weight = np.where(x + k * v * v < reach, STEP_S, 0.0)
        time += (v - leave) / braking + straight.corner_s
        heat += idle * emf * k * (v * v - leave**2)
        amps = (roll + drag * leave**2) / push + idle
        charge += amps * (emf * leave + amps * ohm) / volts * straight.corner_s
        heat += (amps * amps * heats + idle * emf * leave) * straight.corner_s
    return time, charge, heat, limit_s, limit_m, fastest


def build_setup(controller: Controller) -> Setup:
    """The racer's set-up to rank for."""
    return Setup(car=CAR, motor=MOTOR, pack=PACK, controller=controller, air=AIR, fitted_ratio=3.0)


def same_work(controller: Controller) -> None:
    """Both sides must find the same straight and the same laps, or the comparison is void."""
    mine = run_straight(CAR, MOTOR, PACK, controller, AIR, STRAIGHT, RATIO).time_s
    assert abs(mine - straight_by_solve_ivp(controller)) < 1e-5
    times, charge, heat, limit_s, _limit_m, fastest = laps_by_steps(controller)
    for i in (0, 150, 399):
        lap = run_lap(CAR, MOTOR, PACK, controller, AIR, TRACK, GEARS[i].final_drive_ratio)
        assert abs(lap.lap_s / times[i] - 1) < 0.01
        assert abs(lap.charge_mah * 3.6 / charge[i] - 1) < 0.05
        assert abs(lap.motor_heat_j / heat[i] - 1) < 0.05
        assert abs(lap.rev_limit_s - limit_s[i]) < 0.1
        assert abs(lap.top_speed_m_s / fastest[i] - 1) < 0.01


def calls_per_second(function: Callable[[], object], *, at_least_s: float = 0.05) -> float:
    """How often a call fits into a second, from as many calls as fill the given time."""
    return 1.0 / seconds_per_call(function, at_least_s=at_least_s)


def with_runs(setup: Setup) -> Setup:
    """The set-up with what 25 runs in five gears taught."""
    gears = GEARS[::80]
    readings = [
        CanReading(
            20.0 + 0.1 * run, gears[run % 5].final_drive_ratio, 300.0, 20.0, 20.0, 60.0 + run % 3,
            15.0 * (run % 7),
        )
        for run in range(25)
    ]  # fmt: skip
    laps = [
        LapTime(run // 5, gears[run % 5].final_drive_ratio, 20.0 + 0.02 * (run % 4), 19.5)
        for run in range(25)
    ]
    return setup.model_copy(
        update={
            "can_fit": fit_can(readings),
            "lap_fit": fit_laps(laps, 20.0),
            "logged_ratios": tuple(gear.final_drive_ratio for gear in gears),
        }
    )


def ranking_row() -> Row:
    """A ranking as the page asks for it, in ms, beside its limit."""
    setup = with_runs(build_setup(LIMITED))
    return side_by_side(
        "400 gears on 10 straights, with what 25 runs taught",
        lambda: 1000.0 * seconds_per_call(lambda: rank_gears(GEARS, TRACK, setup)),
        lambda: RANKING_MS,
        unit="ms",
        target="at most 1",
    )


def rows() -> list[Row]:
    """One straight and one ranking, each with and without a rev limit, and one after 25 runs."""
    found = [ranking_row()]
    for word, controller in (("rev limit", LIMITED), ("no rev limit", FREE)):
        same_work(controller)
        setup = build_setup(controller)

        def straight(controller: Controller = controller) -> object:
            return run_straight(CAR, MOTOR, PACK, controller, AIR, STRAIGHT, RATIO)

        def ranking(setup: Setup = setup) -> object:
            return rank_gears(GEARS, TRACK, setup)

        def integrated(controller: Controller = controller) -> object:
            return straight_by_solve_ivp(controller)

        def stepped(controller: Controller = controller) -> object:
            return laps_by_steps(controller)

        found.append(
            side_by_side(
                f"one straight, {word}, beside solve_ivp (DOP853, rtol 1e-8)",
                partial(calls_per_second, straight),
                partial(calls_per_second, integrated),
                unit="1/s",
                target="at least 40",
            )
        )
        found.append(
            side_by_side(
                f"400 gears on 10 straights, {word}, beside NumPy steps of 5 ms",
                partial(calls_per_second, ranking, at_least_s=0.2),
                partial(calls_per_second, stepped, at_least_s=0.2),
                unit="1/s",
                target="at least 3",
            )
        )
    return found


if __name__ == "__main__":
    sys.stdout.write(table(rows()) + "\n")
