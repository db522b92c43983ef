"""Cars, motors and gears as the racer owns them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from pitapp.kit.pitch import checked_pitch, module_mm, pitch_label
from pitapp.record import Record

MOST_PACK_V = 60.0

Name = Annotated[str, Field(min_length=1, max_length=60)]
Remarks = Annotated[str, Field(max_length=2000)]
GearKind = Literal["pinion", "spur"]
Teeth = Annotated[int, Field(ge=6, le=200)]
Pitch = Annotated[str, AfterValidator(checked_pitch)]


class Motor(Record):
    """A motor: what its label and the bench say of it."""

    id: int = 0
    name: Name
    kv_rpm_per_v: float = Field(ge=50, le=20_000)
    winding: str = Field("", max_length=60)
    resistance_ohm: float | None = Field(None, gt=0, le=100)
    no_load_current_a: float | None = Field(None, ge=0, le=200)
    mass_g: float | None = Field(None, gt=0, le=10_000)
    remarks: Remarks = ""
    version: int = 1


class Car(Record):
    """A car: its gear train, what the motor slots take, and what drives it."""

    id: int = 0
    name: Name
    internal_ratio: float = Field(ge=0.2, le=20)
    pitch: Pitch
    tyre_diameter_mm: float = Field(ge=10, le=400)
    motor_id: int | None = None
    pack_v: float | None = Field(None, gt=0, le=MOST_PACK_V)
    rev_limit_rpm: float | None = Field(None, ge=500, le=200_000)
    least_tooth_sum: int | None = Field(None, ge=12, le=400)
    most_tooth_sum: int | None = Field(None, ge=12, le=400)
    least_centre_distance_mm: float | None = Field(None, gt=0, le=500)
    most_centre_distance_mm: float | None = Field(None, gt=0, le=500)
    smallest_pinion: Teeth | None = None
    largest_pinion: Teeth | None = None
    smallest_spur: Teeth | None = None
    largest_spur: Teeth | None = None
    mass_g: float | None = Field(None, gt=0, le=50_000)
    remarks: Remarks = ""
    version: int = 1

    @model_validator(mode="after")
    def _in_order(self) -> Car:
        pairs = (
            (self.least_tooth_sum, self.most_tooth_sum, "tooth sum"),
            (self.least_centre_distance_mm, self.most_centre_distance_mm, "centre distance"),
            (self.smallest_pinion, self.largest_pinion, "pinion"),
            (self.smallest_spur, self.largest_spur, "spur"),
        )
        for least, most, name in pairs:
            if least is not None and most is not None and least > most:
                raise ValueError(f"The minimum {name} is above the maximum.")
        return self

    @property
    def module_mm(self) -> float:
        """The module of the car's gears in millimetres."""
        return module_mm(self.pitch)

    @property
    def pitch_label(self) -> str:
        """The pitch as the trade writes it."""
        return pitch_label(self.pitch)


class Gear(Record):
    """A pinion or a spur in the gear box."""

    id: int = 0
    kind: GearKind
    teeth: Teeth
    pitch: Pitch
