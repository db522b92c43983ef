"""One lap in one gear, and a first track from little knowledge.

A corner is driven at the exit speed of the straight before it for a time that the track gives. A
gear that cannot reach a corner's speed drives it, and enters the next straight, at the speed that
it does reach, and the corner takes longer in proportion.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import inf
from typing import Literal

from pitapp.drive.models import Air, Car, Controller, Motor, Pack, Straight, Track
from pitapp.drive.physics.gear_coefficients import Gear, fixed_figures, gear_figures
from pitapp.drive.physics.results import LapResult
from pitapp.drive.physics.straight import MAH_PER_AS, result_of, straight_notes
from pitapp.drive.physics.straight_kernel import Logged, Segment, drive
from pitapp.limits import number

Corners = Literal["tight", "mixed", "flowing"]

# Corner speed in m/s and length of one corner in m, from memory.
_CORNERS: dict[Corners, tuple[float, float]] = {
    "tight": (4.5, 7.0),
    "mixed": (6.0, 10.0),
    "flowing": (8.0, 14.0),
}
# The straights of a lap as parts of the longest, from memory.
_PARTS = (1.0, 0.3, 0.55, 0.25, 0.4)


Moments = tuple[float, float, float, float, float]


def corner_moments(straights: Iterable[Straight], cap: float = inf) -> Moments:
    """Σ seconds · speedⁿ for n = 0…4 over the corners, at no more than a gear's top speed."""
    sums = [0.0] * 5
    for straight in straights:
        wanted = straight.exit_speed_m_s
        if straight.corner_s and wanted:
            speed = min(wanted, cap)
            part = straight.corner_s * wanted / speed
            for n in range(5):
                sums[n] += part
                part *= speed
    return sums[0], sums[1], sums[2], sums[3], sums[4]


def corner_sums(gear: Gear, moments: Moments) -> tuple[float, float, float]:
    """(s, A·s, J) of corners at part throttle, I = (roll + drag·v²)/(η·Kt·k) + I₀ at speed v."""
    s0, s1, s2, s3, s4 = moments
    still = gear.roll_n / gear.newton_per_a + gear.i_idle
    rise = gear.drag_kg_m / gear.newton_per_a
    squares = still * still * s0 + 2.0 * still * rise * s2 + rise * rise * s4
    charge = (gear.emf * (still * s1 + rise * s3) + gear.resistance * squares) / gear.volts
    return s0, charge, gear.motor_resistance * squares + gear.i_idle * gear.emf * s1


def run_lap(
    car: Car,
    motor: Motor,
    pack: Pack,
    controller: Controller,
    air: Air,
    track: Track,
    ratio: float,
) -> LapResult:
    """Drive one lap: every straight as `run_straight`, every corner at a steady speed.

    Args:
        car, motor, pack, controller, air, track: see the models for units and limits.
        ratio: final drive ratio, 0.5 to 50.

    Returns:
        lap time in s, top speed in m/s and rpm, time and distance at the rev limit in s and m,
        charge in mAh, motor heat in J, every straight's result, and notes.

    Raises:
        ValueError: a ratio outside any car, or a car that cannot move in this gear.

    Source: common practice: the lap as straights and corners.

    >>> car = Car(mass_kg=1.4, tyre_diameter_mm=63)
    >>> motor = Motor(kv_rpm_per_v=2380, resistance_ohm=0.02)
    >>> lap = run_lap(
    ...     car, motor, Pack(voltage_v=7.4), Controller(), Air(), track_by_feel(45, "mixed"), 4.0
    ... )
    >>> 15 < lap.lap_s < 25
    True
    """
    gear = gear_figures(fixed_figures(car, motor, pack, controller, air), ratio)
    seconds = charge = heat = limit_s = limit_m = top = 0.0
    results, notes = [], []
    for straight in track.straights:
        log: list[Logged] = []
        entry = min(straight.entry_speed_m_s, gear.cap)
        segment = Segment(straight.length_m, entry, straight.exit_speed_m_s)
        driven = drive(gear, (segment,), car.braking_m_s2, [0.0], log)
        corner_s, corner_as, corner_j = corner_sums(gear, corner_moments((straight,), gear.cap))
        own = straight_notes(car, gear, straight)
        results.append(result_of(gear, driven, log, own))
        notes += [note for note in own if note not in notes]
        seconds += driven.time + corner_s
        charge += driven.charge + corner_as
        heat += driven.heat + corner_j
        limit_s += driven.limit_time
        limit_m += driven.limit_distance
        top = max(top, driven.top)
    return LapResult(
        lap_s=seconds,
        top_speed_m_s=top,
        top_rpm=top * gear.rpm_per_m_s,
        rev_limit_s=limit_s,
        rev_limit_m=limit_m,
        charge_mah=charge * MAH_PER_AS,
        motor_heat_j=heat,
        straights=tuple(results),
        notes=tuple(notes),
    )


def track_by_feel(longest_straight_m: float, corners: Corners = "mixed") -> Track:
    """A first track from the longest straight and a feel for the corners.

    Five straights (the longest, and 30, 55, 25 and 40 % of it) with a corner behind each; corners
    are driven at 4.5, 6 or 8 m/s over 7, 10 or 14 m. These figures are from memory: put in
    measured straights as soon as there are some.

    Args:
        longest_straight_m: length of the longest straight, 5 to 500 m.
        corners: "tight", "mixed" or "flowing".

    Returns:
        the track.

    Raises:
        ValueError: a straight outside these limits, or another word for the corners.

    Source: from memory.

    >>> [round(straight.length_m, 1) for straight in track_by_feel(40, "tight").straights]
    [40.0, 12.0, 22.0, 10.0, 16.0]
    """
    longest = number(longest_straight_m, "longest straight", 5, 500, unit="m")
    if corners not in _CORNERS:
        raise ValueError("The corners are tight, mixed or flowing.")
    speed, length = _CORNERS[corners]
    return Track(
        straights=tuple(
            Straight(
                length_m=part * longest,
                entry_speed_m_s=speed,
                exit_speed_m_s=speed,
                corner_s=length / speed,
            )
            for part in _PARTS
        )
    )
