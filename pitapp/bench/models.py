"""A motor check: what one session on the bench has read."""

from __future__ import annotations

from typing import Literal, NamedTuple

from pydantic import Field, ValidationInfo, field_validator, model_validator

from pitapp.dates import Moment
from pitapp.kit.models import Remarks
from pitapp.motor.formulas import TimingSummary, kv_from_bench, timing_summary
from pitapp.record import Record

Level = Literal["good", "look", "stop"]
SENSORS = ("A", "B", "C")
READINGS = (
    "free_rpm",
    "current_a",
    "sensor_a_deg",
    "sensor_b_deg",
    "sensor_c_deg",
    "resistance_ohm",
    "mass_g",
)


class MotorCheck(Record):
    """The readings of one motor at one time; what was not measured is None.

    `heard_spread_rpm` marks free revs that the phone has heard: their spread, one standard deviation.
    """

    id: int = 0
    motor_id: int
    checked_at: Moment
    as_new: bool = False
    free_rpm: float | None = Field(None, ge=100, le=300_000)
    volts: float | None = Field(None, ge=0.1, le=60, validate_default=True)
    heard_spread_rpm: float | None = Field(None, ge=0, le=5_000)
    current_a: float | None = Field(None, ge=0, le=200)
    sensor_a_deg: float | None = Field(None, ge=-90, le=90)
    sensor_b_deg: float | None = Field(None, ge=-90, le=90)
    sensor_c_deg: float | None = Field(None, ge=-90, le=90)
    can_c: float | None = Field(None, ge=-20, le=200)
    resistance_ohm: float | None = Field(None, ge=0.0001, le=100)
    mass_g: float | None = Field(None, gt=0, le=10_000)
    remarks: Remarks = ""
    version: int = 1

    @field_validator("volts")
    @classmethod
    def _beside_the_speed(cls, volts: float | None, info: ValidationInfo) -> float | None:
        rpm = info.data.get("free_rpm")
        if rpm is None:
            return volts
        if volts is None:
            raise ValueError("At what voltage? Measure it at the motor while it runs.")
        try:
            kv_from_bench(rpm, volts)
        except ValueError:
            raise ValueError(
                f"{rpm:g} rpm at {volts:g} V is a Kv of {rpm / volts:.0f} rpm/V, and no motor has "
                "that. Check both."
            ) from None
        return volts

    @model_validator(mode="after")
    def _something_was_read(self) -> MotorCheck:
        if all(getattr(self, name) is None for name in READINGS):
            raise ValueError("Write down at least one reading.")
        return self

    @property
    def kv_rpm_per_v(self) -> float | None:
        """Kv from the free speed and its voltage, or None when the speed was not measured."""
        if self.free_rpm is None or self.volts is None:
            return None
        return kv_from_bench(self.free_rpm, self.volts)

    @property
    def timing_by_sensor(self) -> dict[str, float]:
        """The timing read, by the sensor's letter."""
        read = (self.sensor_a_deg, self.sensor_b_deg, self.sensor_c_deg)
        return {
            letter: degrees
            for letter, degrees in zip(SENSORS, read, strict=True)
            if degrees is not None
        }

    @property
    def timing(self) -> TimingSummary | None:
        """Mean, spread and the sensor that is out, or None when no timing was read."""
        read = self.timing_by_sensor
        return timing_summary(read.values()) if read else None


class Finding(NamedTuple):
    """One judgement in words; `practice` marks what is common practice and not a measurement."""

    level: Level
    word: str
    reason: str = ""
    practice: str = ""
