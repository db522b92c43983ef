"""A direct-current or sensored brushless motor as voltage, resistance and Kv.

Ranges, generous enough for any model car: Kv 50–20 000 rpm/V, 0–60 V, resistance 0.0001–1000 Ω
(battery lead to battery lead, as the controller sees it), current up to 2000 A, speed up to
300 000 rpm, torque up to 1000 N·m.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from statistics import fmean, median
from typing import NamedTuple

from pitapp.limits import number, whole

COPPER_ZERO_C = 234.5
"""Copper's resistance falls on a line that would reach nothing at −234.5 °C (UL; IEEE 112, from a
secondary source)."""
COPPER_MELTS_C = 1085


def torque_constant_nm_per_a(kv_rpm_per_v: float) -> float:
    """Return the torque constant in N·m/A: 60 / (2π × Kv).

    Args:
        kv_rpm_per_v: 50–20 000 rpm/V.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: torque constant equals back-EMF constant in SI units; Burman, Special Electrical
    Machines, chapter 4.

    >>> round(torque_constant_nm_per_a(50), 6)
    0.190986
    """
    return 60 / (2 * math.pi * _kv(kv_rpm_per_v))


def free_speed_rpm(kv_rpm_per_v: float, volts: float) -> float:
    """Return the speed with nothing to drive and no losses: Kv × V, in rpm.

    Args:
        kv_rpm_per_v: 50–20 000 rpm/V.
        volts: 0–60 V.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: definition of Kv.

    >>> free_speed_rpm(2380, 7.4)
    17612.0
    """
    return _kv(kv_rpm_per_v) * _volts(volts)


def stall_current_a(volts: float, resistance_ohm: float) -> float:
    """Return the current of a held motor: V / R, in A.

    Args:
        volts: 0–60 V.
        resistance_ohm: 0.0001–1000 Ω.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: Ohm's law.

    >>> stall_current_a(7.2, 0.02)
    360.0
    """
    return _volts(volts) / _ohm(resistance_ohm)


def loaded_speed_rpm(
    kv_rpm_per_v: float, volts: float, resistance_ohm: float, torque_nm: float
) -> float:
    """Return the speed under load: Kv × (V − R × torque / Kt), in rpm.

    Args:
        kv_rpm_per_v: 50–20 000 rpm/V.
        volts: 0–60 V.
        resistance_ohm: 0.0001–1000 Ω.
        torque_nm: all that the magnets pull, the motor's own friction included, 0–1000 N·m.

    Raises:
        ValueError: a value outside its range, or more torque than the stalled motor gives.

    Source: the straight speed-torque line of a permanent-magnet motor, as in MIT's motor notes.

    >>> round(loaded_speed_rpm(50, 12, 7, 0.1), 2)
    416.74
    """
    kt = torque_constant_nm_per_a(kv_rpm_per_v)
    volts, ohm = _volts(volts), _ohm(resistance_ohm)
    torque = number(torque_nm, "torque", 0, 1000, unit="N·m")
    stall = volts / ohm * kt
    if torque > stall * (1 + 1e-12):
        raise ValueError(f"The motor stalls: it gives {stall:g} N·m, and {torque:g} N·m are asked.")
    return max(_kv(kv_rpm_per_v) * (volts - ohm * torque / kt), 0.0)


def peak_power_w(free_speed_rpm: float, stall_torque_nm: float) -> float:
    """Return the largest power at the shaft, at half the free speed: ω₀/2 × T/2, in W.

    Args:
        free_speed_rpm: 0–300 000 rpm.
        stall_torque_nm: torque of the held motor (stall current × torque constant), 0–1000 N·m.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: MIT's motor notes: power is greatest at half the free speed and half the stall torque.

    >>> round(peak_power_w(600, 0.325), 3)
    5.105
    """
    speed = number(free_speed_rpm, "free speed", 0, 300_000, unit="rpm")
    torque = number(stall_torque_nm, "stall torque", 0, 1000, unit="N·m")
    return speed * 2 * math.pi / 60 / 2 * torque / 2


def efficiency(
    volts: float, current_a: float, resistance_ohm: float, no_load_current_a: float
) -> float:
    """Return shaft power over electrical power, 0–1: (V − I·R) × (I − I₀) / (V × I).

    Args:
        volts: 0.1–60 V.
        current_a: from the no-load current to the stall current V/R, more than 0 A.
        resistance_ohm: 0.0001–1000 Ω.
        no_load_current_a: what the motor draws with nothing to drive, 0–2000 A.

    Raises:
        ValueError: a value outside its range, or a current that the motor cannot draw.

    Source: power balance of a permanent-magnet motor, from memory.

    >>> round(efficiency(7.4, 30, 0.02, 3), 4)
    0.827
    """
    volts, ohm = _volts(volts, 0.1), _ohm(resistance_ohm)
    no_load = number(no_load_current_a, "no-load current", 0, 2000, unit="A")
    current = number(current_a, "current", 0, unit="A", above=True)
    if current < no_load:
        raise ValueError(
            f"The motor draws {no_load:g} A with nothing to drive, so {current:g} A cannot be."
        )
    if current * ohm > volts * (1 + 1e-12):
        raise ValueError(
            f"A held motor draws {volts / ohm:g} A at most, so {current:g} A cannot be."
        )
    return max(1 - current * ohm / volts, 0.0) * (1 - no_load / current)


def winding_rise_k(cold_ohm: float, hot_ohm: float, cold_c: float) -> float:
    """Return how much hotter the copper winding is: (R₂ − R₁) / R₁ × (234.5 + t₁), in K.

    Args:
        cold_ohm: resistance of the winding cold, 0.0001–1000 Ω.
        hot_ohm: resistance between the same leads hot, 0.0001–1000 Ω.
        cold_c: temperature of the winding when cold, −40 to 100 °C.

    Raises:
        ValueError: a value outside its range, a hot resistance below the cold one, or copper hotter
            than its melting point.

    Source: rise by resistance, UL and IEEE 112 (from a secondary source); Kulshreshtha, example 2.18.

    >>> round(winding_rise_k(0.020, 0.022, 20), 2)
    25.45
    """
    cold = number(cold_ohm, "cold resistance", 0.0001, 1000, unit="Ω")
    hot = number(hot_ohm, "hot resistance", 0.0001, 1000, unit="Ω")
    cold_c = number(cold_c, "cold temperature", -40, 100, unit="°C")
    if hot < cold:
        raise ValueError(
            "The hot resistance is below the cold one: were they swapped, or was it not yet cold?"
        )
    rise = (hot - cold) / cold * (COPPER_ZERO_C + cold_c)
    if cold_c + rise > COPPER_MELTS_C:
        raise ValueError("With that hot resistance the copper would have melted: measure again.")
    return rise


def kv_from_bench(motor_rpm: float, volts: float) -> float:
    """Return Kv from a free-running motor: rpm / V.

    Friction makes this a little less than the Kv of a motor without losses: compare like with
    like.

    Args:
        motor_rpm: 1–300 000 rpm.
        volts: measured at the motor while it runs, 0.1–60 V.

    Raises:
        ValueError: a value outside its range, or a Kv of no motor (below 50 or above 20 000 rpm/V).

    Source: definition of Kv.

    >>> kv_from_bench(17500, 7.0)
    2500.0
    """
    rpm = number(motor_rpm, "motor speed", 1, 300_000, unit="rpm")
    return _kv(rpm / _volts(volts, 0.1))


class TimingSummary(NamedTuple):
    """Timing of all sensors together.

    Attributes:
        mean_deg: mean timing in degrees.
        spread_deg: largest less smallest reading in degrees.
        sensor_out: which reading is out, counted from 1, or None.
    """

    mean_deg: float
    spread_deg: float
    sensor_out: int | None


def timing_summary(degrees: Iterable[float], tolerance_deg: float = 1.0) -> TimingSummary:
    """Return mean and spread of the timing read at each sensor, and which sensor is out.

    A sensor is out when it alone is farthest from the middle reading, and by more than the
    tolerance. With fewer than three readings nobody can tell.

    Args:
        degrees: timing by sensor, one to twelve readings of −90 to 90°.
        tolerance_deg: what a bench cannot tell apart, 0–90°; one degree is from memory.

    Raises:
        ValueError: no reading or more than twelve, or a value outside its range.

    Source: arithmetic; reading timing by sensor is common practice, no source.

    >>> timing_summary([40, 40, 43])
    TimingSummary(mean_deg=41.0, spread_deg=3.0, sensor_out=3)
    """
    readings = [
        number(d, f"timing at sensor {i}", -90, 90, unit="°") for i, d in enumerate(degrees, 1)
    ]
    whole(len(readings), "number of timing readings", 1, 12)
    tolerance = number(tolerance_deg, "tolerance", 0, 90, unit="°")
    middle = median(readings)
    off = [abs(reading - middle) for reading in readings]
    farthest = max(off)
    alone = sum(farthest - o <= 1e-9 for o in off) == 1
    out = len(readings) >= 3 and alone and farthest > tolerance + 1e-9
    return TimingSummary(
        mean_deg=fmean(readings),
        spread_deg=max(readings) - min(readings),
        sensor_out=off.index(farthest) + 1 if out else None,
    )


def rotor_change_percent(kv_now: float, kv_when_new: float) -> float:
    """Return the change of the rotor's magnets since new: 100 × (Kv new / Kv now − 1), in %.

    Minus is weaker: a weaker rotor turns faster for each volt and pulls less for each ampere.
    Compare only readings taken at the same timing, voltage and temperature.

    Args:
        kv_now: Kv measured now, 50–20 000 rpm/V.
        kv_when_new: Kv measured in the same way when the rotor was new, 50–20 000 rpm/V.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: back-EMF is proportional to the magnets' flux, so Kv to its inverse; Burman, Special
    Electrical Machines, chapter 4.

    >>> rotor_change_percent(2500, 2400)
    -4.0
    """
    now = number(kv_now, "Kv now", 50, 20_000, unit="rpm/V")
    new = number(kv_when_new, "Kv when new", 50, 20_000, unit="rpm/V")
    return 100 * (new - now) / now


def _kv(kv_rpm_per_v: float) -> float:
    return number(kv_rpm_per_v, "Kv", 50, 20_000, unit="rpm/V")


def _volts(volts: float, least: float = 0) -> float:
    return number(volts, "voltage", least, 60, unit="V")


def _ohm(resistance_ohm: float) -> float:
    return number(resistance_ohm, "resistance", 0.0001, 1000, unit="Ω")


def lower_limit(first: float | None, second: float | None) -> float | None:
    """The rev limit that holds where there are two, one or none: a class's and a car's own.

    >>> lower_limit(14600, 12000.0), lower_limit(None, 12000.0), lower_limit(None, None)
    (12000.0, 12000.0, None)
    """
    return min((each for each in (first, second) if each is not None), default=None)
