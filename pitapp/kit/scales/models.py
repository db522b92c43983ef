"""Parts weighed, and the car on four scales."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, ValidationInfo, field_validator, model_validator

from pitapp.dates import Moment
from pitapp.kit.formulas import CornerWeights, Shift, corner_weights, shift_for_move
from pitapp.kit.models import Name, Remarks
from pitapp.kit.scales.formulas import move_for_shift_mm
from pitapp.record import Record

Corner = Annotated[float, Field(ge=0, le=12_500)]


class Part(Record):
    """Something weighed; `fitted` says whether it is in the car now."""

    id: int = 0
    car_id: int
    name: Name
    mass_g: float = Field(ge=0.01, le=50_000)
    fitted: bool = True
    version: int = 1


class Weighing(Record):
    """What four scales under the four tyres read."""

    id: int = 0
    car_id: int
    weighed_at: Moment
    front_left_g: Corner
    front_right_g: Corner
    rear_left_g: Corner
    rear_right_g: Corner
    wheelbase_mm: float | None = Field(None, ge=20, le=2000)
    track_width_mm: float | None = Field(None, ge=20, le=2000)
    remarks: Remarks = ""
    version: int = 1

    @model_validator(mode="after")
    def _stands(self) -> Weighing:
        if self.front_left_g + self.front_right_g + self.rear_left_g + self.rear_right_g < 1:
            raise ValueError("Nothing stood on the scales: all four are zero.")
        return self

    @property
    def balance(self) -> CornerWeights:
        """Total, front, left and cross percent."""
        return corner_weights(
            self.front_left_g, self.front_right_g, self.rear_left_g, self.rear_right_g
        )


class Move(Record):
    """A part to be moved: forward and to the left are positive."""

    part_g: float = Field(ge=0.01, le=50_000)
    total_g: float = Field(ge=10, le=50_000)
    forward_mm: float = Field(0, ge=-1000, le=1000)
    left_mm: float = Field(0, ge=-1000, le=1000)
    wheelbase_mm: float | None = Field(None, ge=20, le=2000, validate_default=True)
    track_width_mm: float | None = Field(None, ge=20, le=2000, validate_default=True)

    @field_validator("total_g")
    @classmethod
    def _carries_the_part(cls, total_g: float, info: ValidationInfo) -> float:
        if total_g < info.data.get("part_g", 0):
            raise ValueError("The car weighs more than any part of it.")
        return total_g

    @field_validator("wheelbase_mm", "track_width_mm")
    @classmethod
    def _along_a_span(cls, span_mm: float | None, info: ValidationInfo) -> float | None:
        moved = "forward_mm" if info.field_name == "wheelbase_mm" else "left_mm"
        if span_mm is None and info.data.get(moved):
            raise ValueError("Needed for this move.")
        return span_mm

    @property
    def forward(self) -> Shift | None:
        """What the move along the car does to the front axle, or None without a wheelbase."""
        return self._shift(self.forward_mm, self.wheelbase_mm)

    @property
    def left(self) -> Shift | None:
        """What the move across the car does to the left side, or None without a track width."""
        return self._shift(self.left_mm, self.track_width_mm)

    def _shift(self, moved_mm: float, span_mm: float | None) -> Shift | None:
        if span_mm is None:
            return None
        return shift_for_move(self.part_g, moved_mm, self.total_g, span_mm)

    def to_the_middle_mm(self, balance: CornerWeights) -> float | None:
        """How far to the left this part must go for as much on the left as on the right."""
        if self.track_width_mm is None:
            return None
        return move_for_shift_mm(
            balance.left_percent, 50, self.part_g, self.total_g, self.track_width_mm
        )
