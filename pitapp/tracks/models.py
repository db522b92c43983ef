"""Tracks as the racer measured them."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from pydantic import Field, model_validator

from pitapp.kit.models import Name, Remarks
from pitapp.record import Record

MOST_STRAIGHTS = 12


class Straight(Record):
    """A straight: its length, the speed it is entered at, and that of the corner behind it."""

    length_m: float = Field(ge=1, le=1000)
    entry_kmh: float = Field(ge=0, le=250)
    exit_kmh: float = Field(ge=1, le=250)


class Track(Record):
    """A track; its straights stand in driving order and may not be known yet."""

    id: int = 0
    name: Name
    surface: str = Field("", max_length=40)
    lap_length_m: float | None = Field(None, ge=10, le=5000)
    straights: tuple[Straight, ...] = Field((), max_length=MOST_STRAIGHTS)
    remarks: Remarks = ""
    version: int = 1

    @model_validator(mode="after")
    def _straights_fit_the_lap(self) -> Track:
        if self.lap_length_m is not None and self.straight_length_m > self.lap_length_m:
            raise ValueError(
                f"The straights together ({self.straight_length_m:g} m) are longer than the lap "
                f"({self.lap_length_m:g} m)."
            )
        return self

    @property
    def straight_length_m(self) -> float:
        """All straights together, in metres."""
        return sum(straight.length_m for straight in self.straights)


class Visits(NamedTuple):
    """How many runs a track has had, counted to a hundred and one, and the moment of the last."""

    runs: int
    last: datetime

    @property
    def text(self) -> str:
        """The runs in words.

        >>> Visits(1, datetime.max).text, Visits(101, datetime.max).text
        ('1 run', 'over 100 runs')
        """
        if self.runs > 100:
            return "over 100 runs"
        return f"{self.runs} run{'' if self.runs == 1 else 's'}"
