"""What the class says to a motor check: timing, winding, and its limits on motors."""

from __future__ import annotations

from pitapp.bench.models import Finding, MotorCheck
from pitapp.kit.models import Motor
from pitapp.meetings.models import ClassLimit, RaceClass

ROUNDING_DEG = 1e-9


def class_findings(check: MotorCheck, motor: Motor, race_class: RaceClass | None) -> list[Finding]:
    """What the class says to the timing read and to the winding on record."""
    if race_class is None:
        return []
    findings = []
    if race_class.timing_deg is not None and check.timing_by_sensor:
        findings.append(
            _legal_timing(check, race_class.timing_deg, race_class.timing_tolerance_deg)
        )
    if race_class.winding:
        findings.append(_winding(motor.winding, race_class.winding))
    for limit in race_class.limits:
        value = _limited(check, limit)
        if value is not None:
            findings.append(_within(limit, value))
    return findings


def _limited(check: MotorCheck, limit: ClassLimit) -> float | None:
    """The reading that a class's own limit is about, told by its unit; None if it is no motor's."""
    ohm = check.resistance_ohm
    about_motor = "motor" in limit.name.casefold()
    by_unit = {
        "rpm/v": check.kv_rpm_per_v,
        "ω": ohm,
        "ohm": ohm,
        "mω": None if ohm is None else round(ohm * 1000, 6),
        "mohm": None if ohm is None else round(ohm * 1000, 6),
        "a": check.current_a if about_motor else None,
        "g": check.mass_g if about_motor else None,
    }
    return by_unit.get("".join(limit.unit.split()).casefold())


def _within(limit: ClassLimit, value: float) -> Finding:
    sentence = f"Class limit {limit.text}, measured {value:.5g}."
    if limit.within_limit(value):
        return Finding("good", f"{limit.name} legal", sentence)
    return Finding(
        "look" if limit.exactly is not None else "stop", f"{limit.name} not legal", sentence
    )


def _legal_timing(check: MotorCheck, asked_deg: float, tolerance_deg: float | None) -> Finding:
    tolerance = tolerance_deg or 0.0
    requirement = f"Class limit {asked_deg:g}°" + (f" ± {tolerance:g}°." if tolerance else ".")
    outside = [
        f"sensor {letter} reads {degrees:g}°"
        for letter, degrees in check.timing_by_sensor.items()
        if abs(degrees - asked_deg) > tolerance + ROUNDING_DEG
    ]
    if outside:
        sentence = ", ".join(outside)
        return Finding(
            "stop", "Timing not legal", f"{sentence[0].upper()}{sentence[1:]}. {requirement}"
        )
    return Finding("good", "Timing legal", requirement)


def _winding(own: str, required: str) -> Finding:
    if not own:
        return Finding("look", "Winding not on record", f"Class winding: {required}.")
    if "".join(own.split()).casefold() == "".join(required.split()).casefold():
        return Finding("good", "Winding legal", f"{own}.")
    return Finding(
        "look", "Is the winding legal?", f"Yours is noted as {own}, the class says {required}."
    )
