"""A car that rolls against its drag brake: how fast it creeps and how far it gets.

The brake's torque is d·Kt²·ω/R with Kt = 60/(2π·Kv): the windings are shorted for a share d of the
time, and the torque is proportional to speed.

Source: the permanent-magnet motor with shorted windings (any textbook of electric machines).
"""

from __future__ import annotations

import math

from pitapp.limits import number
from pitapp.roll.geometry import GRAVITY_M_S2, STEEPEST_DEG, car_mass_kg, motor_lever_m


def _slope_rad(slope_deg: float) -> float:
    return math.radians(number(slope_deg, "slope", 0, STEEPEST_DEG, unit="°"))


def _brake_n_s_per_m(
    drag_brake_fraction: float, lever_m: float, kv_rpm_per_v: float, resistance_ohm: float
) -> float:
    """Braking force at the tyres per m/s: d·Kt²/R·FDR²/(r²·η), the efficiency being 1 here."""
    fraction = number(drag_brake_fraction, "drag brake", 0, 1)
    kt = 60 / (2 * math.pi * number(kv_rpm_per_v, "motor's Kv", 50, 30_000, unit="rpm/V"))
    resistance = number(resistance_ohm, "resistance", 0.0005, 50, unit="ohm")
    return fraction * kt * kt / resistance / (lever_m * lever_m)


def creep_speed_m_s(
    slope_deg: float,
    drag_brake_fraction: float,
    mass_kg: float,
    tyre_diameter_mm: float,
    final_drive_ratio: float,
    kv_rpm_per_v: float,
    resistance_ohm: float,
) -> float:
    """Steady speed at which a car once moving creeps down a slope: ω = T·R/(d·Kt²), v = ω·r/FDR.

    The worst case: running friction, detent torque and drive losses are taken as zero.

    Args:
        slope_deg: 0 to 60°.
        drag_brake_fraction: share of the time in which the windings are shorted, more than 0 to 1.
        mass_kg: 0.05 to 50 kg.
        tyre_diameter_mm: 20 to 300 mm.
        final_drive_ratio: 0.5 to 60.
        kv_rpm_per_v: 50 to 30 000 rpm/V.
        resistance_ohm: windings, leads and controller together, 0.0005 to 50 ohm.

    Returns:
        The speed in m/s.

    Raises:
        ValueError: a figure is out of range, or the drag brake is off (then no speed is the last).

    Source: see the module's docstring.

    >>> round(creep_speed_m_s(3.0, 0.2, 1.35, 63.0, 5.0, 2460, 0.02), 4)
    0.1825
    """
    slope = _slope_rad(slope_deg)
    weight = car_mass_kg(mass_kg) * GRAVITY_M_S2
    lever = motor_lever_m(tyre_diameter_mm, final_drive_ratio, 1.0)
    brake = _brake_n_s_per_m(drag_brake_fraction, lever, kv_rpm_per_v, resistance_ohm)
    if brake < 1e-12:
        raise ValueError(
            "With the drag brake off a rolling car only gets faster: there is no creep speed."
        )
    return weight * math.sin(slope) / brake


def roll_distance_m(
    slope_deg: float,
    drag_brake_fraction: float,
    seconds: float,
    mass_kg: float,
    tyre_diameter_mm: float,
    final_drive_ratio: float,
    kv_rpm_per_v: float,
    resistance_ohm: float,
    rotor_inertia_kg_m2: float = 0.0,
) -> float:
    """Distance rolled from rest: m*·dv/dt = m·g·sin θ − B·v, m* = m + J·(FDR/r)², in closed form.

    x = a·t²·(y + e^(−y) − 1)/y² with a = m·g·sin θ/m*, y = B·t/m*; with the drag brake off, a·t²/2.
    The worst case: running friction, detent torque and drive losses are taken as zero.

    Args:
        slope_deg: 0 to 60°.
        drag_brake_fraction: 0 (off) to 1.
        seconds: 0 to 86 400 s.
        mass_kg: 0.05 to 50 kg.
        tyre_diameter_mm: 20 to 300 mm.
        final_drive_ratio: 0.5 to 60.
        kv_rpm_per_v: 50 to 30 000 rpm/V.
        resistance_ohm: windings, leads and controller together, 0.0005 to 50 ohm.
        rotor_inertia_kg_m2: J, 0 to 0.01 kg·m²; 0 rolls furthest.

    Returns:
        The distance in metres.

    Raises:
        ValueError: a figure is out of range.

    Source: first-order linear motion; see the module's docstring.

    >>> round(roll_distance_m(3.0, 0.0, 2.0, 1.35, 63.0, 5.0, 2460, 0.02), 4)
    1.0265
    >>> round(roll_distance_m(3.0, 0.2, 2.0, 1.35, 63.0, 5.0, 2460, 0.02), 4)
    0.3003
    """
    slope = _slope_rad(slope_deg)
    time = number(seconds, "time", 0, 86_400, unit="s")
    mass = car_mass_kg(mass_kg)
    lever = motor_lever_m(tyre_diameter_mm, final_drive_ratio, 1.0)
    brake = _brake_n_s_per_m(drag_brake_fraction, lever, kv_rpm_per_v, resistance_ohm)
    inertia = number(rotor_inertia_kg_m2, "rotor's inertia", 0, 0.01, unit="kg·m²")
    moved_kg = mass + inertia / (lever * lever)
    start_m_s2 = mass * GRAVITY_M_S2 * math.sin(slope) / moved_kg
    return start_m_s2 * time * time * _ramp(brake * time / moved_kg)


def _ramp(y: float) -> float:
    """(y + e^(−y) − 1)/y², which is 1/2 at y = 0; its series where the difference would cancel."""
    if y > 0.5:
        return (y + math.expm1(-y)) / (y * y)
    total = 0.0
    term = 0.5
    for order in range(3, 16):
        total += term
        term *= -y / order
    return total
