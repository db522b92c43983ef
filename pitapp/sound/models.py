"""What is kept of listening: figures only, never sound."""

from __future__ import annotations

from pydantic import Field

from pitapp.dates import Moment
from pitapp.record import Record
from pitapp.sound.formulas import Side, percent_off, side_of_limit


class Comparison(Record):
    """Revs heard beside revs that an instrument showed at the same time."""

    id: int = 0
    compared_at: Moment
    heard_rpm: float = Field(ge=100, le=300_000)
    instrument_rpm: float = Field(ge=100, le=300_000)

    @property
    def off_percent(self) -> float:
        """How far the phone was off; minus is lower."""
        return percent_off(self.heard_rpm, self.instrument_rpm)


SIDES = {"under": "under it", "over": "over it", "near": "too near to call"}


class RevCheck(Record):
    """Revs at full throttle beside the rev limit; `heard_spread_rpm` is empty where they were typed."""

    id: int = 0
    car_id: int
    motor_id: int | None = None
    checked_at: Moment
    rpm: float = Field(ge=100, le=300_000)
    heard_spread_rpm: float | None = Field(None, ge=0, le=5_000)
    limit_rpm: float = Field(ge=500, le=200_000)

    @property
    def side(self) -> Side:
        """On which side of the limit: named only beyond two spreads."""
        return side_of_limit(self.rpm, self.heard_spread_rpm or 0.0, self.limit_rpm)

    @property
    def words(self) -> str:
        """The side as a racer says it."""
        return "on it" if self.rpm == self.limit_rpm else SIDES[self.side]
