"""The gear train: ratio, rollout, road speed, pitch and centre distance.

Ranges, generous enough for any electric model car: pinion and spur 6–200 teeth, internal ratio
0.2–20, final drive ratio 0.5–60, tyre 10–400 mm, rollout 0.5–2600 mm per motor revolution, motor
up to 300 000 rpm, road speed up to 1000 km/h, diametral pitch 4–400 per inch, module 0.05–10 mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from pitapp.gearing.models import LEAST_MODULE_MM, LEAST_TEETH, MOST_MODULE_MM, MOST_TEETH
from pitapp.limits import number, whole
from pitapp.units import rounded_text

MM_PER_INCH = 25.4


def final_drive_ratio(spur_teeth: int, pinion_teeth: int, internal_ratio: float = 1.0) -> float:
    """Return the motor's revolutions per wheel revolution: spur / pinion × internal ratio.

    Args:
        spur_teeth: teeth on the spur, 6–200.
        pinion_teeth: teeth on the pinion, 6–200.
        internal_ratio: everything between spur and wheel, 0.2–20 (1 if the spur is on the axle).

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: speed ratio of a gear train as the product of its tooth ratios, Wentzell, Machine
    Design, chapter 11.

    >>> final_drive_ratio(60, 20, 3)
    9.0
    """
    spur = whole(spur_teeth, "spur", LEAST_TEETH, MOST_TEETH, unit="teeth")
    pinion = whole(pinion_teeth, "pinion", LEAST_TEETH, MOST_TEETH, unit="teeth")
    return spur / pinion * _internal(internal_ratio)


def ratio_texts(final_drive_ratios: Sequence[float]) -> list[str]:
    """Return final drive ratios as they are read in one list: with two decimals.

    Those that would read the same though they differ get three.

    Args:
        final_drive_ratios: motor revolutions per wheel revolution, 0–1000 each.

    Raises:
        ValueError: a value outside its range, or not a number.

    >>> ratio_texts([2.7867, 2.7913, 2.85, 2.85])
    ['2.787', '2.791', '2.85', '2.85']
    """
    ratios = [number(ratio, "final drive ratio", 0, 1000) for ratio in final_drive_ratios]
    alike: dict[str, set[str]] = {}
    for ratio in ratios:
        alike.setdefault(rounded_text(ratio, 2), set()).add(rounded_text(ratio, 3))
    return [
        rounded_text(ratio, 3 if len(alike[rounded_text(ratio, 2)]) > 1 else 2) for ratio in ratios
    ]


def rollout_mm(tyre_diameter_mm: float, final_drive_ratio: float) -> float:
    """Return how far the car rolls in one motor revolution: π × tyre diameter / FDR, in mm.

    Args:
        tyre_diameter_mm: as the tyre stands on the track, 10–400 mm.
        final_drive_ratio: motor revolutions per wheel revolution, 0.5–60.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: circumference of a circle; the word and its use are common practice, no source.

    >>> round(rollout_mm(63, 4.5), 3)
    43.982
    """
    return math.pi * _tyre(tyre_diameter_mm) / _ratio(final_drive_ratio)


def ratio_for_rollout(tyre_diameter_mm: float, rollout_mm: float) -> float:
    """Return the final drive ratio that gives a wanted rollout: π × tyre diameter / rollout.

    Args:
        tyre_diameter_mm: as the tyre stands on the track, 10–400 mm.
        rollout_mm: distance per motor revolution, 0.5–2600 mm.

    Raises:
        ValueError: a value outside its range, or a ratio of no car (below 0.5 or above 60).

    Source: circumference of a circle.

    >>> round(ratio_for_rollout(63, 43.98229715025711), 6)
    4.5
    """
    return _ratio(math.pi * _tyre(tyre_diameter_mm) / _rollout(rollout_mm))


def road_speed_kmh(motor_rpm: float, rollout_mm: float) -> float:
    """Return the road speed in km/h: rpm × rollout × 60 / 10⁶ (no slip, no tyre growth).

    Args:
        motor_rpm: 0–300 000 rpm.
        rollout_mm: distance per motor revolution, 0.5–2600 mm.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: definition of speed; 1 km = 10⁶ mm, 1 h = 60 min.

    >>> road_speed_kmh(14600, 50)
    43.8
    """
    rpm = number(motor_rpm, "motor speed", 0, 300_000, unit="rpm")
    return rpm * _rollout(rollout_mm) * 60 / 1e6


def motor_rpm_at(road_speed_kmh: float, rollout_mm: float) -> float:
    """Return the motor speed in rpm at a road speed: km/h × 10⁶ / (60 × rollout).

    Args:
        road_speed_kmh: 0–1000 km/h.
        rollout_mm: distance per motor revolution, 0.5–2600 mm.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: the inverse of `road_speed_kmh`.

    >>> motor_rpm_at(43.8, 50)
    14600.0
    """
    speed = number(road_speed_kmh, "road speed", 0, 1000, unit="km/h")
    return speed * 1e6 / (60 * _rollout(rollout_mm))


def module_mm_from_diametral_pitch(diametral_pitch: float) -> float:
    """Return the module in mm of gears given by teeth per inch of pitch diameter: 25.4 / DP.

    Args:
        diametral_pitch: teeth per inch of pitch diameter, 4–400.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: ISO 54 and any metric pitch table.

    >>> round(module_mm_from_diametral_pitch(64), 4)
    0.3969
    """
    pitch = number(diametral_pitch, "diametral pitch", 4, 400, unit="teeth per inch")
    return MM_PER_INCH / pitch


def centre_distance_mm(spur_teeth: int, pinion_teeth: int, module_mm: float) -> float:
    """Return the distance between the two shafts: module × (spur + pinion) / 2, in mm.

    Args:
        spur_teeth: teeth on the spur, 6–200.
        pinion_teeth: teeth on the pinion, 6–200.
        module_mm: pitch diameter per tooth, 0.05–10 mm.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: half the sum of the pitch diameters, Wentzell, Machine Design, chapter 11.

    >>> centre_distance_mm(80, 40, 0.5)
    30.0
    """
    spur = whole(spur_teeth, "spur", LEAST_TEETH, MOST_TEETH, unit="teeth")
    pinion = whole(pinion_teeth, "pinion", LEAST_TEETH, MOST_TEETH, unit="teeth")
    module = number(module_mm, "module", LEAST_MODULE_MM, MOST_MODULE_MM, unit="mm")
    return module * (spur + pinion) / 2


def shared_tooth_period(spur_teeth: int, pinion_teeth: int) -> int:
    """Return the spur's revolutions until the same two teeth meet again: pinion / gcd.

    The longer, the more evenly both gears wear; pairs without a common factor are the best.

    Args:
        spur_teeth: teeth on the spur, 6–200.
        pinion_teeth: teeth on the pinion, 6–200.

    Raises:
        ValueError: a value outside its range, or not a number.

    Source: W. C. Foiles, Gear Frequencies Using the Euclidean Algorithm.

    >>> shared_tooth_period(30, 11), shared_tooth_period(60, 20)
    (11, 1)
    """
    spur = whole(spur_teeth, "spur", LEAST_TEETH, MOST_TEETH, unit="teeth")
    pinion = whole(pinion_teeth, "pinion", LEAST_TEETH, MOST_TEETH, unit="teeth")
    return pinion // math.gcd(spur, pinion)


def _internal(internal_ratio: float) -> float:
    return number(internal_ratio, "internal ratio", 0.2, 20)


def _ratio(final_drive_ratio: float) -> float:
    return number(final_drive_ratio, "final drive ratio", 0.5, 60)


def _tyre(tyre_diameter_mm: float) -> float:
    return number(tyre_diameter_mm, "tyre diameter", 10, 400, unit="mm")


def _rollout(rollout_mm: float) -> float:
    return number(rollout_mm, "rollout", 0.5, 2600, unit="mm")
