"""What is asked of the gearing screens, as it stands in their addresses and forms."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError
from wtforms import Form, RadioField

from pitapp.gearing.answer import Question
from pitapp.kit.pitch import pitch_from_diametral, pitch_from_module
from pitapp.web.fields import Needed, NumberField, WholeField
from pitapp.web.forms import PitForm, in_words

NUDGES = {
    "pinion-less": ("pinion", -1),
    "pinion-more": ("pinion", 1),
    "spur-less": ("spur", -1),
    "spur-more": ("spur", 1),
}
WANTED = {"ratio": "FDR", "rollout": "rollout", "speed": "top speed"}


class QuestionForm(Form):
    """The numbers of one gear train; read from an address, so it carries no token."""

    pinion = WholeField("Pinion", [Needed("How many teeth has the pinion?")])
    spur = WholeField("Spur", [Needed("How many teeth has the spur?")])
    internal = NumberField("Internal ratio", [Needed()])
    tyre = NumberField("Tyre diameter", [Needed()], unit="mm")
    kv = NumberField("Motor Kv", unit="rpm/V")
    volts = NumberField("Pack voltage", unit="V")
    rev_limit = NumberField("Rev limit", unit="rpm")
    pitch_dp = NumberField("Diametral pitch")
    module = NumberField("Module", unit="mm")

    def question(self) -> Question | None:
        """The question, or None with what is wrong at the fields."""
        if not self.validate():
            return None
        values: dict[str, Any] = {
            name: self[name].data
            for name in Question.model_fields
            if name in self._fields and self[name].data is not None
        }
        for name, make in (("pitch_dp", pitch_from_diametral), ("module", pitch_from_module)):
            if self[name].data is not None:
                try:
                    values["pitch"] = make(self[name].data)
                except ValueError as error:
                    self[name].errors = [str(error)]
                    return None
        try:
            return Question(**values)
        except ValidationError as error:
            for finding in error.errors():
                field = self[str(finding["loc"][0])]
                field.errors = [*field.errors, in_words(finding)]
            return None


def from_address(arguments: Mapping[str, str], car: Question) -> QuestionForm:
    """The form as an address fills it, over the numbers that the car gives.

    An address that says nothing of a number leaves the car's; one that empties it takes it away.
    """
    kind, _, value = (car.pitch or "").partition(":")
    known = car.model_dump(exclude={"pitch"}) | {
        "pitch_dp": float(value) if kind == "dp" else None,
        "module": float(value) if kind == "m" else None,
    }
    if "pitch_dp" in arguments or "module" in arguments:
        known |= {"pitch_dp": None, "module": None}
    form = QuestionForm(data=known)
    for name, field in form._fields.items():
        if name in arguments:
            field.process(_One({name: arguments[name]}), known.get(name))
    return form


class _One(dict[str, str]):
    """A mapping that WTForms reads a field's text from."""

    def getlist(self, name: str) -> list[str]:
        return [self[name]] if name in self else []


class WantedForm(Form):
    """A ratio, a rollout or a top speed to come near to."""

    kind = RadioField("Wanted", choices=list(WANTED.items()), default="ratio")
    value = NumberField("How much", [Needed("Write the figure you want.")])


class FitForm(PitForm):
    """The pair to log as fitted."""

    pinion = WholeField("Pinion", [Needed("How many teeth has the pinion?")])
    spur = WholeField("Spur", [Needed("How many teeth has the spur?")])
