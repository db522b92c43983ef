"""A part that wears, and what it has run."""

from __future__ import annotations

from typing import NamedTuple

from pydantic import Field, model_validator

from pitapp.dates import Moment
from pitapp.kit.models import Name, Remarks
from pitapp.record import Record


class WornPart(Record):
    """A part of a car or of a motor, new or rebuilt at `since`, with limits of the racer's own.

    `runs_before` and `minutes_before` are what it had run by then, or elsewhere.
    """

    id: int = 0
    car_id: int | None = None
    motor_id: int | None = None
    name: Name
    since: Moment
    runs_before: int = Field(0, ge=0, le=9999)
    minutes_before: float = Field(0, ge=0, le=1_000_000)
    most_runs: int | None = Field(None, ge=1, le=9999)
    most_minutes: float | None = Field(None, gt=0, le=1_000_000)
    last_runs: int | None = Field(None, ge=0)
    last_minutes: float | None = Field(None, ge=0)
    remarks: Remarks = ""
    version: int = 1

    @model_validator(mode="after")
    def _in_one(self) -> WornPart:
        if (self.car_id is None) == (self.motor_id is None):
            raise ValueError("Which car or motor is it in?")
        return self


class Hours(NamedTuple):
    """What a part has run: runs, their minutes, and how many of them have no time on record."""

    runs: int
    minutes: float
    untimed: int = 0


class PartHours(NamedTuple):
    """A part with where it is and what it has run."""

    part: WornPart
    place: str
    hours: Hours
