"""The forms of a charge by steps."""

from __future__ import annotations

import json
from collections.abc import Sequence

from wtforms import HiddenField, RadioField

from pitapp.limits import number
from pitapp.packs.charging.prompts import ChargeStep
from pitapp.packs.charging.refusals import refusal
from pitapp.packs.charging.steps import judge_answers
from pitapp.packs.fields import CellsField
from pitapp.packs.models import Charge, ChargerRecord, Pack
from pitapp.web.forms.fields import Needed, NumberField, QuantityField, WholeField
from pitapp.web.forms.form_errors import PitForm


class StepForm(PitForm):
    """One step; `accepted_text` gives the answer to store, or None with the errors."""

    chargers: Sequence[ChargerRecord] = ()
    """Those that are along."""

    def prepare(self, pack: Pack) -> None:
        """Make the form ready for this pack."""

    def read(self, pack: Pack) -> str | None:
        """The answer as text, not judged yet."""
        raise NotImplementedError

    def accepted_text(
        self, step: ChargeStep, pack: Pack, item: Charge, answers: dict[str, str]
    ) -> str | None:
        """The answer as text, if a reading like this may stand; a "no" is kept and stops later."""
        text = self.read(pack) if self.validate_on_submit() else None
        if text is None:
            return None
        reported = False
        for result in judge_answers(pack, item, answers | {step.key: text}):
            if result.step.group_name == step.key and result.stopped and step.kind != "yesno":
                field = self[result.step.name.partition("-")[0]]
                field.errors = list(dict.fromkeys([*field.errors, refusal(result)]))
                reported = True
        return None if reported else text


class YesNoForm(StepForm):
    """Two buttons."""

    answer = HiddenField()

    def read(self, pack: Pack) -> str | None:
        """Yes or no."""
        if self.answer.data in ("yes", "no"):
            return str(self.answer.data)
        self.form_errors.append("Tap one of the two.")
        return None


class WarmthForm(StepForm):
    """The temperature of the cells."""

    cell_c = QuantityField(
        "Cells at about", [Needed("How warm are the cells?")], kind="temperature"
    )

    def read(self, pack: Pack) -> str | None:
        """The temperature in °C."""
        return repr(float(self.cell_c.data))


class CellsForm(StepForm):
    """The voltage of each cell."""

    cell_v = CellsField("Resting voltage", unit="V")

    def prepare(self, pack: Pack) -> None:
        """One entry for each cell."""
        self.cell_v.ask_for(pack.cells_series)

    def read(self, pack: Pack) -> str | None:
        """The voltages as JSON."""
        try:
            for volts in self.cell_v.values:
                number(volts, "cell voltage", 0, 5, unit="V")
        except ValueError as error:
            self.cell_v.errors = [str(error)]
            return None
        if len(self.cell_v.values) == pack.cells_series:
            return json.dumps(self.cell_v.values)
        self.cell_v.errors = ["Measure every cell."]
        return None


class ProgramForm(StepForm):
    """What the charger's screen shows."""

    cells_set = WholeField("Cells it shows", [Needed("How many cells does the screen show?")])
    current_a = NumberField("Current it shows", [Needed("What current does it show?")], unit="A")
    charger = RadioField("Which charger", coerce=int, choices=[], validate_choice=False)

    def prepare(self, pack: Pack) -> None:
        """Where several chargers are along, each may be chosen."""
        self.charger.choices = [(each.id, each.name) for each in self.chargers]

    def read(self, pack: Pack) -> str | None:
        """Cells, current and charger as JSON; the only charger is chosen."""
        by_id = [each.id for each in self.chargers]
        chosen = by_id[0] if len(by_id) == 1 else self.charger.data
        if len(by_id) > 1 and chosen not in by_id:
            self.charger.errors = ["Say which charger it is on."]
            return None
        if not 1 <= self.cells_set.data <= 16:
            self.cells_set.errors = ["A charger shows 1 to 16 cells."]
            return None
        program = {"cells_set": self.cells_set.data, "current_a": self.current_a.data}
        return json.dumps(program | ({"charger_id": chosen} if chosen in by_id else {}))


FORMS: dict[str, type[StepForm]] = {
    "yesno": YesNoForm,
    "warmth": WarmthForm,
    "cells": CellsForm,
    "program": ProgramForm,
}


def form_for(step: ChargeStep, chargers: Sequence[ChargerRecord] = ()) -> StepForm:
    """The form of a step, filled from the request where that was sent; `chargers` are along."""
    form = FORMS[step.kind]()
    form.chargers = chargers
    return form


class EndForm(PitForm):
    """How a charge ended."""

    outcome = RadioField(
        "How it ended",
        choices={"done": "Done", "stopped": "Stopped early", "trouble": "Something is wrong"},
    )
    moved_mah = NumberField("The charger shows", unit="mAh")
