"""What a motor check means: beside the motor when new, the class, and the racer's other motors.

Every threshold here is common practice with no published source, or from memory, and the screens
say so. A finding never says more than the readings can: checks made under other conditions are
named as such.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from statistics import median
from typing import NamedTuple

from pitapp.bench.legal import ROUNDING_DEG, class_findings
from pitapp.bench.models import Finding, MotorCheck
from pitapp.kit.models import Motor
from pitapp.meetings.models import RaceClass
from pitapp.motor.formulas import rotor_change_percent

SAME_VOLTS_PERCENT = 3.0
SAME_TIMING_DEG = 1.0
SAME_CAN_K = 10.0
BENCH_PERCENT = 2.0
WEAK_PERCENT = 5.0
CURRENT_PERCENT = 10.0
HIGH_CURRENT_PERCENT = 25.0
SENSOR_SPREAD_DEG = 1.0
LIKE_KV_PERCENT = 10.0


class Change(NamedTuple):
    """A check beside an earlier one.

    Attributes:
        rotor_percent: change of the rotor's magnets, minus is weaker; None without both Kv.
        current_percent: change of the free-running current; None without both.
        unlike: what was not the same at the two checks, as ends of a sentence.
    """

    rotor_percent: float | None
    current_percent: float | None
    unlike: tuple[str, ...]


def change_since(now: MotorCheck, new: MotorCheck) -> Change:
    """Compare a check with the one from when the motor was new.

    Rotor change is 100 × (Kv new / Kv now − 1), current change 100 × (I now / I new − 1), in %.

    >>> from datetime import UTC, datetime
    >>> day = datetime(2026, 5, 3, tzinfo=UTC)
    >>> new = MotorCheck(motor_id=1, checked_at=day, free_rpm=16800, volts=7, current_a=2)
    >>> now = MotorCheck(motor_id=1, checked_at=day, free_rpm=17500, volts=7, current_a=2.5)
    >>> change_since(now, new)
    Change(rotor_percent=-4.0, current_percent=25.0, unlike=())
    """
    kv_now, kv_new = now.kv_rpm_per_v, new.kv_rpm_per_v
    current = None
    if now.current_a is not None and new.current_a:
        current = round(100 * (now.current_a - new.current_a) / new.current_a, 9)
    return Change(
        rotor_change_percent(kv_now, kv_new) if kv_now and kv_new else None,
        current,
        _unlike(now, new),
    )


def _unlike(now: MotorCheck, new: MotorCheck) -> tuple[str, ...]:
    differences = []
    if now.volts and new.volts and _percent_off(now.volts, new.volts) > SAME_VOLTS_PERCENT:
        differences.append(f"the voltage ({now.volts:g} V now, {new.volts:g} V then)")
    timing_now, timing_new = now.timing, new.timing
    if timing_now and timing_new:
        off = abs(timing_now.mean_deg - timing_new.mean_deg)
        if off > SAME_TIMING_DEG + ROUNDING_DEG:
            differences.append(
                f"the timing ({timing_now.mean_deg:.1f}° now, {timing_new.mean_deg:.1f}°)"
            )
    if now.can_c is not None and new.can_c is not None and abs(now.can_c - new.can_c) > SAME_CAN_K:
        differences.append("the can's temperature")
    return tuple(differences)


def _percent_off(value: float, reference: float) -> float:
    return 100 * abs(value - reference) / reference


def findings(
    check: MotorCheck,
    motor: Motor,
    new: MotorCheck | None,
    race_class: RaceClass | None,
    others: Sequence[tuple[Motor, MotorCheck]] = (),
) -> list[Finding]:
    """Everything there is to say about a check, the most urgent first.

    Args:
        check: the check judged.
        motor: its motor.
        new: what to compare it with, or None when there is nothing earlier.
        race_class: the class raced under, if any.
        others: the racer's other motors with their newest checks.
    """
    results = [*class_findings(check, motor, race_class), *_sensors(check)]
    if new is not None and new.id != check.id:
        change = change_since(check, new)
        results += [*_conditions(change), *_rotor(change), *_current(change)]
    results += _beside(check, motor, others)
    return sorted(results, key=lambda finding: ("stop", "look", "good").index(finding.level))


def _sensors(check: MotorCheck) -> list[Finding]:
    timing = check.timing
    if timing is None or len(check.timing_by_sensor) < 2:
        return []
    sentence = f"Mean {timing.mean_deg:.1f}°, spread {timing.spread_deg:.1f}°."
    if timing.sensor_out is not None:
        letter = list(check.timing_by_sensor)[timing.sensor_out - 1]
        return [
            Finding(
                "look",
                f"Sensor {letter} is out",
                sentence,
                "A sensor board that sits askew or a tired sensor; the motor runs rougher and "
                "hotter.",
            )
        ]
    if timing.spread_deg > SENSOR_SPREAD_DEG + ROUNDING_DEG:
        return [Finding("look", "Sensors apart", f"{sentence} No single one is out.")]
    return [Finding("good", "Sensors agree", sentence)]


def _conditions(change: Change) -> list[Finding]:
    if not change.unlike:
        return []
    return [
        Finding(
            "look",
            "Not comparable",
            f"Another value for {' and '.join(change.unlike)}. Repeat the check as the first was.",
        )
    ]


def _rotor(change: Change) -> list[Finding]:
    percent = change.rotor_percent
    if percent is None:
        return []
    if percent < -WEAK_PERCENT:
        return [
            Finding(
                "look",
                "Rotor much weaker",
                f"{-percent:.1f} % since new.",
                "Time for another rotor. Until then a shorter gear (higher FDR), and watch the "
                "can's temperature.",
            )
        ]
    if percent < -BENCH_PERCENT:
        return [
            Finding(
                "look",
                "Rotor weaker",
                f"{-percent:.1f} % since new.",
                "It turns faster for each volt, pulls less for each ampere and runs hotter.",
            )
        ]
    if percent > BENCH_PERCENT:
        return [
            Finding(
                "look",
                "Stronger than new?",
                f"{percent:.1f} % more than when new.",
                "Magnets do not grow stronger: check timing, voltage and temperature of both "
                "checks.",
            )
        ]
    return [
        Finding(
            "good", "Rotor as new", f"Within the {BENCH_PERCENT:g} % that a bench can tell apart."
        )
    ]


def _current(change: Change) -> list[Finding]:
    percent = change.current_percent
    if percent is None:
        return []
    if percent < -CURRENT_PERCENT:
        return [
            Finding(
                "good",
                "Draws less than new",
                f"{-percent:.0f} % less.",
                "Bearings run in or cleaned, or less timing than then.",
            )
        ]
    if percent <= CURRENT_PERCENT:
        return [Finding("good", "Current as new", f"Within {CURRENT_PERCENT:g} %.")]
    weaker = change.rotor_percent is not None and change.rotor_percent < -BENCH_PERCENT
    cause = (
        "It goes with the weaker rotor or with more timing."
        if weaker
        else "Dirt, dry bearings, a rubbing rotor or more timing: clean, oil, look at the shims."
    )
    word = "Draws much more" if percent > HIGH_CURRENT_PERCENT else "Draws more"
    return [Finding("look", word, f"{percent:.0f} % more than new.", cause)]


def are_alike(motor: Motor, other: Motor) -> bool:
    """Whether two motors can be compared: the same winding, or without one a Kv within 10 %."""
    if motor.winding and other.winding:
        return motor.winding.strip().casefold() == other.winding.strip().casefold()
    return _percent_off(other.kv_rpm_per_v, motor.kv_rpm_per_v) <= LIKE_KV_PERCENT


def _beside(
    check: MotorCheck, motor: Motor, others: Sequence[tuple[Motor, MotorCheck]]
) -> list[Finding]:
    alike = [theirs for other, theirs in others if are_alike(motor, other)]
    parts, far = [], False
    for name, read, far_percent in _READ:
        own = read(check)
        values = [value for value in map(read, alike) if value]
        if own is None or not values:
            continue
        off = 100 * (own / median(values) - 1)
        far = far or abs(off) > far_percent
        parts.append(f"{name} {abs(off):.1f} % {'above' if off >= 0 else 'below'}")
    if not parts:
        return []
    whom = f"the middle of your other {len(alike)}" if len(alike) > 1 else "your other one"
    sentence = f"{' and '.join(parts)} {whom} of this kind."
    return [
        Finding("look" if far else "good", "Beside your others", sentence[0].upper() + sentence[1:])
    ]


_READ: tuple[tuple[str, Callable[[MotorCheck], float | None], float], ...] = (
    ("Kv", lambda one: one.kv_rpm_per_v, WEAK_PERCENT),
    ("current", lambda one: one.current_a, HIGH_CURRENT_PERCENT),
)
