"""Whether every row can be read by the room that it belongs to."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from typing import Any

from pydantic import ValidationError, model_validator

from pitapp.bench.models import MotorCheck
from pitapp.checks.models import (
    Answer,
    Checklist,
    ChecklistRun,
    Controller,
    Profile,
    ProfilePlan,
    Step,
)
from pitapp.db import idempotency
from pitapp.drive.inputs.definitions import BY_NAME
from pitapp.drive.physics.lap import Corners, track_by_feel
from pitapp.exchange import store
from pitapp.exchange.layout import MOST_ROWS, WriteKey, row_of
from pitapp.gearing.answer import GearFit
from pitapp.kit.leads.models import Lead
from pitapp.kit.models import Car, Gear, Motor
from pitapp.kit.scales.models import Part, Weighing
from pitapp.kit.wear.models import WornPart
from pitapp.limits import number
from pitapp.meetings.models import ClassLimit, Heat, Meeting, RaceClass
from pitapp.meetings.results.models import MeetingResult, PointTable, Season
from pitapp.packs.charging.steps import StepAnswer
from pitapp.packs.models import Charge, ChargerRecord, Pack, PlanRecord, Reading, Storage
from pitapp.record import Record, finding_sentence
from pitapp.roll.models import Parking, TiltTest
from pitapp.runs.formulas import unpacked_laps
from pitapp.runs.models import FittedController, Run, Setting, SetupEntry, TyreSet
from pitapp.runs.photographs.models import Photograph, PhotographData
from pitapp.settings.models import StoredSetting
from pitapp.sound.models import Comparison, RevCheck
from pitapp.tracks.models import Straight, Track
from pitapp.tracks.store import track


class RunLists(Record):
    """The lists of a run's snapshot that runs share."""

    setup: tuple[Setting, ...] = ()
    controller: FittedController | None = None


class ForecastInput(Record):
    """A figure of the racer's own for the forecast."""

    name: str
    value: float
    measured: bool = False

    @model_validator(mode="after")
    def _in_range(self) -> ForecastInput:
        figure = BY_NAME.get(self.name)
        if figure:
            number(self.value, figure.label.lower(), figure.least, figure.most, unit=figure.unit)
        return self


class TrackFeel(Record):
    """A track that is known by its longest straight and the feel of its corners."""

    longest_straight_m: float
    corners: Corners

    @model_validator(mode="after")
    def _can_be_driven(self) -> TrackFeel:
        track_by_feel(self.longest_straight_m, self.corners)
        return self


MODELS: dict[str, type[Record]] = {
    "car_setup": SetupEntry,
    "cars": Car,
    "charge_plans": PlanRecord,
    "chargers": ChargerRecord,
    "check_answers": Answer,
    "check_steps": Step,
    "check_walks": ChecklistRun,
    "checklists": Checklist,
    "class_limits": ClassLimit,
    "controller_profiles": Profile,
    "controllers": Controller,
    "corner_weighings": Weighing,
    "forecast_inputs": ForecastInput,
    "gear_fits": GearFit,
    "gears": Gear,
    "heats": Heat,
    "leads": Lead,
    "meeting_results": MeetingResult,
    "meetings": Meeting,
    "motor_checks": MotorCheck,
    "motors": Motor,
    "pack_charge_answers": StepAnswer,
    "pack_charges": Charge,
    "pack_readings": Reading,
    "pack_storages": Storage,
    "packs": Pack,
    "parked_cars": Parking,
    "photograph_data": PhotographData,
    "photographs": Photograph,
    "point_tables": PointTable,
    "profile_plans": ProfilePlan,
    "race_classes": RaceClass,
    "rev_checks": RevCheck,
    "run_setups": RunLists,
    "runs": Run,
    "seasons": Season,
    "settings": StoredSetting,
    "sound_comparisons": Comparison,
    "tilt_tests": TiltTest,
    "track_feels": TrackFeel,
    "track_straights": Straight,
    "tracks": Track,
    "tyre_sets": TyreSet,
    "weighed_parts": Part,
    "worn_parts": WornPart,
}
WHOLES: dict[str, Callable[[sqlite3.Connection, int], object]] = {"tracks": track}
"""What a row makes together with those that belong to it, where that has rules of its own."""
COLUMNS: dict[tuple[str, str], Callable[[str], object]] = {("runs", "lap_times"): unpacked_laps}
"""What a column holds that its row's model has not."""
WORKED_OUT = ("final_drive_ratio", "rollout_mm")
PLAIN = {
    "car_controllers": "numbers of rows and a moment",
    "car_fitted": "numbers of rows and a moment",
    "car_packs": "numbers of rows and a moment",
}


def read_all(connection: sqlite3.Connection) -> None:
    """Read every row as its room does.

    Raises:
        ValueError: a row is not as its room writes it; the sentence names it.
    """
    for sentence in unreadable(connection):
        raise ValueError(sentence)


def unreadable(connection: sqlite3.Connection) -> Iterator[str]:
    """A sentence for each row that its room cannot read, in a database of this pitapp's schema."""
    for table in store.tables(connection):
        yield from unreadable_in(connection, table)
    for key, made_at in idempotency.keys(connection):
        try:
            WriteKey(key=key, made_at=made_at)
        except ValueError as error:
            yield f"In answered_writes, row {key[:40]!r}{_words(error)}"


def unreadable_in(connection: sqlite3.Connection, table: str) -> Iterator[str]:
    """The same for one table."""
    columns, model = row_of(connection, table), MODELS.get(table)
    if (many := store.count(connection, table)) > MOST_ROWS:
        yield f"In {table} there are {many} rows, more than {MOST_ROWS}."
        return
    for row in store.rows(connection, table):
        try:
            columns.model_validate(row)
            if model is not None:
                _read(row, model)
            for (of, column), opened in COLUMNS.items():
                if of == table and row[column] is not None:
                    opened(row[column])
            if table in WHOLES:
                WHOLES[table](connection, row["id"])
        except (ValueError, ArithmeticError, RecursionError) as error:
            yield f"In {table}, row {row.get('id')}{_words(error)}"


def _read(row: dict[str, Any], model: type[Record]) -> None:
    item = model(**_values(row, model))
    for worked_out in WORKED_OUT:
        getattr(item, worked_out, None)


def _words(error: Exception) -> str:
    if not isinstance(error, ValidationError):
        return f": {error}"
    finding = error.errors(include_url=False)[0]
    where = f", {finding['loc'][0]}" if finding["loc"] else ""
    return f"{where}: {finding_sentence(finding)}"


def _values(row: dict[str, Any], model: type[Record]) -> dict[str, Any]:
    if model is RunLists:
        setup = json.loads(row["body"])
        return setup if isinstance(setup, dict) else {"setup": setup}
    values = {name: value for name, value in row.items() if name in model.model_fields}
    return {
        name: _opened(value, model.model_fields[name].annotation) for name, value in values.items()
    }


def _opened(value: Any, annotation: Any) -> Any:
    """A list or an object that the table keeps as JSON."""
    if annotation is not str and isinstance(value, str) and value[:1] in ("[", "{"):
        return json.loads(value)
    return None if value == "" and annotation is not str else value
