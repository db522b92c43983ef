"""Packs, what was read of them, charges, storage, chargers and the day's plan."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from pitapp.dates import Day, Moment
from pitapp.packs.health.condition import Condition
from pitapp.record import Record

NOMINAL_CELL_V = 3.7
MOST_HEATS = 24
"""That one plan covers."""
Mark = Annotated[str, Field(min_length=1, max_length=40)]
Remarks = Annotated[str, Field(max_length=2000)]
CellV = Annotated[float, Field(ge=0, le=5)]
CellOhm = Annotated[float, Field(ge=1e-5, le=5)]
Purpose = Literal["full", "storage"]
Outcome = Literal["done", "stopped", "trouble"]


class Pack(Record):
    """A pack as its label and its owner describe it; `resistance_new_ohm` is one cell's."""

    id: int = 0
    mark: Mark
    cells_series: int = Field(ge=1, le=16)
    cells_parallel: int = Field(1, ge=1, le=16)
    capacity_mah: float = Field(ge=100, le=100_000)
    most_charge_c: float = Field(1.0, ge=0.1, le=20)
    nominal_v: float | None = Field(None, ge=1, le=80)
    resistance_new_ohm: CellOhm | None = None
    bought_on: Day | None = None
    mass_g: float | None = Field(None, gt=0, le=20_000)
    cycles_before: int = Field(0, ge=0, le=10_000)
    damaged: bool = False
    damage: str = Field("", max_length=200)
    retired_at: Moment | None = None
    remarks: Remarks = ""
    version: int = 1

    @model_validator(mode="after")
    def _label_agrees(self) -> Pack:
        if self.nominal_v is not None and not 3.0 <= self.nominal_v / self.cells_series <= 4.0:
            raise ValueError(
                f"{self.nominal_v:g} V is not the nominal voltage of {self.cells_series} cells "
                "in series. Read both off the label again."
            )
        return self

    @property
    def condition(self) -> Condition:
        """Damaged before retired before sound."""
        return "damaged" if self.damaged else "retired" if self.retired_at else "sound"

    @property
    def shown_nominal_v(self) -> float:
        """The label's nominal voltage, else 3.7 V a cell."""
        return self.nominal_v or self.cells_series * NOMINAL_CELL_V

    @property
    def build(self) -> str:
        """Its cells as the trade writes them.

        >>> Pack(mark="A", cells_series=2, capacity_mah=6000).build
        '2S1P'
        """
        return f"{self.cells_series}S{self.cells_parallel}P"


class Reading(Record):
    """What a meter showed of a resting pack; `after_charge`: just after a balanced charge."""

    id: int = 0
    pack_id: int
    read_at: Moment
    cell_v: tuple[CellV, ...] = Field((), max_length=16)
    cell_ohm: tuple[CellOhm, ...] = Field((), max_length=16)
    cell_c: float | None = Field(None, ge=-50, le=150)
    after_charge: bool = False
    remarks: Remarks = ""

    @model_validator(mode="after")
    def _says_something(self) -> Reading:
        if not self.cell_v and not self.cell_ohm and self.cell_c is None and not self.remarks:
            raise ValueError("Write down at least one thing that you measured or saw.")
        return self


class Charge(Record):
    """A charge (or a discharge to storage): prepared, on the charger, ended."""

    id: int = 0
    uuid: str
    pack_id: int
    purpose: Purpose
    prepared_at: Moment
    cells_set: int | None = None
    current_a: float | None = None
    discharging: bool = False
    start_percent: float | None = None
    started_at: Moment | None = None
    due_at: Moment | None = None
    ended_at: Moment | None = None
    outcome: Outcome | None = None
    moved_mah: float | None = Field(None, ge=0, le=100_000)
    remarks: Remarks = ""
    charger_id: int | None = None
    pack_version: int | None = None
    """Of the pack's record, as it was at the start; None: not known."""
    version: int = 1


class Storage(Record):
    """A pack put away at storage charge; `cell_v` is the resting mean, `place` where it lies."""

    id: int = 0
    pack_id: int
    stored_at: Moment
    cell_v: float | None = Field(None, ge=0, le=5)
    place: str = Field("", max_length=60)


class InCar(Record):
    """A pack that was put into a car for its next run."""

    pack_id: int
    car_id: int
    car_name: str
    since: Moment


class ChargerRecord(Record):
    """A charger; nothing given "in all" means no limit in all. One `at_home` is not planned with."""

    id: int = 0
    name: str = Field(min_length=1, max_length=60)
    outputs: int = Field(ge=1, le=16)
    amps_per_output: float = Field(ge=0.1, le=200)
    watts_per_output: float = Field(ge=1, le=10_000)
    amps_in_all: float | None = Field(None, ge=0.1, le=2000)
    watts_in_all: float | None = Field(None, ge=1, le=100_000)
    discharge_a: float = Field(1.0, ge=0.01, le=200)
    at_home: bool = False
    version: int = 1


class PlannedHeat(Record):
    """A heat of the plan and the pack that goes into it.

    Where none can be full in time, `first_full_pack_id` is the one that could be first, and when.
    """

    heat_id: int
    title: str
    starts_at: Moment
    pack_id: int | None
    percent: float
    cell_v: float
    full: bool
    first_full_pack_id: int | None = None
    first_full_at: Moment | None = None


class PlannedStep(Record):
    """A charge, or the way to storage: which pack, when on and when off, at how many amps.

    One that is stopped and taken up again is as many steps as it has `pieces`.
    """

    pack_id: int
    kind: Literal["charge", "storage"]
    begins_at: Moment
    ends_at: Moment
    amps: float
    output: int | None
    charger_id: int | None = None
    piece: int = 1
    pieces: int = 1


class DayPlan(Record):
    """What came out: a pack for each heat, what to do when, and what cannot be done, in words."""

    heats: tuple[PlannedHeat, ...] = ()
    steps: tuple[PlannedStep, ...] = ()
    conflicts: tuple[str, ...] = ()
    helps: tuple[str, ...] = ()
    """What would help against them."""
    running: tuple[PlannedStep, ...] = ()
    """What was on a charger already and has to be stopped and taken up again."""
    alone: str = ""
    """What it costs that nobody watches."""
    full_min: float = 0.0
    proved: bool = True


class PlanRecord(Record):
    """A meeting's charge plan: what it is made with, and the plan as it was last made."""

    id: int = 0
    meeting_id: int
    charger_id: int | None = None
    used_mah: float = Field(gt=0, le=100_000)
    most_full_min: float = Field(120, ge=0, le=1440)
    cooling_min: float = Field(20, ge=0, le=240)
    margin_min: float = Field(10, ge=0, le=240)
    watched: bool | None = None
    """Whether somebody watches the chargers while the racer drives or marshals; None: not asked."""
    walk_min: float = Field(5, ge=0, le=60)
    """Away from the table before and after a run."""
    left_out: tuple[int, ...] = ()
    made_at: Moment
    made_from: str = ""
    plan: DayPlan | None = None
    sequence: int = 0
