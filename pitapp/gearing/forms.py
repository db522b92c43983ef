"""What is asked of the gearing screens, as it stands in their addresses and forms."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError
from wtforms import Form, RadioField

from pitapp.gearing.answer import Question
from pitapp.kit.pitch import pitch_from_diametral, pitch_from_module
from pitapp.web.forms.fields import (
    Needed,
    NumberField,
    WholeField,
    parse_number,
    sensible_range,
)
from pitapp.web.forms.form_errors import PitForm, in_words
from pitapp.web.forms.quantities import plain, unit

NUDGES = {
    "pinion-less": ("pinion", -1),
    "pinion-more": ("pinion", 1),
    "spur-less": ("spur", -1),
    "spur-more": ("spur", 1),
}
WANTED = {"ratio": "FDR", "rollout": "Rollout", "speed": "Top speed"}


class Entry:
    """One number of an address: its name, what was typed, and what is wrong with it."""

    __slots__ = ("errors", "label", "name", "text", "unit")

    def __init__(self, name: str, label: str, unit: str, text: str) -> None:
        self.name, self.label, self.unit, self.text = name, label, unit, text
        self.errors: list[str] = []


ENTRIES = (
    ("pinion", "Pinion", ""),
    ("spur", "Spur", ""),
    ("internal", "Internal ratio", ""),
    ("tyre", "Tyre diameter", "mm"),
    ("kv", "Motor Kv", "rpm/V"),
    ("volts", "Pack voltage", "V"),
    ("rev_limit", "Rev limit", "rpm"),
    ("pitch_dp", "Diametral pitch", "DP"),
    ("module", "Module", "mm"),
)
NEEDED = ("pinion", "spur", "internal", "tyre")
PITCHES = (("pitch_dp", pitch_from_diametral), ("module", pitch_from_module))


def _sensible(entry: Entry) -> tuple[float, float]:
    """Between which figures a number of a gear train lies; one without a unit is no thousand."""
    return sensible_range(entry.unit) or (0, 900)


class QuestionForm(dict[str, Entry]):
    """The numbers of one gear train as an address gives them, over those that the car gives.

    An address that says nothing of a number leaves the car's; one that empties it takes it away.
    """

    def __init__(self, arguments: Mapping[str, str], car: Question) -> None:
        defaults = car.__dict__
        kind, _, value = (car.pitch or "").partition(":")
        pitch = {"dp": "pitch_dp", "m": "module"}.get(kind)
        if "pitch_dp" in arguments or "module" in arguments:
            pitch = None
        for name, label, symbol in ENTRIES:
            text = arguments.get(name)
            if text is None:
                text = value if name == pitch else plain(defaults.get(name))
            self[name] = Entry(name, label, symbol, text)

    @property
    def errors(self) -> list[str]:
        """The names of the numbers that something is wrong with."""
        return [name for name, entry in self.items() if entry.errors]

    @property
    def numbers(self) -> list[Entry]:
        """The numbers beside pinion and spur; a pitch only where there is one."""
        return [
            entry
            for name, entry in self.items()
            if name not in ("pinion", "spur")
            and (name not in ("pitch_dp", "module") or entry.text or entry.errors)
        ]

    def teeth(self, name: str) -> int | None:
        """The teeth of the pinion or spur, if it can be read."""
        text = self[name].text.strip()
        return int(text) if text.isdecimal() and len(text) < 9 else None

    def question(self) -> Question | None:
        """The question, or None with what is wrong at the entries."""
        values: dict[str, Any] = {}
        for name, entry in self.items():
            if entry.text.strip():
                try:
                    values[name] = parse_number(entry.text, _sensible(entry))
                except ValueError as error:
                    entry.errors.append(str(error))
            elif name in NEEDED:
                entry.errors.append("This is needed.")
        for name, make in PITCHES:
            if name in values:
                try:
                    values["pitch"] = make(values.pop(name))
                except ValueError as error:
                    self[name].errors.append(str(error))
        if self.errors:
            return None
        try:
            return Question(**values)
        except ValidationError as error:
            for finding in error.errors():
                self[str(finding["loc"][0])].errors.append(in_words(finding))
            return None


class TargetForm(Form):
    """A ratio, a rollout or a top speed to come near to; the speed in the unit of the settings."""

    kind = RadioField("Wanted", choices=WANTED, default="ratio")
    value = NumberField(
        "How much", [Needed("Write the figure you want.")], sensible=(0, 900), example="2.79"
    )

    @property
    def is_asked(self) -> bool:
        """Whether a figure, or what should be one, was typed."""
        return bool(self.value._value().strip())

    @property
    def metric_value(self) -> float:
        """The figure wanted: a ratio, mm or km/h."""
        wanted = float(self.value.data)
        return unit("speed").metric(wanted) if self.kind.data == "speed" else wanted

    @property
    def examples(self) -> dict[str, str]:
        """By kind, what may be typed."""
        return {"ratio": "2.80", "rollout": "72 mm", "speed": f"60 {unit('speed').symbol}"}


class FitForm(PitForm):
    """The pair to log as fitted."""

    pinion = WholeField("Pinion", [Needed("How many teeth has the pinion?")])
    spur = WholeField("Spur", [Needed("How many teeth has the spur?")])
