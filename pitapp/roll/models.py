"""Tilt tests, and how a car is parked."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitapp.dates import Moment
from pitapp.gearing.formulas import final_drive_ratio
from pitapp.record import Record

STEEPEST_DEG = 45.0


class TiltTest(Record):
    """The angle at which a car began to roll, drag brake off, with what was fitted then."""

    id: int = 0
    car_id: int
    motor_id: int | None = None
    tested_at: Moment
    angle_deg: float = Field(gt=0, le=STEEPEST_DEG)
    read_by: Literal["typed", "sensor"] = "typed"
    mass_g: float = Field(ge=50, le=50_000)
    tyre_diameter_mm: float = Field(ge=20, le=300)
    pinion_teeth: int
    spur_teeth: int
    internal_ratio: float
    kv_rpm_per_v: float | None = None

    @property
    def final_drive_ratio(self) -> float:
        """The ratio that was fitted."""
        return final_drive_ratio(self.spur_teeth, self.pinion_teeth, self.internal_ratio)


class Parking(Record):
    """How a car stands: its drag brake, and the slope under it."""

    car_id: int
    drag_brake_percent: float = Field(10.0, ge=0, le=100)
    slope_deg: float = Field(2.0, ge=0, le=STEEPEST_DEG)
