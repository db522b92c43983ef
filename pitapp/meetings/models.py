"""Classes with their limits, meetings and heats."""

from __future__ import annotations

from datetime import datetime, tzinfo
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, Field, model_validator

from pitapp.dates import Day, Moment
from pitapp.record import Record

Name = Annotated[str, Field(min_length=1, max_length=60)]
Remarks = Annotated[str, Field(max_length=2000)]
Figure = Annotated[float, Field(ge=-1_000_000, le=1_000_000)]
HeatKind = Literal["heat", "marshal", "practice", "final"]
KIND_NAMES = {"heat": "Heat", "marshal": "Marshal", "practice": "Practice", "final": "Final"}
FULL_CELL_V = 4.20
MOST_LIMITS = 40
"""Further limits of a class, as many as its form takes and a link may hold."""
CAR_KINDS = ("heat", "practice", "final")


def known_zone(name: str) -> str:
    """The name of a time zone, as it came.

    >>> known_zone("Europe/Lisbon")
    'Europe/Lisbon'

    Raises:
        ValueError: this computer knows no zone of that name.
    """
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise ValueError(
            "No time zone has this name. Write it like Europe/Lisbon or Asia/Tokyo."
        ) from None
    return name


class ClassLimit(Record):
    """A further limit of a class, in the racer's own words."""

    id: int = 0
    name: Name
    unit: str = Field("", max_length=20)
    least: Figure | None = None
    most: Figure | None = None
    exactly: Figure | None = None

    @model_validator(mode="after")
    def _says_something(self) -> ClassLimit:
        if self.exactly is not None and (self.least is not None or self.most is not None):
            raise ValueError("Give an exact value, or a minimum and a maximum.")
        if self.exactly is None and self.least is None and self.most is None:
            raise ValueError("Give a minimum, a maximum or an exact value.")
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValueError("The minimum is above the maximum.")
        return self

    def within_limit(self, value: float) -> bool:
        """Whether the value is inside the limit.

        >>> ClassLimit(name="Wing chord", unit="mm", most=40).within_limit(40.0)
        True
        >>> ClassLimit(name="Wheelbase", unit="mm", least=255, most=260).within_limit(254.9)
        False
        """
        if self.exactly is not None:
            return value == self.exactly
        return (self.least is None or value >= self.least) and (
            self.most is None or value <= self.most
        )

    @property
    def text(self) -> str:
        """The limit in words, without its name.

        >>> ClassLimit(name="Wing chord", unit="mm", most=40).text
        'at most 40 mm'
        """
        unit = f" {self.unit}" if self.unit else ""
        if self.exactly is not None:
            return f"exactly {self.exactly:.10g}{unit}"
        if self.least is not None and self.most is not None:
            return f"{self.least:.10g} to {self.most:.10g}{unit}"
        if self.least is not None:
            return f"at least {self.least:.10g}{unit}"
        return f"at most {self.most:.10g}{unit}"


class RaceClass(Record):
    """The rules raced under, as the racer has read them; an empty figure sets no limit."""

    id: int = 0
    name: Name
    rev_limit_rpm: float | None = Field(None, ge=500, le=200_000)
    timing_fixed: bool = False
    timing_deg: float | None = Field(None, ge=-90, le=90)
    timing_tolerance_deg: float | None = Field(None, ge=0, le=90)
    winding: str = Field("", max_length=60)
    least_mass_g: float | None = Field(None, gt=0, le=50_000)
    most_capacity_mah: float | None = Field(None, gt=0, le=100_000)
    most_start_v: float | None = Field(None, gt=0, le=60)
    tyre: str = Field("", max_length=60)
    least_ride_height_mm: float | None = Field(None, gt=0, le=100)
    run_length_s: float | None = Field(None, ge=10, le=86_400)
    heats_a_day: int | None = Field(None, ge=1, le=60)
    remarks: Remarks = ""
    version: int = 1
    limits: tuple[ClassLimit, ...] = ()

    @property
    def cells_series(self) -> int | None:
        """The cells in series that its maximum start voltage is meant for, full at 4.20 V each.

        >>> RaceClass(name="Example", most_start_v=8.44).cells_series
        2
        """
        cells = round((self.most_start_v or 0) / FULL_CELL_V)
        return cells or None


class Meeting(Record):
    """A race day; `day` is the date on the wall clock in its own time zone."""

    id: int = 0
    day: Day
    name: str = Field("", max_length=60)
    time_zone: Annotated[str, AfterValidator(known_zone)]
    track_id: int | None = None
    race_class_id: int | None = None
    car_id: int | None = None
    remarks: Remarks = ""
    version: int = 1

    def is_for(self, car_id: int | None) -> bool:
        """Whether it is this car's: entered with it, or with none in particular.

        >>> Meeting(day="2026-05-03", time_zone="UTC", car_id=1).is_for(2)
        False
        """
        return self.car_id is None or car_id is None or self.car_id == car_id

    @property
    def zone(self) -> tzinfo:
        """The time zone of the track."""
        return ZoneInfo(self.time_zone)

    @property
    def date_text(self) -> str:
        """Its date in words."""
        return f"{self.day:%a} {self.day.day} {self.day:%b %Y}"

    @property
    def title(self) -> str:
        """Its name, or else its date.

        >>> Meeting(day="2026-05-03", time_zone="UTC").title
        'Sun 3 May 2026'
        """
        return self.name or self.date_text


class Heat(Record):
    """An entry of the day's timetable: a heat of one's own, a practice, a final, or marshalling."""

    id: int = 0
    meeting_id: int
    number: int = Field(ge=1, le=999)
    kind: HeatKind = "heat"
    starts_at: Moment
    done_at: Moment | None = None
    flag_at: Moment | None = None
    version: int = 1
    sequence: int = 0
    """Grows with each change, and at Undo too: what a calendar tells the newer one by."""

    @property
    def title(self) -> str:
        """What it is called: "Heat 3", "Marshal 3", "Practice 1", "Final 1"."""
        return f"{KIND_NAMES[self.kind]} {self.number}"

    @property
    def epoch_s(self) -> int:
        """Its start in seconds of Unix time, for a countdown."""
        return int(self.starts_at.timestamp())

    def started(self, now: datetime) -> bool:
        """Whether its time has come."""
        return self.starts_at <= now
