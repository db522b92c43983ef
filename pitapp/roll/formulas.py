"""Will the parked car roll away? A still motor holds by its detent torque and friction alone.

A drag brake gives a torque proportional to speed: it slows a roll and cannot hold a car still.
Park across a slope, wheels against something, and never look away. A longer gear (a lower final
drive ratio) and a weaker rotor both lower the hold angle: do the tilt test again after each.

Slope force F = m·g·(sin θ − Crr·cos θ); at the motor T = F·r·η/FDR.

Source: statics of the inclined plane and the permanent-magnet motor's Kt = 60/(2π·Kv), brake
torque d·Kt²·ω/R with the windings shorted for a share d of the time (any machines textbook).
"""

from __future__ import annotations

import math

from pitapp.limits import number

GRAVITY_M_S2 = 9.80665

_STEEPEST_TEST_DEG = 60.0


def _slope_deg(value: float) -> float:
    return number(value, "slope", 0, _STEEPEST_TEST_DEG, unit="°")


def _motor_lever_m(
    tyre_diameter_mm: float, final_drive_ratio: float, drive_efficiency: float
) -> float:
    """Metres of lever from a force at the tyre to a torque at the motor: r·η/FDR."""
    radius_m = number(tyre_diameter_mm, "tyre diameter", 20, 300, unit="mm") / 2000
    ratio = number(final_drive_ratio, "final drive ratio", 0.5, 60)
    efficiency = number(drive_efficiency, "drive efficiency", 0.3, 1)
    return radius_m * efficiency / ratio


def _mass_kg(value: float) -> float:
    return number(value, "car's mass", 0.05, 50, unit="kg")


def _rolling_resistance(value: float) -> float:
    return number(value, "rolling resistance", 0, 0.2)


def tilt_angle_deg(rise_mm: float, board_length_mm: float) -> float:
    """Angle of a tilted board from a ruler: asin(rise / length).

    Args:
        rise_mm: how far the raised end is above the other, 0 to the board's length.
        board_length_mm: length along the board, 50 to 10 000 mm.

    Returns:
        The angle in degrees.

    Raises:
        ValueError: a length is out of range or the rise is more than the board.

    Source: trigonometry.

    >>> round(tilt_angle_deg(100, 1000), 2)
    5.74
    """
    length = number(board_length_mm, "board's length", 50, 10_000, unit="mm")
    rise = number(rise_mm, "rise", 0, length, unit="mm")
    return math.degrees(math.asin(rise / length))


def holding_torque_nm(
    tilt_angle_deg: float,
    mass_kg: float,
    tyre_diameter_mm: float,
    final_drive_ratio: float,
    drive_efficiency: float = 0.9,
    rolling_resistance: float = 0.02,
) -> float:
    """Torque at the motor that just held in a tilt test: T = m·g·(sin θ − Crr·cos θ)·r·η/FDR.

    Switch the drag brake off (controller off) and leave the gear fitted; tilt slowly until the car
    rolls. Hold a hand below the car.

    Args:
        tilt_angle_deg: angle at which the car began to roll, more than the angle that the tyres
            alone would hold, up to 60°.
        mass_kg: ready to race, 0.05 to 50 kg.
        tyre_diameter_mm: 20 to 300 mm.
        final_drive_ratio: the gear that is fitted, 0.5 to 60.
        drive_efficiency: η of the drive line, 0.3 to 1 (0.9: common practice, no source).
        rolling_resistance: Crr, 0 to 0.2 (0.02: from memory, a rubber tyre on a board).

    Returns:
        The motor's holding torque in N·m.

    Raises:
        ValueError: a figure is out of range, or the angle is one that the tyres alone would hold.

    Source: inclined plane; see the module's docstring.

    >>> round(holding_torque_nm(6.0, 1.35, 63.0, 5.0), 5)
    0.00635
    """
    angle = math.radians(number(tilt_angle_deg, "tilt angle", 0, _STEEPEST_TEST_DEG, unit="°"))
    weight = _mass_kg(mass_kg) * GRAVITY_M_S2
    crr = _rolling_resistance(rolling_resistance)
    lever = _motor_lever_m(tyre_diameter_mm, final_drive_ratio, drive_efficiency)
    share = math.sin(angle) - crr * math.cos(angle)
    if share < 0:
        raise ValueError(
            f"At {tilt_angle_deg:g}° the tyres' rolling resistance alone would hold the car, so "
            "this test says nothing of the motor. Tilt further or give a lower rolling resistance."
        )
    return weight * share * lever


def hold_angle_deg(
    holding_torque_nm: float,
    final_drive_ratio: float,
    mass_kg: float,
    tyre_diameter_mm: float,
    drive_efficiency: float = 0.9,
    rolling_resistance: float = 0.02,
) -> float:
    """Steepest slope on which the motor holds, from sin θ − Crr·cos θ = T·FDR/(r·η·m·g).

    θ = atan(Crr) + asin(K/√(1 + Crr²)) with K the right-hand side.

    Args:
        holding_torque_nm: from a tilt test, 0 to 10 N·m.
        final_drive_ratio: the gear in question, 0.5 to 60.
        mass_kg: 0.05 to 50 kg.
        tyre_diameter_mm: 20 to 300 mm.
        drive_efficiency: 0.3 to 1.
        rolling_resistance: 0 to 0.2.

    Returns:
        The angle in degrees, at most 90 (the tyres slide long before).

    Raises:
        ValueError: a figure is out of range.

    Source: inclined plane; see the module's docstring.

    >>> round(hold_angle_deg(0.00635, 5.0, 1.35, 63.0), 2)
    6.0
    >>> round(hold_angle_deg(0.00635, 2.5, 1.35, 63.0), 2)
    3.57
    """
    torque = number(holding_torque_nm, "holding torque", 0, 10, unit="N·m")
    weight = _mass_kg(mass_kg) * GRAVITY_M_S2
    crr = _rolling_resistance(rolling_resistance)
    lever = _motor_lever_m(tyre_diameter_mm, final_drive_ratio, drive_efficiency)
    sine = torque / (lever * weight) / math.hypot(1, crr)
    if sine >= 1:
        return 90.0
    return min(90.0, math.degrees(math.atan(crr) + math.asin(sine)))


def holding_force_n(
    holding_torque_nm: float,
    final_drive_ratio: float,
    tyre_diameter_mm: float,
    drive_efficiency: float = 0.9,
) -> float:
    """Force at the tyres that a holding torque withstands: T·FDR/(r·η); half the ratio, half of it.

    Args:
        holding_torque_nm: 0 to 10 N·m.
        final_drive_ratio: 0.5 to 60.
        tyre_diameter_mm: 20 to 300 mm.
        drive_efficiency: 0.3 to 1.

    Returns:
        The force in newtons.

    Raises:
        ValueError: a figure is out of range.

    Source: lever law.

    >>> round(holding_force_n(0.0063, 5.0, 63.0, 1.0), 6)
    1.0
    """
    torque = number(holding_torque_nm, "holding torque", 0, 10, unit="N·m")
    return torque / _motor_lever_m(tyre_diameter_mm, final_drive_ratio, drive_efficiency)


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
    slope = math.radians(_slope_deg(slope_deg))
    weight = _mass_kg(mass_kg) * GRAVITY_M_S2
    lever = _motor_lever_m(tyre_diameter_mm, final_drive_ratio, 1.0)
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
    slope = math.radians(_slope_deg(slope_deg))
    time = number(seconds, "time", 0, 86_400, unit="s")
    mass = _mass_kg(mass_kg)
    lever = _motor_lever_m(tyre_diameter_mm, final_drive_ratio, 1.0)
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
