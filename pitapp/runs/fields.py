"""Form fields of the log: lap times, choices among what is on record, and lists of set-up values."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from wtforms import SelectField, ValidationError

from pitapp.runs.formulas import parse_time_s, time_text
from pitapp.web.forms.fields import NumberField
from pitapp.web.forms.quantities import plain


class TimeField(NumberField):
    """A lap or run time in seconds, typed as 14.87, 5:12.4 or 5.12.4, or None when left empty.

    A keypad for numbers has no colon: "5.02" is read as 5:02 where only that lies in `sensible`.
    """

    def as_text(self, data: Any) -> str:
        text = time_text(data)
        return text if ":" in text or parse_time_s(text, self.sensible) < 60 else f"0:{text}"

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed, keeping it for the form's next showing."""
        if valuelist:
            self.typed = valuelist[0]
            self.data = parse_time_s(self.typed[:60], self.sensible) if self.typed.strip() else None


class QuickField(NumberField):
    """A number as one of a few quick choices, or typed beside "other"."""

    other = "other"

    def __init__(
        self, label: str | None = None, *, quick: dict[float, str], **options: Any
    ) -> None:
        super().__init__(label, **options)
        self.quick = quick

    @property
    def choice(self) -> str:
        """The value of the choice that is ticked, or empty."""
        if self.typed is None and self.data in self.quick:
            return plain(self.data)
        return self.other if self._value() else ""

    def as_text(self, data: Any) -> str:
        return "" if data in self.quick else super().as_text(data)

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read the choice, or what was typed where that is "other" or none."""
        choices = {plain(value): value for value in self.quick}
        chosen = next((text for text in valuelist if text in choices), None)
        typed = [text for text in valuelist if text != self.other]
        if chosen is not None and self.other not in valuelist:
            self.typed, self.data = None, choices[chosen]
        else:
            super().process_formdata(typed[-1:])


class WordField(SelectField):
    """One of a few words, or None where none is noted."""

    def __init__(self, label: str | None = None, *, words: Iterable[str], **options: Any) -> None:
        choices = {"": "not noted"} | {word: word for word in words}
        super().__init__(label, coerce=_word, choices=choices, **options)

    def _value(self) -> str:
        return self.data or ""


class IdField(SelectField):
    """A record chosen by id, or None; with `asked`, None is not accepted as an answer."""

    asked = False

    def __init__(self, label: str | None = None, **options: Any) -> None:
        super().__init__(label, coerce=_id, choices={}, **options)

    def set_choices(self, choices: list[tuple[int, str]], none: str = "") -> None:
        """Offer these, behind a choice called `none` unless that is empty."""
        self.choices = ({"": none} if none else {}) | {str(key): text for key, text in choices}

    def called(self, value: int | None) -> str:
        """What a choice is called."""
        return self.choices.get(str(value or ""), "something else")

    def pre_validate(self, form: Any) -> None:
        """Refuse an id that is not offered."""
        if str(self.data or "") not in self.choices:
            raise ValidationError("That is not in the list. Choose another.")


def _word(value: Any) -> str | None:
    return None if value in (None, "", "None") else str(value)


def _id(value: Any) -> int | None:
    return None if value in (None, "", "None") else int(str(value)[:18])
