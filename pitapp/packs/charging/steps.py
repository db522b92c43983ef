"""What is asked before a charge, and the answers judged.

The judging is the checks engine's, at steps where no reason lets anything stand. Pure: no clock, no
database.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from pydantic import Field, TypeAdapter, model_validator

from pitapp.checks.engine import StepResult, judge_all
from pitapp.checks.models import Answer, Limit, Step
from pitapp.limits import number
from pitapp.packs.cell import (
    EMPTY_CELL_V,
    charge_time_s,
    state_of_charge_percent,
    storage_step,
)
from pitapp.packs.charging.prompts import BY_KEY, STEPS, ChargeStep
from pitapp.packs.health.state import PackState
from pitapp.packs.models import CellV, Charge, Pack, Purpose
from pitapp.packs.safety import (
    CHARGE_TEMPERATURE_C,
    OVERFULL_CELL_V,
    TOO_COLD,
    TOO_HOT,
    charge_current_a,
)
from pitapp.record import Record

CHARGER_A = (0.01, 500.0)


class StepAnswer(Record):
    """What was answered at a step of a charge, as it is kept; a step that is no more asked is passed over."""

    step: str = Field(min_length=1, max_length=40)
    shown: str = Field(max_length=1000)

    @model_validator(mode="after")
    def _can_be_read(self) -> StepAnswer:
        kind = BY_KEY[self.step].kind if self.step in BY_KEY else ""
        if kind == "yesno" and self.shown not in ("yes", "no"):
            raise ValueError("this is answered by yes or no")
        if kind == "warmth":
            number(float(self.shown), "temperature of the cells", -100, 1000, unit="°C")
        if kind == "cells":
            cells_of({"cells": self.shown})
        if kind == "program" and (program := program_of({"program": self.shown})):
            number(program.current_a, "current it shows", *CHARGER_A, unit="A")
        return self


class Caution(Step):
    """One thing that must be as asked before a charge.

    `group_name` is the key of the screen that asks it. `under` and `over` say what speaks against a
    reading (`over` also against a "no"), with `{shown}`, `{least}` and `{most}` for the figures.
    """

    firm: ClassVar[bool] = True
    under: str = ""
    over: str = ""

    @property
    def field(self) -> str:
        """The form's field that it is read from."""
        return "answer" if self.kind == "yesno" else self.name


@dataclass(frozen=True)
class Program:
    """What the charger's screen shows."""

    cells_set: Annotated[int, Field(ge=1, le=16)]
    current_a: Annotated[float, Field(allow_inf_nan=False)]
    charger_id: int | None = None
    """Which charger; None: not known."""


_VOLTS = TypeAdapter(Annotated[tuple[CellV, ...], Field(max_length=16)])
_PROGRAM = TypeAdapter(Program)


@dataclass(frozen=True)
class Forecast:
    """What the charge will do: from where, which way, how much and how long, all about."""

    start_percent: float
    discharging: bool
    moved_mah: float
    minutes: float

    @property
    def needed(self) -> bool:
        """Whether there is anything to do."""
        return self.minutes > 0


def cautions(pack: Pack, *, discharging: bool = False) -> list[Caution]:
    """Everything that is asked before a charge of that pack, in order.

    >>> [each.name for each in cautions(Pack(mark="A", cells_series=1, capacity_mah=6000))][3:7]
    ['label', 'place', 'balance', 'cell_v-0']
    """
    steps = [caution for step in STEPS for caution in _asked_at(step, pack, discharging)]
    return [each.model_copy(update={"id": number}) for number, each in enumerate(steps, 1)]


def charge_limits(pack: Pack, *, discharging: bool = False) -> dict[str, Limit]:
    """The limits of what is read before a charge, by a caution's key; a label limits no discharge.

    >>> limits = charge_limits(Pack(mark="A", cells_series=2, capacity_mah=6000, most_charge_c=1))
    >>> limits["cells_set"].most, limits["current_a"].most
    (2.0, 6.0)
    """
    coldest, hottest = CHARGE_TEMPERATURE_C
    least_a, most_a = CHARGER_A
    cell = Limit(least=EMPTY_CELL_V, most=OVERFULL_CELL_V)
    return {
        "cell_c": Limit(least=coldest, most=hottest),
        **{f"cell_v-{number}": cell for number in range(pack.cells_series)},
        "cells_set": Limit(least=pack.cells_series, most=pack.cells_series),
        "current_a": Limit(least=least_a, most=most_a if discharging else allowed_a(pack)),
    }


