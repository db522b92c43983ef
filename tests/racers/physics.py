"""The invented cars' physics, for many cars at once: a lap, the motor's two-node heat, a run.

A straight is stepped through in distance: forward under power, backward from the next corner under
the brakes, the slower of both counts. Everything is written here anew, from the textbook laws of
motors, drag and grip; every array has one entry a car ("lane").
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEPS = 80
SEGMENTS = 8
GRAVITY = 9.81
RPM = 30.0 / np.pi
# Resting voltage of a cell by the part of its charge that is left (invented, of the usual shape).
CHARGE_LEFT = (0.0, 0.1, 0.3, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
CELL_V = (3.2, 3.64, 3.73, 3.80, 3.85, 3.91, 3.98, 4.07, 4.18)


@dataclass(frozen=True)
class Cars:
    """What the cars and tracks really are, SI units; straights and corners have one column each."""

    mass: Array
    radius: Array
    inertia: Array
    rolling: Array
    drag_area: Array
    drive_grip: Array
    corner_grip: Array
    braking: Array
    scrub: Array
    efficiency: Array
    torque_constant: Array
    motor_ohm: Array
    hysteresis_nm: Array
    eddy_nm_s: Array
    brake_heat: Array
    rev_limit: Array
    cells: Array
    pack_ohm: Array
    capacity_as: Array
    winding_j_k: Array
    can_j_k: Array
    inner_w_k: Array
    moving_w_k: Array
    standing_w_k: Array
    straight_m: Array
    corner_radius: Array
    corner_m: Array

    def take(self, lanes: Any) -> Cars:
        """The cars of these lanes, which may be repeated."""
        return Cars(**{each.name: getattr(self, each.name)[lanes] for each in fields(self)})

    def changed(self, **values: Array) -> Cars:
        """The same cars with other figures."""
        return replace(self, **values)


@dataclass(frozen=True)
class Lap:
    """One lap: s, J into the winding, J into the iron, A·s from the pack, fastest m/s."""

    seconds: Array
    winding_j: Array
    iron_j: Array
    charge_as: Array
    top: Array


def corner_speeds(cars: Cars, grip_today: Array) -> Array:
    """The speed at which the tyres hold each corner."""
    grip = cars.corner_grip * grip_today
    return np.sqrt(grip[:, None] * GRAVITY * cars.corner_radius)


def drive_lap(
    cars: Cars, ratio: Array, open_v: Array, winding_c: Array, air_c: Array, grip_today: Array
) -> Lap:
    """A lap at a pack's resting voltage and a winding's temperature."""
    k = (ratio / cars.radius)[:, None]
    density = 101_325.0 / (287.05 * (air_c + 273.15))
    drag = (0.5 * density * cars.drag_area)[:, None]
    mass = cars.mass[:, None]
    roll = cars.rolling[:, None] * mass * GRAVITY
    heavy = mass + cars.inertia[:, None] * k * k
    ohm = (cars.motor_ohm * (1.0 + 0.00393 * (winding_c - 20.0)))[:, None]
    total_ohm = ohm + cars.pack_ohm[:, None]
    grip_n = (cars.drive_grip * grip_today)[:, None] * mass * GRAVITY
    v_rev = cars.rev_limit[:, None] / RPM / k
    kt, eta = cars.torque_constant[:, None], cars.efficiency[:, None]
    hysteresis, eddy = cars.hysteresis_nm[:, None], cars.eddy_nm_s[:, None]
    decel = (cars.braking * grip_today)[:, None]
    full_v = open_v[:, None]

    def spent(force: Array, v: Array, dt: Array) -> tuple[Array, Array, Array]:
        """(J into the winding, J into the iron, A·s) of pushing with `force` at `v`."""
        turn = k * v
        loss = hysteresis + eddy * turn
        amps = (force / (eta * k) + loss) / kt
        duty = np.clip((kt * turn + amps * total_ohm) / full_v, 0.0, 1.0)
        return amps * amps * ohm * dt, loss * turn * dt, duty * amps * dt

    # One column a straight: all are stepped through side by side.
    v_out = np.minimum(corner_speeds(cars, grip_today), v_rev)
    v_in = np.roll(v_out, 1, axis=1)
    length = cars.straight_m
    h = length / STEPS
    square = v_in * v_in
    v_before = np.minimum(v_in, np.sqrt(v_out * v_out + 2.0 * decel * length))
    top = v_out
    seconds = cars.corner_m / v_out
    turning = roll + drag * v_out * v_out + cars.scrub[:, None] * mass * GRAVITY
    winding_j, iron_j, charge = spent(turning, v_out, seconds)
    for step in range(1, STEPS + 1):
        v = np.sqrt(square)
        turn = k * v
        full = (full_v - kt * turn) / total_ohm * kt
        loss = hysteresis + eddy * turn
        force = np.minimum(eta * k * np.maximum(full - loss, 0.0), grip_n)
        against = roll + drag * square
        square = square + 2.0 * h * (force - against) / heavy
        held = square >= v_rev * v_rev
        square = np.where(held, np.maximum(v_rev * v_rev, 1e-4), np.maximum(square, 1e-4))
        force = np.where(held, against, force)
        braked = v_out * v_out + 2.0 * decel * (length - step * h)
        power = np.clip(0.5 + (braked - square) / (4.0 * decel * h), 0.0, 1.0)
        v_now = np.sqrt(np.minimum(square, braked))
        mean = 0.5 * (v_before + v_now)
        dt = h / mean
        pushed = spent(force, mean, dt * power)
        back = np.maximum(heavy * decel - against, 0.0) * eta / k
        loss = hysteresis + eddy * k * mean
        amps = np.maximum(back - loss, 0.0) / kt
        rest = dt * (1.0 - power)
        braking_j = cars.brake_heat[:, None] * amps * amps * ohm * rest
        winding_j = winding_j + pushed[0] + braking_j
        iron_j = iron_j + pushed[1] + loss * k * mean * rest
        charge = charge + pushed[2]
        seconds = seconds + dt
        top = np.maximum(top, v_now)
        v_before = v_now
    lap = [each.sum(axis=1) for each in (seconds, winding_j, iron_j, charge)]
    return Lap(lap[0], lap[1], lap[2], lap[3], top.max(axis=1))


def warm(
    cars: Cars,
    winding_c: Array,
    can_c: Array,
    air_c: Array,
    winding_w: Array | float,
    can_w: Array | float,
    outer_w_k: Array,
    seconds: Array,
    steps: int,
) -> tuple[Array, Array]:
    """Winding and can after a time, by the midpoint rule."""
    h = seconds / steps

    def slopes(inner: Array, outer: Array) -> tuple[Array, Array]:
        through = cars.inner_w_k * (inner - outer)
        return (
            (winding_w - through) / cars.winding_j_k,
            (can_w + through - outer_w_k * (outer - air_c)) / cars.can_j_k,
        )

    for _ in range(steps):
        first, second = slopes(winding_c, can_c)
        first, second = slopes(winding_c + 0.5 * h * first, can_c + 0.5 * h * second)
        winding_c, can_c = winding_c + h * first, can_c + h * second
    return winding_c, can_c


@dataclass(frozen=True)
class Outing:
    """A run: mean lap in s, °C at the flag, mAh, a lap's fastest m/s in the mean.

    `laps_s` has a column for each stretch of the run: the lap that the car can do there; `tops` the
    fastest m/s of such a lap.
    """

    lap_s: Array
    laps_s: Array
    tops: Array
    winding_c: Array
    can_c: Array
    charge_mah: Array
    top: Array


def drive_run(
    cars: Cars,
    ratio: Array,
    run_s: Array,
    air_c: Array,
    start_c: Array,
    grip_today: Array,
    charged: Array,
) -> Outing:
    """A whole run from a full pack, the can as warm as it starts, in a few stretches of laps."""
    winding, can, left = start_c, start_c, charged
    used, lap_sum = np.zeros_like(ratio), np.zeros_like(ratio)
    stretch = run_s / SEGMENTS
    top, laps, tops = np.zeros_like(ratio), [], []
    for _ in range(SEGMENTS):
        open_v = cars.cells * np.interp(left, CHARGE_LEFT, CELL_V)
        lap = drive_lap(cars, ratio, open_v, winding, air_c, grip_today)
        iron = lap.iron_j / lap.seconds
        winding, can = warm(
            cars,
            winding,
            can,
            air_c,
            lap.winding_j / lap.seconds + 0.5 * iron,
            0.5 * iron,
            cars.moving_w_k,
            stretch,
            40,
        )
        amps = lap.charge_as / lap.seconds
        used = used + amps * stretch
        left = np.maximum(charged - used / cars.capacity_as, 0.02)
        lap_sum = lap_sum + lap.seconds / SEGMENTS
        laps.append(lap.seconds)
        tops.append(lap.top)
        top = top + lap.top / SEGMENTS
    columns = np.stack(laps, axis=1), np.stack(tops, axis=1)
    return Outing(lap_sum, *columns, winding, can, used / 3.6, top)


def stand(
    cars: Cars, winding_c: Array, can_c: Array, air_c: Array, seconds: Array, steps: int = 120
) -> tuple[Array, Array]:
    """Winding and can of the parked car after a time."""
    return warm(cars, winding_c, can_c, air_c, 0.0, 0.0, cars.standing_w_k, seconds, steps)
