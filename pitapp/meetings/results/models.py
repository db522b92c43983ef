"""Points for places, a meeting's result, and a season of rounds."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from pitapp.meetings.models import Name, Remarks
from pitapp.record import Record

Place = Annotated[int, Field(ge=1, le=9999)]
Points = Annotated[float, Field(ge=-1000, le=100_000)]
Ties = Literal["full", "mean", "last"]
MOST_PLACES = 200


class PointTable(Record):
    """What each place is worth, from the first on; `beyond` is for places after its end.

    `ties` says what those get who share a place: `full` its points each, `mean` an equal share of
    the places that they fill, `last` the points of the last of these.
    """

    id: int = 0
    name: Name
    points: tuple[Points, ...] = Field(min_length=1, max_length=MOST_PLACES)
    beyond: Points | None = None
    ties: Ties = "full"
    fewest_wins: bool = False
    version: int = 1

    @property
    def worst(self) -> float:
        """What a missed round, and a place after the end of the table, is worth."""
        if self.beyond is not None:
            return self.beyond
        return max(self.points) if self.fewest_wins else 0.0


class Season(Record):
    """Rounds that are counted together, less the worst `drops`."""

    id: int = 0
    name: Name
    point_table_id: int | None = None
    drops: int = Field(0, ge=0, le=60)
    remarks: Remarks = ""
    version: int = 1


class MeetingResult(Record):
    """What came of a meeting, as far as it was written down.

    `best_heats` heats count in qualifying; `shared_with` others have the same place in the end.
    """

    id: int = 0
    meeting_id: int
    season_id: int | None = None
    point_table_id: int | None = None
    best_heats: int | None = Field(None, ge=1, le=60)
    qualifying_place: Place | None = None
    final_name: str = Field("", max_length=20)
    place: Place | None = None
    shared_with: int = Field(0, ge=0, le=99)
    version: int = 1
