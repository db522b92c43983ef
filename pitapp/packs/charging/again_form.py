"""The form of a charge as last time: what is read now, and one answer to everything that is listed."""

from __future__ import annotations

import json
from collections.abc import Mapping

from wtforms import HiddenField

from pitapp.checks.engine import within_limit
from pitapp.packs.charging.again import (
    LastTime,
    answers_as_stored,
    apart_refusal,
    end_limit,
    end_refusal,
)
from pitapp.packs.charging.refusals import refusal
from pitapp.packs.charging.steps import judge_answers
from pitapp.packs.fields import CellsField
from pitapp.packs.models import Charge, Pack
from pitapp.web.forms.fields import Needed, NumberField, QuantityField
from pitapp.web.forms.form_errors import PitForm

NOT_ALL_SO = "Tap “All of this is so”, or charge it by steps."
SET_OTHERWISE = "What was set last time has changed meanwhile. Look through this page again."


class AgainForm(PitForm):
    """What is measured, and what was set last time as the page showed it."""

    answer = HiddenField()
    cell_c = QuantityField(
        "Cells at about", [Needed("How warm are the cells?")], kind="temperature"
    )
    cell_v = CellsField("Resting voltage", unit="V")
    end_v = NumberField(
        "The charger ends at", [Needed("At which voltage does the charger end?")], unit="V"
    )
    cells_set = HiddenField()
    current_a = HiddenField()
    charger = HiddenField()

    def prepare(self, pack: Pack, last: LastTime) -> None:
        """One entry for each cell, and what was set last time."""
        self.cell_v.ask_for(pack.cells_series)
        for name, value in as_sent(last).items():
            self[name].data = value

    def read(self, pack: Pack, last: LastTime, item: Charge) -> Mapping[str, str] | None:
        """The answers by step, or None with the errors at the fields."""
        sent = {name: self[name].data or "" for name in as_sent(last)}
        self.cell_v.ask_for(pack.cells_series)
        if not self.validate_on_submit():
            return None
        if self.answer.data != "yes":
            self.form_errors.append(NOT_ALL_SO)
        if sent != as_sent(last):
            self.form_errors.append(SET_OTHERWISE)
        if len(self.cell_v.values) != pack.cells_series:
            self.cell_v.errors = ["Measure every cell."]
        if not within_limit(end_limit(pack.cells_series), repr(self.end_v.data)):
            sentence = end_refusal(pack.cells_series)
            self.end_v.errors = [sentence.format(shown=f"{self.end_v.data:g} V")]
        if self.form_errors or self.cell_v.errors or self.end_v.errors:
            return None
        program = {"cells_set": last.cells_set, "current_a": last.current_a}
        if last.charger:
            program["charger_id"] = last.charger.id
        answers = answers_as_stored(
            repr(float(self.cell_c.data)),
            json.dumps(self.cell_v.values),
            json.dumps(program),
            self.end_v.data,
        )
        if not self._may_stand(pack, item, answers):
            return None
        if apart := apart_refusal(self.cell_v.values):
            self.cell_v.errors = [apart]
            return None
        return answers

    def _may_stand(self, pack: Pack, item: Charge, answers: Mapping[str, str]) -> bool:
        sound = True
        for result in judge_answers(pack, item, answers):
            if not result.stopped:
                continue
            sound = False
            name = result.step.name.partition("-")[0]
            if name in ("cell_c", "cell_v"):
                self[name].errors = list(dict.fromkeys([*self[name].errors, refusal(result)]))
            else:
                self.form_errors.append(refusal(result))
        return sound


def as_sent(last: LastTime) -> dict[str, str]:
    """What was set last time, as the page carries it along."""
    return {
        "cells_set": str(last.cells_set),
        "current_a": f"{last.current_a:.10g}",
        "charger": str(last.charger.id) if last.charger else "",
    }
