"""The forms of a charge by steps."""

from __future__ import annotations

import json

from wtforms import HiddenField, RadioField

from pitapp.packs.charging.steps import ChargeStep, Program, program_refusals, reading_refusals
from pitapp.packs.charging.telling import warmth_refusal
from pitapp.packs.fields import CellsField
from pitapp.packs.models import Pack
from pitapp.web.fields import Needed, NumberField, QuantityField, WholeField
from pitapp.web.forms import PitForm


class StepForm(PitForm):
    """One step; `shown` gives what is to be kept as its answer, or None with the errors."""

    purpose = HiddenField(default="full")

    def prepare(self, pack: Pack, answers: dict[str, str]) -> None:
        """Make the form ready for this pack and what was answered before."""

    def shown(self, pack: Pack, answers: dict[str, str]) -> str | None:
        """The answer as text."""
        raise NotImplementedError


class YesNoForm(StepForm):
    """Two buttons."""

    answer = HiddenField()

    def shown(self, pack: Pack, answers: dict[str, str]) -> str | None:
        """Yes or no."""
        if not self.validate_on_submit() or self.answer.data not in ("yes", "no"):
            self.form_errors.append("Tap one of the two.")
            return None
        return str(self.answer.data)


class WarmthForm(StepForm):
    """The temperature of the cells."""

    cell_c = QuantityField(
        "Cells at about", [Needed("How warm are the cells?")], kind="temperature"
    )

    def shown(self, pack: Pack, answers: dict[str, str]) -> str | None:
        """The temperature in °C, if a pack so warm may be charged."""
        if not self.validate_on_submit():
            return None
        self.cell_c.errors = _told(pack, warmth_c=self.cell_c.data)
        if self.cell_c.errors and (refusal := warmth_refusal(self.cell_c.data)):
            self.cell_c.errors = [refusal]
        return None if self.cell_c.errors else repr(float(self.cell_c.data))


class CellsForm(StepForm):
    """The voltage of each cell."""

    cell_v = CellsField("Resting voltage", unit="V")

    def prepare(self, pack: Pack, answers: dict[str, str]) -> None:
        """One entry for each cell."""
        self.cell_v.ask_for(pack.cells_series)

    def shown(self, pack: Pack, answers: dict[str, str]) -> str | None:
        """The voltages as JSON, if cells so full or empty may be charged."""
        if not self.validate_on_submit():
            return None
        if len(self.cell_v.values) != pack.cells_series:
            self.cell_v.errors = ["Measure every cell."]
        else:
            self.cell_v.errors = _told(pack, self.cell_v.values)
        return None if self.cell_v.errors else json.dumps(self.cell_v.values)


class ProgramForm(StepForm):
    """What the charger's screen shows."""

    cells_set = WholeField("Cells it shows", [Needed("How many cells does the screen show?")])
    current_a = NumberField("Current it shows", [Needed("What current does it show?")], unit="A")
    discharging = False

    def shown(self, pack: Pack, answers: dict[str, str]) -> str | None:
        """Cells and current as JSON, if they are the pack's and within its label."""
        if not self.validate_on_submit():
            return None
        cells, amps = self.cells_set.data, self.current_a.data
        if not 1 <= cells <= 16:
            self.cells_set.errors = ["A charger shows 1 to 16 cells."]
            return None
        if not 0.01 <= amps <= 500:
            self.current_a.errors = ["A charger shows 0.01 to 500 A."]
            return None
        found = program_refusals(pack, Program(cells, amps), self.discharging)
        for name, sentence in found.items():
            self[name].errors = [sentence]
        return None if found else json.dumps({"cells_set": cells, "current_a": amps})


FORMS: dict[str, type[StepForm]] = {
    "yesno": YesNoForm,
    "warmth": WarmthForm,
    "cells": CellsForm,
    "program": ProgramForm,
}


def form_for(step: ChargeStep) -> StepForm:
    """The form of a step, filled from the request where that was sent."""
    return FORMS[step.kind]()


class EndForm(PitForm):
    """How a charge ended."""

    outcome = RadioField(
        "How it ended",
        choices={"done": "Done", "stopped": "Stopped early", "trouble": "Something is wrong"},
    )
    moved_mah = NumberField("The charger shows", unit="mAh")


def _told(pack: Pack, cell_v: tuple[float, ...] = (), warmth_c: float | None = None) -> list[str]:
    """What speaks against these readings; one that no meter shows is told as well."""
    try:
        return reading_refusals(pack, cell_v, warmth_c)
    except ValueError as error:
        return [str(error)]
