"""What a still car and a creeping one have in common: its weight, and the lever of its gears."""

from __future__ import annotations

from pitapp.limits import number

GRAVITY_M_S2 = 9.80665
STEEPEST_DEG = 60.0


def car_mass_kg(value: float) -> float:
    """The car's mass if it can be one, 0.05 to 50 kg.

    Raises:
        ValueError: it is out of range.

    >>> car_mass_kg(1.35)
    1.35
    """
    return number(value, "car's mass", 0.05, 50, unit="kg")


def motor_lever_m(
    tyre_diameter_mm: float, final_drive_ratio: float, drive_efficiency: float
) -> float:
    """Metres of lever from a force at the tyre to a torque at the motor: r·η/FDR.

    Args:
        tyre_diameter_mm: 20 to 300 mm.
        final_drive_ratio: 0.5 to 60.
        drive_efficiency: 0.3 to 1.

    Raises:
        ValueError: a figure is out of range.

    Source: lever law.

    >>> round(motor_lever_m(63.0, 5.0, 1.0), 4)
    0.0063
    """
    radius_m = number(tyre_diameter_mm, "tyre diameter", 20, 300, unit="mm") / 2000
    ratio = number(final_drive_ratio, "final drive ratio", 0.5, 60)
    efficiency = number(drive_efficiency, "drive efficiency", 0.3, 1)
    return radius_m * efficiency / ratio
