"""Form fields that take what racers type: decimal commas, units behind a number, lists of teeth."""

from __future__ import annotations

import math
from contextlib import suppress
from typing import Any

from markupsafe import Markup
from wtforms import Field
from wtforms.validators import StopValidation
from wtforms.widgets import TextInput

from pitapp.web.forms.quantities import DisplayUnit, plain, unit

MOST_CHARACTERS = 40
MAY_BE_NEGATIVE = {"temperature", "temperature_change"}
MOST_TYPED_DECIMALS, LEAST_FIGURES = 4, 4


def parse_number(text: str) -> float:
    """The number in `text`: a decimal comma or point, spaces and a true minus sign are understood.

    Raises:
        ValueError: a sentence that says what is wrong with the text.

    >>> parse_number("63,5"), parse_number("−2"), parse_number("14 600")
    (63.5, -2.0, 14600.0)
    """
    tidy = text.strip().replace("\u2212", "-").replace("\u00a0", "").replace("\u202f", "")
    tidy = tidy.replace(" ", "").replace("'", "").replace("’", "")
    if len(tidy) > MOST_CHARACTERS:
        raise ValueError("That is too long for a number.")
    if "," in tidy:
        if "." in tidy or tidy.count(",") > 1:
            raise ValueError(
                "Write it with one decimal comma or point and nothing between thousands."
            )
        tidy = tidy.replace(",", ".")
    if not all(character in "0123456789.+-eE" for character in tidy) or not tidy.isascii():
        raise ValueError("Write a number here, such as 63.5.")
    try:
        value = float(tidy)
    except ValueError:
        raise ValueError("Write a number here, such as 63.5.") from None
    if not math.isfinite(value):
        raise ValueError("That number is too large.")
    return value


class NumberField(Field):
    """A decimal number, or None when left empty."""

    widget: Any = TextInput()
    keypad = "decimal"
    most_characters = MOST_CHARACTERS
    data: Any

    def __init__(self, label: str | None = None, validators: Any = None, **options: Any) -> None:
        self.unit_symbol: str = options.pop("unit", "")
        self.signed: bool = options.pop("signed", False)
        keywords = {
            "inputmode": self.keypad,
            "autocomplete": "off",
            "maxlength": self.most_characters,
        }
        options["render_kw"] = keywords | options.get("render_kw", {})
        super().__init__(label, validators, **options)
        self.typed: str | None = None

    def _value(self) -> str:
        if self.typed is not None:
            return self.typed
        return plain(self.to_shown(self.data)) if self.data is not None else ""

    def to_shown(self, value: float) -> float:
        """The value as it stands in the field."""
        return value

    def to_metric(self, value: float) -> float:
        """The value that the field's number means."""
        return value

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed, keeping it for the form's next showing."""
        if not valuelist:
            return
        self.typed = valuelist[0]
        self.data = None
        if self.typed.strip():
            self.data = self.to_metric(parse_number(self.typed))


class WholeField(NumberField):
    """A whole number, or None when left empty."""

    keypad = "numeric"

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed; a fraction is refused."""
        super().process_formdata(valuelist)
        if self.data is not None:
            if self.data != int(self.data):
                raise ValueError("Write a whole number here.")
            self.data = int(self.data)


class ExactInput(TextInput):
    """The input of a quantity, with the exact value behind the one shown."""

    def __call__(self, field: QuantityField, **options: Any) -> Markup:
        """The two inputs."""
        markup: Markup = super().__call__(field, **options)
        return markup + field.exactly()


class QuantityField(NumberField):
    """A quantity, typed and shown in the racer's unit and metric inside; see `quantities.KINDS`.

    What was typed is shown as it was typed, other values are rounded. The exact value goes along
    with the form: a field that nobody touched keeps it.
    """

    widget = ExactInput()

    def __init__(
        self, label: str | None = None, validators: Any = None, *, kind: str, **options: Any
    ) -> None:
        self.shown_in: DisplayUnit = unit(kind)
        self.exact: float | None = None
        options = {"signed": kind in MAY_BE_NEGATIVE} | options
        super().__init__(label, validators, unit=self.shown_in.symbol, **options)

    def to_shown(self, value: float) -> float:
        """The metric value in the racer's unit: with few decimals if that is all, else rounded."""
        displayed = self.shown_in.display_value(value)
        for digits in range(MOST_TYPED_DECIMALS + 1):
            if math.isclose(round(displayed, digits), displayed, rel_tol=1e-11, abs_tol=1e-9):
                return round(displayed, digits)
        leading = math.floor(math.log10(abs(displayed)))
        return round(displayed, max(self.shown_in.digits, LEAST_FIGURES - 1 - leading))

    def to_metric(self, value: float) -> float:
        """What was typed, in metric."""
        return self.shown_in.metric(value)

    def exactly(self) -> Markup:
        """A hidden input with the exact value, where the one shown is rounded."""
        value = self.data if self.typed is None else self.exact
        if value is None or self.to_metric(self.to_shown(value)) == value:
            return Markup("")
        return Markup('<input type="hidden" name="{}" value="{!r}">').format(self._beside, value)

    @property
    def _beside(self) -> str:
        return f"{self.name}-exact"

    def process(self, formdata: Any, *rest: Any, **options: Any) -> None:
        """Read what was typed, and the exact value that it was shown for."""
        with suppress(ValueError):
            self.exact = parse_number((formdata or {}).get(self._beside, ""))
        super().process(formdata, *rest, **options)

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed; the rounded value itself means the exact one."""
        super().process_formdata(valuelist)
        if self.data is None or self.exact is None or self.typed is None:
            return
        if self.typed.strip() == plain(self.to_shown(self.exact)):
            self.data = self.exact


class MilliohmField(NumberField):
    """A resistance, typed and shown in mΩ and in Ω inside."""

    def __init__(self, label: str | None = None, validators: Any = None, **options: Any) -> None:
        super().__init__(label, validators, unit="mΩ", **options)

    def to_shown(self, value: float) -> float:
        """The resistance in mΩ, without the noise of converting."""
        return float(f"{value * 1000:.8g}")

    def to_metric(self, value: float) -> float:
        """What was typed, in Ω."""
        if not 0.1 <= value <= 100_000:
            raise ValueError("Write it in mΩ, from 0.1 to 100 000: 0.02 Ω is 20 mΩ.")
        return value / 1000


class Needed:
    """Something must be typed; a field that already has an error keeps that one."""

    field_flags = {"required": True}  # noqa: RUF012

    def __init__(self, sentence: str = "This is needed.") -> None:
        self.sentence = sentence

    def __call__(self, form: Any, field: Any) -> None:
        if field.errors:
            raise StopValidation
        if field.data is None or (isinstance(field.data, str) and not field.data.strip()):
            field.errors = []
            raise StopValidation(self.sentence)
