"""A still car on a slope: what its motor holds by its detent torque and friction.

Slope force F = m·g·(sin θ − Crr·cos θ); at the motor T = F·r·η/FDR.

Source: statics of the inclined plane (any mechanics textbook).
"""

from __future__ import annotations

import math

from pitapp.limits import number
from pitapp.roll.geometry import GRAVITY_M_S2, STEEPEST_DEG, car_mass_kg, motor_lever_m


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
    angle = math.radians(number(tilt_angle_deg, "tilt angle", 0, STEEPEST_DEG, unit="°"))
    weight = car_mass_kg(mass_kg) * GRAVITY_M_S2
    crr = _rolling_resistance(rolling_resistance)
    lever = motor_lever_m(tyre_diameter_mm, final_drive_ratio, drive_efficiency)
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
    weight = car_mass_kg(mass_kg) * GRAVITY_M_S2
    crr = _rolling_resistance(rolling_resistance)
    lever = motor_lever_m(tyre_diameter_mm, final_drive_ratio, drive_efficiency)
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
    return torque / motor_lever_m(tyre_diameter_mm, final_drive_ratio, drive_efficiency)
