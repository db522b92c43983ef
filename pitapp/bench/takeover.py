"""From a check into the motor's record: what was measured there and stands differently here."""

from __future__ import annotations

from typing import NamedTuple

from pitapp.bench.models import MotorCheck
from pitapp.kit.models import Motor


class MeasuredValue(NamedTuple):
    """A measured value that the motor's record could take.

    Attributes:
        name: the field of the record.
        label: what it is called.
        measured: the value to take over, rounded to what a bench can tell.
        recorded: what stands in the record, or None.
    """

    name: str
    label: str
    measured: float
    recorded: float | None

    def text(self, value: float | None) -> str:
        """A value of this kind with its unit."""
        if value is None:
            return "empty"
        if self.name == "resistance_ohm":
            return f"{value * 1000:.6g} mΩ"
        return f"{value:.6g} {'A' if self.name == 'no_load_current_a' else 'rpm/V'}"


def measured_values(check: MotorCheck, motor: Motor) -> list[MeasuredValue]:
    """What this check could put into the motor's record and would change there.

    >>> from datetime import UTC, datetime
    >>> day = datetime(2026, 5, 3, tzinfo=UTC)
    >>> check = MotorCheck(motor_id=1, checked_at=day, free_rpm=17500, volts=7, current_a=2)
    >>> motor = Motor(id=1, name="Invented", kv_rpm_per_v=2380, no_load_current_a=2)
    >>> [(offer.name, offer.measured) for offer in measured_values(check, motor)]
    [('kv_rpm_per_v', 2500.0)]
    """
    kv = check.kv_rpm_per_v
    measured = (
        ("kv_rpm_per_v", "Kv", None if kv is None else float(round(kv)), motor.kv_rpm_per_v),
        ("no_load_current_a", "No-load current", check.current_a, motor.no_load_current_a),
        ("resistance_ohm", "Resistance", check.resistance_ohm, motor.resistance_ohm),
    )
    return [
        MeasuredValue(name, label, value, recorded)
        for name, label, value, recorded in measured
        if value is not None and value != recorded
    ]


def with_measured_value(motor: Motor, offer: MeasuredValue) -> Motor:
    """The motor's record with that value in it."""
    return motor.model_copy(update={offer.name: offer.measured})
