"""Whether the car stays where it is put, with the gear and the motor that are in it now. Pure."""

from __future__ import annotations

from typing import Literal, NamedTuple

from pitapp.gearing.answer import GearFit
from pitapp.kit.models import Car, Motor
from pitapp.roll.formulas import creep_speed_m_s, hold_angle_deg, holding_torque_nm, roll_distance_m
from pitapp.roll.models import Parking, TiltTest

MARGIN = 0.5
"""Share of the hold angle up to which a parked car is called safe: our choice."""
UNKNOWN_OHM = 0.03
"""Windings, leads and controller where the motor's resistance is not on record: from memory."""
LEADS_OHM = 0.005
"""Leads and controller beside a motor's own resistance: from memory."""
WEAKER_SHARE = 0.01
"""A Kv that has risen by more says that the rotor has got weaker: our choice."""
SECONDS = (10, 30, 60)


class HoldResult(NamedTuple):
    """What the last tilt test says of the car as it is now."""

    now_deg: float
    reminders: tuple[str, ...]


class Creep(NamedTuple):
    """How far a car rolls in each of `SECONDS`, at worst, and its last speed (None: no last one)."""

    distances_m: tuple[float, ...]
    speed_m_s: float | None
    assumed_ohm: bool


class ParkingVerdict(NamedTuple):
    """Whether it stays: a level, a word and the reason."""

    level: Literal["good", "look", "stop"]
    word: str
    reason: str


def hold(car: Car, motor: Motor | None, fit: GearFit, test: TiltTest) -> HoldResult:
    """The angle up to which the motor holds the car in the gear that is fitted now.

    Raises:
        ValueError: the test's figures cannot be, or the tyres alone would have held the car.
    """
    torque = holding_torque_nm(
        test.angle_deg, test.mass_g / 1000, test.tyre_diameter_mm, test.final_drive_ratio
    )
    mass_kg = (car.mass_g or test.mass_g) / 1000
    now_deg = hold_angle_deg(torque, fit.final_drive_ratio, mass_kg, fit.tyre_diameter_mm)
    return HoldResult(now_deg, tuple(reminders(motor, fit, test, now_deg)))


def reminders(motor: Motor | None, fit: GearFit, test: TiltTest, now_deg: float) -> list[str]:
    """Changes since the tilt test that let the car roll sooner."""
    sentences = []
    if fit.final_drive_ratio < test.final_drive_ratio * (1 - 1e-9):
        sentences.append(
            f"A longer gear is fitted since the tilt test: it now holds to about {now_deg:.1f}° "
            f"instead of {test.angle_deg:.1f}°. Test again."
        )
    tested_kv = test.kv_rpm_per_v
    weaker = bool(motor and tested_kv and motor.kv_rpm_per_v > tested_kv * (1 + WEAKER_SHARE))
    if (motor.id if motor else None) != test.motor_id:
        sentences.append(
            "A weaker motor is fitted since the tilt test, by its Kv. Test again."
            if weaker
            else "Another motor is fitted since the tilt test. Test again."
        )
    elif weaker:
        sentences.append("The rotor has got weaker since the tilt test, by its Kv. Test again.")
    return sentences


def creep(car_mass_g: float, motor: Motor, fit: GearFit, parking: Parking) -> Creep:
    """How far the car rolls with its drag brake on, running friction taken as nothing.

    Raises:
        ValueError: a figure is out of the formulas' range.
    """
    resistance_ohm = motor.resistance_ohm
    ohm = resistance_ohm + LEADS_OHM if resistance_ohm else UNKNOWN_OHM
    brake = parking.drag_brake_percent / 100
    figures = (
        car_mass_g / 1000,
        fit.tyre_diameter_mm,
        fit.final_drive_ratio,
        motor.kv_rpm_per_v,
        ohm,
    )
    distances = tuple(
        roll_distance_m(parking.slope_deg, brake, seconds, *figures) for seconds in SECONDS
    )
    speed = creep_speed_m_s(parking.slope_deg, brake, *figures) if brake > 0 else None
    return Creep(distances, speed, resistance_ohm is None)


def parking_verdict(result: HoldResult | None, slope_deg: float) -> ParkingVerdict:
    """Whether a parked car stays on that slope, by the tilt test alone."""
    if result is None:
        return ParkingVerdict("stop", "Not known", "Do the tilt test. Until then assume it rolls.")
    if slope_deg > result.now_deg:
        return ParkingVerdict(
            "stop", "It rolls", f"The motor holds to about {result.now_deg:.1f}° only."
        )
    if slope_deg > MARGIN * result.now_deg:
        reason = f"The motor holds to about {result.now_deg:.1f}°: too close to call."
        return ParkingVerdict("look", "It may roll", reason)
    if result.reminders:
        reason = f"The motor should hold to about {result.now_deg:.1f}°: calculated, not tested."
        return ParkingVerdict("look", "It may roll", reason)
    return ParkingVerdict("good", "It stays", f"The motor holds to about {result.now_deg:.1f}°.")