def judge_answers(pack: Pack, item: Charge, answers: Mapping[str, str]) -> list[StepResult]:
    """Every caution of a charge in order, judged by what was answered so far.

    Args:
        pack: as its label says now.
        item: the charge that is prepared.
        answers: as kept, by step.
    """
    discharging = direction(pack, item.purpose, cells_of(answers)) == "discharge"
    limits, by_name = charge_limits(pack, discharging=discharging), readings(pack, answers)
    steps = cautions(pack, discharging=discharging)
    typed = [
        Answer(
            walk_id=item.id,
            step_id=step.id,
            key=step.key,
            shown=by_name[step.name],
            unit=step.unit,
            planned=step.planned,
            answered_at=item.prepared_at,
            **limits.get(step.key, Limit()).model_dump(),
        )
        for step in steps
        if step.name in by_name
    ]
    return judge_all(steps, typed)


def readings(pack: Pack, answers: Mapping[str, str]) -> dict[str, str]:
    """What was answered, by a caution's name; cells count only where each of them was measured.

    >>> pack = Pack(mark="A", cells_series=2, capacity_mah=6000)
    >>> readings(pack, {"look": "yes", "cells": "[3.8, 3.9]"})
    {'look': 'yes', 'cell_v-0': '3.8', 'cell_v-1': '3.9'}
    >>> readings(pack, {"cells": "[3.8]"})
    {}
    """
    asked = [step.key for step in STEPS if step.kind == "yesno"]
    by_name = {key: answers[key] for key in asked if key in answers}
    if "warmth" in answers:
        by_name["cell_c"] = answers["warmth"]
    volts = cells_of(answers)
    if len(volts) == pack.cells_series:
        by_name |= {f"cell_v-{place}": repr(cell) for place, cell in enumerate(volts)}
    if program := program_of(answers):
        by_name |= {"cells_set": repr(program.cells_set), "current_a": repr(program.current_a)}
    return by_name


def cells_of(answers: Mapping[str, str]) -> tuple[float, ...]:
    """The voltages that were answered, by cell."""
    return _VOLTS.validate_json(answers["cells"], strict=True) if "cells" in answers else ()


def program_of(answers: Mapping[str, str]) -> Program | None:
    """What the charger was said to show."""
    if "program" not in answers:
        return None
    return _PROGRAM.validate_json(answers["program"], strict=True)


def allowed_a(pack: Pack) -> float:
    """The most current that the label allows in a charge."""
    return charge_current_a(pack.capacity_mah, pack.most_charge_c)


def direction(
    pack: Pack, purpose: Purpose, cell_v: Sequence[float]
) -> Literal["charge", "discharge", "none"]:
    """Which way the charge goes, by the resting voltages."""
    if purpose == "full" or not cell_v:
        return "charge"
    mean = min(4.3, max(3.0, sum(cell_v) / len(cell_v)))
    return storage_step(pack.capacity_mah, mean, 1.0, 1.0).action


def forecast(
    state: PackState, purpose: Purpose, cell_v: Sequence[float], current_a: float
) -> Forecast:
    """How long the charge takes at that current and how much it moves, about."""
    pack = state.pack
    mean = min(4.3, max(3.0, sum(cell_v) / len(cell_v)))
    percent = state_of_charge_percent(mean)
    if purpose == "storage":
        step = storage_step(pack.capacity_mah, mean, current_a, current_a)
        return Forecast(percent, step.action == "discharge", step.charge_mah, step.minutes)
    seconds = charge_time_s(pack.capacity_mah, current_a, state.cell_ohm, percent)
    return Forecast(percent, False, (100 - percent) / 100 * pack.capacity_mah, seconds / 60)


def _asked_at(step: ChargeStep, pack: Pack, discharging: bool) -> list[Caution]:
    if step.kind == "yesno":
        return [
            Caution(
                group_name=step.key, name=step.key, kind="yesno", planned="yes", over=step.refusal
            )
        ]
    if step.kind == "warmth":
        return [
            Caution(
                group_name=step.key,
                name="cell_c",
                kind="number",
                unit="°C",
                under="The cells are at {shown}. " + TOO_COLD,
                over="The cells are at {shown}. " + TOO_HOT,
            )
        ]
    if step.kind == "cells":
        return [
            Caution(
                group_name=step.key,
                name=f"cell_v-{number}",
                kind="number",
                unit="V",
                under="A cell is at {shown}, under 3.0 V. Do not charge it: retire the pack.",
                over="A cell is at {shown}, over 4.25 V. Do not charge it; keep away and watch.",
            )
            for number in range(pack.cells_series)
        ]
    wrong = (
        "Wrong cell count: the charger shows {shown}, the pack has {most} in series. "
        "Set the charger again."
    )
    charger = "A charger shows 0.01 to 500 A."
    label = (
        f"Over the label's rate: {{shown}} is more than {{most}} ({pack.most_charge_c:g}C). "
        "Set less on the charger."
    )
    return [
        Caution(group_name=step.key, name="cells_set", kind="number", under=wrong, over=wrong),
        Caution(
            group_name=step.key,
            name="current_a",
            kind="number",
            unit="A",
            under=charger,
            over=charger if discharging else label,
        ),
    ]
