"""Form fields that take what racers type: decimal commas, units behind a number, lists of teeth."""

from __future__ import annotations

import math
import re
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


# By unit: what a racer's figure in it can be, and one such figure.
_BY_UNIT: dict[str, tuple[float, float, str]] = {
    "rpm": (500, 300_000, "14600"),
    "rpm/V": (50, 30_000, "2380"),
    "mAh": (50, 100_000, "6000"),
    "W": (5, 10_000, "150"),
    "g": (5, 10_000, "1320"),
    "oz": (0, 999, "46.5"),
    "V": (0, 100, "7.4"),
    "A": (0, 900, "5.5"),
    "C": (0, 100, "1"),
    "mΩ": (0, 900, "2.5"),
    "mm": (-900, 900, "63.5"),
    "°": (-360, 360, "7.5"),
    "°C": (-90, 400, "61"),
    "°F": (-130, 750, "142"),
    "km/h": (0, 400, "62.5"),
    "mph": (0, 250, "38.5"),
    "%": (-100, 100, "12.5"),
    "min": (0, 900, "20"),
    "m": (0, 5000, "23.5"),
    "ft": (0, 15_000, "77"),
}
ANY_EXAMPLE = "63.5"
_SPACES = re.compile("[ \u00a0\u2009\u202f'’]")
_GROUPED = re.compile(r"[-+]?\d{1,3}(?: \d{3})+(?!\d)")
_ONE_SIGN = re.compile(r"([-+]?)([1-9]\d{0,2})([.,])(\d{3})\Z")
_MANY_SIGNS = re.compile(r"[-+]?\d{1,3}([.,])\d{3}(?:\1\d{3})+\Z")
_BOTH_SIGNS = re.compile(r"[-+]?\d{1,3}(?:([.,])\d{3})+(?!\1)[.,]\d+\Z")
_DECIMAL = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?\Z", re.ASCII)


def sensible_range(unit_symbol: str) -> tuple[float, float] | None:
    """What a racer's figure in this unit can be, least and most; None where anything can be."""
    figures = _BY_UNIT.get(unit_symbol)
    return figures[:2] if figures else None


def parse_number(
    text: str, sensible: tuple[float, float] | None = None, example: str = ANY_EXAMPLE
) -> float:
    """The number in `text`, as people write numbers.

    Decimal comma or point, thousands set apart by a space, an apostrophe, a comma or a point, "16k"
    for thousands and a true minus are understood. Where a comma or point before three figures can be
    either, `sensible` (least, most) decides; a point that both fit is a decimal one, as pitapp
    writes it.

    Raises:
        ValueError: a sentence that says what is wrong with the text, or names both readings.

    >>> parse_number("63,5"), parse_number("−2"), parse_number("14 600"), parse_number("16k")
    (63.5, -2.0, 14600.0, 16000.0)
    >>> parse_number("14,600", (500, 200_000)), parse_number("8,402", (0, 60))
    (14600.0, 8.402)
    """
    no_number = f"Write a number here, such as {example}."
    tidy = text.strip().replace("\u2212", "-")
    if len(tidy) > MOST_CHARACTERS:
        raise ValueError("That is too long for a number.")
    tidy = _without_spaces(tidy, no_number)
    times = 1.0
    if tidy[-1:] in ("k", "K"):
        tidy, times = tidy[:-1], 1000.0
    readings = [_finite(each, no_number) * times for each in _readings(tidy)]
    if len(readings) > 1 and sensible:
        within = [each for each in readings if sensible[0] <= each <= sensible[1]]
        readings = within or readings[:1]
    if len(readings) > 1 and "." not in tidy:
        first, second = (f"{each:.10g}" for each in readings)
        raise ValueError(f"Is that {first} or {second}? Write it without the comma.")
    if not math.isfinite(readings[0]):
        raise ValueError("That number is too large.")
    return readings[0]


def _without_spaces(text: str, no_number: str) -> str:
    """The text without spaces and apostrophes: between figures they may only part thousands."""
    spaced = _SPACES.sub(" ", text)
    for grouped in _GROUPED.findall(spaced):
        spaced = spaced.replace(grouped, grouped.replace(" ", ""))
    if re.search(r"\d +\d", spaced):
        raise ValueError(no_number)
    return spaced.replace(" ", "")


def _readings(tidy: str) -> list[str]:
    """What commas and points can mean: one text with a decimal point, or that and one without."""
    if one := _ONE_SIGN.match(tidy):
        sign, whole, _, rest = one.groups()
        return [f"{sign}{whole}.{rest}", f"{sign}{whole}{rest}"]
    if _MANY_SIGNS.match(tidy):
        return [tidy.replace(",", "").replace(".", "")]
    if both := _BOTH_SIGNS.match(tidy):
        return [tidy.replace(both[1], "").replace(",", ".")]
    return [tidy.replace(",", ".")]


def _finite(text: str, no_number: str) -> float:
    if not _DECIMAL.match(text):
        raise ValueError(no_number)
    value = float(text)
    if not math.isfinite(value):
        raise ValueError("That number is too large.")
    return value


class TypedField(Field):
    """A field that shows again exactly what was typed."""

    data: Any

    def __init__(self, label: str | None = None, validators: Any = None, **options: Any) -> None:
        super().__init__(label, validators, **options)
        self.typed: str | None = None

    def _value(self) -> str:
        if self.typed is not None:
            return self.typed
        return self.as_text(self.data) if self.data is not None else ""

    def as_text(self, data: Any) -> str:
        """Text of a value in a field that nobody has typed in."""
        raise NotImplementedError


class NumberField(TypedField):
    """A decimal number, or None when left empty.

    `sensible` (least, most, in the field's unit) decides between two readings of a comma, `example`
    stands in the sentence about what is no number; both follow from the unit where they are not given.
    """

    widget: Any = TextInput()
    keypad = "decimal"
    most_characters = MOST_CHARACTERS

    def __init__(self, label: str | None = None, validators: Any = None, **options: Any) -> None:
        self.unit_symbol: str = options.pop("unit", "")
        self.signed: bool = options.pop("signed", False)
        least, most, example = _BY_UNIT.get(self.unit_symbol, (None, None, ANY_EXAMPLE))
        known = None if least is None or most is None else (least, most)
        self.sensible: tuple[float, float] | None = options.pop("sensible", known)
        self.example: str = options.pop("example", example)
        keywords = {
            "inputmode": self.keypad,
            "autocomplete": "off",
            "maxlength": self.most_characters,
        }
        options["render_kw"] = keywords | options.get("render_kw", {})
        super().__init__(label, validators, **options)

    def as_text(self, data: Any) -> str:
        return plain(self.to_shown(data))

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
            self.data = self.to_metric(self.read(self.typed))

    def read(self, text: str) -> float:
        """The number in the text, in the field's unit."""
        return parse_number(text, self.sensible, self.example)


class WholeField(NumberField):
    """A whole number, or None when left empty."""

    keypad = "numeric"

    def read(self, text: str) -> float:
        """The number in the text; before three figures a comma parts thousands."""
        return parse_number(text, (1000, 999_999) if "," in text else None, "12")

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
