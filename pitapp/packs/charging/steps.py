"""The steps before a charge, in their order, and every reason against starting it.

The figures are common practice without a source; a pack's and a charger's manual and the venue's
rules come first. Pure: no clock, no database.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from pitapp.packs.cell import charge_time_s, state_of_charge_percent, storage_step
from pitapp.packs.models import Pack, Purpose
from pitapp.packs.safety import charge_current_a, charge_refusals
from pitapp.packs.state import PackState

Kind = Literal["yesno", "warmth", "cells", "program"]


@dataclass(frozen=True)
class ChargeStep:
    """One step: what to do, the two answers, and what a "no" means."""

    key: str
    title: str
    todo: tuple[str, ...]
    kind: Kind = "yesno"
    yes: str = ""
    no: str = ""
    refusal: str = ""


STEPS = (
    ChargeStep(
        "look",
        "Look at it",
        ("No swelling, dent, cut or torn wrap?", "Leads and plugs whole, nothing scorched?"),
        yes="Looks sound",
        no="Something is wrong",
        refusal="The pack looks wrong. Do not charge it.",
    ),
    ChargeStep(
        "feel",
        "Feel it",
        ("Flat and firm all over, no soft or raised spot?", "No sweet smell?"),
        yes="Feels sound",
        no="Something is wrong",
        refusal="The pack feels or smells wrong. Do not charge it.",
    ),
    ChargeStep(
        "warmth",
        "Take its temperature",
        ("After a run let it cool first.",),
        kind="warmth",
    ),
    ChargeStep(
        "label",
        "Read the label",
        (),
        yes="The label says so",
        no="It says something else",
        refusal="The label says something else. Mend the pack's record first.",
    ),
    ChargeStep(
        "cells",
        "Measure each cell",
        ("Resting voltages, from the charger's screen or a meter.",),
        kind="cells",
    ),
    ChargeStep(
        "program",
        "Read the charger's screen",
        ("Set the program for this kind of cell.", "Type what the screen shows now."),
        kind="program",
    ),
    ChargeStep(
        "balance",
        "Balance lead",
        ("Plug it into the charger, the right way round.", "No bare or pinched wire?"),
        yes="Plugged in",
        no="Not plugged in",
        refusal="The balance lead is not plugged in: no charger then sees a single cell run over.",
    ),
    ChargeStep(
        "place",
        "Where it lies",
        (
            "On stone or metal, or in a bag made for charging.",
            "Nothing that burns within about 1 m. Not in the car, not on the way out.",
            "Sand or an extinguisher at hand.",
        ),
        yes="It lies safely",
        no="Not yet",
        refusal="The pack does not lie in a fire-safe place yet.",
    ),
    ChargeStep(
        "stay",
        "Somebody stays",
        ("Stay in sight of it until it is off the charger.", "Going? Take it off first."),
        yes="Somebody stays",
        no="Nobody can",
        refusal="Nobody stays with it. Charge when somebody can.",
    ),
)
BY_KEY = {step.key: step for step in STEPS}


@dataclass(frozen=True)
class Program:
    """What the charger's screen shows."""

    cells_set: int
    current_a: float


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


def next_step(answers: Mapping[str, str]) -> ChargeStep | None:
    """The first step without a good answer, or None when every one has it."""
    return next((step for step in STEPS if answers.get(step.key, "no") == "no"), None)


def cells_of(answers: Mapping[str, str]) -> tuple[float, ...]:
    """The voltages that were answered, by cell."""
    return tuple(json.loads(answers["cells"])) if "cells" in answers else ()


def program_of(answers: Mapping[str, str]) -> Program | None:
    """What the charger was said to show."""
    return Program(**json.loads(answers["program"])) if "program" in answers else None


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


def program_refusals(pack: Pack, program: Program, discharging: bool) -> dict[str, str]:
    """What speaks against the program as the charger shows it, by field."""
    found = {}
    if program.cells_set != pack.cells_series:
        found["cells_set"] = (
            f"Wrong cell count: the charger shows {program.cells_set}, the pack has "
            f"{pack.cells_series} in series. Set the charger again."
        )
    most = allowed_a(pack)
    if not discharging and program.current_a > most * (1 + 1e-9):
        found["current_a"] = (
            f"Over the label's rate: {program.current_a:g} A is more than {most:g} A "
            f"({pack.most_charge_c:g}C). Set less on the charger."
        )
    return found


def start_refusals(
    state: PackState, purpose: Purpose, answers: Mapping[str, str], *, stale: bool
) -> list[str]:
    """Every reason against starting the charge now; none means that no answer speaks against it.

    Args:
        state: the pack as it is now.
        purpose: to full, or to storage.
        answers: by step.
        stale: whether the answers are too old to hold.
    """
    if state.charging:
        return ["This pack is on the charger already."]
    found = [
        step.refusal if step.key in answers else f"{step.title}: not done yet."
        for step in STEPS
        if answers.get(step.key, "no") == "no"
    ]
    if stale:
        found.append("The answers are more than half an hour old. Look and feel again.")
    program, cell_v = program_of(answers), cells_of(answers)
    if program is None or not cell_v or "warmth" not in answers:
        if state.pack.condition != "sound":
            found.insert(0, condition_refusal(state.pack))
        return found
    discharging = direction(state.pack, purpose, cell_v) == "discharge"
    found += program_refusals(state.pack, program, discharging).values()
    found += reading_refusals(state.pack, cell_v, float(answers["warmth"]))
    if len(cell_v) != state.pack.cells_series:
        found.append("Wrong cell count: measure each cell of this pack again.")
    return found


def reading_refusals(
    pack: Pack, cell_v: Sequence[float] = (), warmth_c: float | None = None
) -> list[str]:
    """What speaks against a charge in the pack's condition, its cells' voltages and their warmth."""
    found = [] if pack.condition == "sound" else [condition_refusal(pack)]
    volts = cell_v or (3.8,) * pack.cells_series
    checked = charge_refusals(
        cells=len(volts),
        capacity_mah=pack.capacity_mah,
        label_c_rate=pack.most_charge_c,
        current_a=0.01,
        pack_voltage_v=sum(volts),
        cell_temperature_c=25.0 if warmth_c is None else warmth_c,
        balance_lead_plugged_in=True,
        cell_voltages_v=volts,
    )
    return found + [refusal.sentence for refusal in checked]


def condition_refusal(pack: Pack) -> str:
    """Why a damaged or retired pack is not charged."""
    if pack.condition == "damaged":
        seen = f" ({pack.damage})" if pack.damage else ""
        return f"The pack is damaged{seen}. Do not charge it."
    return "The pack is retired. Do not charge it."
