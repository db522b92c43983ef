"""Runs, what was fitted in them, set-up entries and tyre sets."""

from __future__ import annotations

from datetime import tzinfo
from typing import Literal
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from pydantic import Field, field_serializer

from pitapp.dates import Moment
from pitapp.gearing.formulas import final_drive_ratio, rollout_mm
from pitapp.kit.models import Name, Remarks, Teeth
from pitapp.record import Record
from pitapp.runs.conditions import Dust, Grip, Wet, Wind
from pitapp.runs.entries import MOST_TEXT, Setting, SetupEntry, ShortText, with_unit

__all__ = [
    "MOST_TEXT",
    "Fitted",
    "FittedCar",
    "FittedController",
    "FittedMotor",
    "FittedPack",
    "FittedTyres",
    "Run",
    "RunLine",
    "Setting",
    "SetupEntry",
    "Snapshot",
    "TyreSet",
    "ratio_of",
    "with_unit",
]
MOST_RUNS_DONE = 9999


def ratio_of(
    pinion_teeth: int | None, spur_teeth: int | None, internal_ratio: float | None
) -> float | None:
    """The final drive ratio, or None where a part of it is not known.

    >>> ratio_of(45, 69, 1.9), ratio_of(45, None, 1.9)
    (2.9133333333333336, None)
    """
    if pinion_teeth is None or spur_teeth is None or internal_ratio is None:
        return None
    return final_drive_ratio(spur_teeth, pinion_teeth, internal_ratio)


class TyreSet(Record):
    """A set of tyres: its kind, the diameter last measured and the runs it has done.

    `runs_logged` is counted in the log when it is read; `runs_elsewhere` is what the log lacks.
    """

    id: int = 0
    name: Name
    kind: ShortText = ""
    diameter_mm: float | None = Field(None, ge=10, le=400)
    runs_elsewhere: int = Field(0, ge=0, le=MOST_RUNS_DONE)
    runs_logged: int = Field(0, ge=0)
    treatment: str = Field("", max_length=200)
    remarks: Remarks = ""
    version: int = 1

    @property
    def runs_done(self) -> int:
        """All the runs it has done."""
        return self.runs_elsewhere + self.runs_logged


class Fitted(Record):
    """The tyres now on a car, as far as that is on record."""

    tyre_set_id: int | None = None


class FittedCar(Record):
    """The car as it was in a run."""

    id: int
    name: str
    pitch: str = ""
    mass_g: float | None = None
    pack_v: float | None = None
    rev_limit_rpm: float | None = None


class FittedMotor(Record):
    """The motor as it was in a run."""

    id: int
    name: str
    kv_rpm_per_v: float | None = None
    winding: str = ""
    resistance_ohm: float | None = None


class FittedPack(Record):
    """The pack as it was in a run; `mark` is how the racer has marked it."""

    id: int
    mark: str
    cells_series: int | None = None
    capacity_mah: float | None = None


class FittedTyres(Record):
    """The tyres as they were before a run."""

    id: int
    name: str
    kind: str = ""
    diameter_mm: float | None = None
    runs_done: int = 0
    treatment: str = ""


class FittedController(Record):
    """The controller and its settings as they were in a run."""

    id: int
    name: str
    firmware: str = ""
    settings: tuple[Setting, ...] = ()


class Snapshot(Record):
    """What was in the car in a run, copied then and never read from the kit again."""

    schema_version: Literal[1] = 1
    car: FittedCar
    motor: FittedMotor | None = None
    pack: FittedPack | None = None
    tyres: FittedTyres | None = None
    controller: FittedController | None = None
    setup: tuple[Setting, ...] = ()


class Run(Record):
    """One outing of the car, raced or practised.

    `can_c` was read `read_after_s` seconds after the flag, or at a time not noted; `second_can_c`
    is a later reading, at `second_after_s`. `top_speed_kmh` was measured from beside the straight,
    `top_speed_spread_kmh` is its standard uncertainty where that is known. `time_zone` is
    the IANA name of the zone on whose wall clock the run is shown; empty for the racer's own.
    """

    id: int = 0
    uuid: UUID = Field(default_factory=uuid4)
    car_id: int
    meeting_id: int | None = None
    heat_id: int | None = None
    track_id: int | None = None
    race_class_id: int | None = None
    motor_id: int | None = None
    pack_id: int | None = None
    tyre_set_id: int | None = None
    started_at: Moment
    time_zone: str = ""
    pinion_teeth: Teeth | None = None
    spur_teeth: Teeth | None = None
    internal_ratio: float | None = Field(None, ge=0.2, le=20)
    tyre_diameter_mm: float | None = Field(None, ge=10, le=400)
    can_c: float | None = Field(None, ge=-30, le=250)
    read_after_s: float | None = Field(None, ge=0, le=3600)
    second_can_c: float | None = Field(None, ge=-30, le=250)
    second_after_s: float | None = Field(None, ge=0, le=3600)
    air_c: float | None = Field(None, ge=-30, le=60)
    track_c: float | None = Field(None, ge=-30, le=90)
    grip: Grip | None = None
    wind: Wind | None = None
    dust: Dust | None = None
    wet: Wet | None = None
    best_lap_s: float | None = Field(None, gt=0, le=3600)
    laps: int | None = Field(None, ge=0, le=99_999)
    run_s: float | None = Field(None, gt=0, le=86_400)
    top_speed_kmh: float | None = Field(None, ge=1, le=300)
    top_speed_spread_kmh: float | None = Field(None, ge=0, le=50)
    position: int | None = Field(None, ge=1, le=9999)
    remarks: Remarks = ""
    snapshot: Snapshot
    version: int = 1

    @field_serializer("uuid")
    def _uuid_text(self, value: UUID) -> str:
        return str(value)

    @property
    def final_drive_ratio(self) -> float | None:
        """Spur / pinion × internal ratio, or None where one of them was not logged."""
        return ratio_of(self.pinion_teeth, self.spur_teeth, self.internal_ratio)

    @property
    def rollout_mm(self) -> float | None:
        """Distance per motor revolution in mm, or None where gear or tyre was not logged."""
        ratio = self.final_drive_ratio
        if ratio is None or self.tyre_diameter_mm is None:
            return None
        return rollout_mm(self.tyre_diameter_mm, ratio)

    @property
    def zone(self) -> tzinfo | None:
        """The zone on whose wall clock the run is shown; None for the racer's own."""
        return ZoneInfo(self.time_zone) if self.time_zone else None


class RunLine(Record):
    """A run as one line of the log, with the names of where it was."""

    id: int
    started_at: Moment
    time_zone: str = ""
    car_id: int
    car_name: str
    pack_mark: str | None = None
    tyres_name: str | None = None
    track_id: int | None = None
    track_name: str | None = None
    meeting_id: int | None = None
    meeting_name: str | None = None
    heat_kind: str | None = None
    heat_number: int | None = None
    pinion_teeth: int | None = None
    spur_teeth: int | None = None
    internal_ratio: float | None = None
    can_c: float | None = None
    air_c: float | None = None
    track_c: float | None = None
    grip: Grip | None = None
    wind: Wind | None = None
    dust: Dust | None = None
    wet: Wet | None = None
    best_lap_s: float | None = None
    laps: int | None = None
    run_s: float | None = None
    top_speed_kmh: float | None = None
    position: int | None = None
    remarks: str = ""

    @property
    def final_drive_ratio(self) -> float | None:
        """Spur / pinion × internal ratio, or None where one of them was not logged."""
        return ratio_of(self.pinion_teeth, self.spur_teeth, self.internal_ratio)
