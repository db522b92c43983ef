"""Readings as the racer types and reads them: units of choice outside, metric plain text inside."""

from __future__ import annotations

from collections.abc import Iterable

from pitapp.checks.models import Limit, Step
from pitapp.checks.scope import outside_range
from pitapp.web.forms.fields import parse_number, sensible_range
from pitapp.web.forms.quantities import DisplayUnit, grouped, plain, unit

CONVERTED = {"g": "mass", "°C": "temperature"}
MAY_BE_NEGATIVE = {"°", "°C", "mm", ""}
MOST = 1e9
MOST_CHARACTERS = 200


def display_unit(symbol: str) -> str:
    """The unit in which a step with this metric unit is shown."""
    display = _converted(symbol)
    return display.symbol if display else symbol


def may_be_negative(step: Step) -> bool:
    """Whether a reading at this step may have a minus: angles, lengths, temperatures and bare numbers."""
    return step.kind == "number" and step.unit in MAY_BE_NEGATIVE


def reading(text: str, symbol: str = "") -> str:
    """A stored reading with its unit, as text."""
    try:
        value = float(text)
    except ValueError:
        return text
    between = "" if symbol in ("", "°") else " "
    return f"{figure(value, symbol)}{between}{display_unit(symbol)}"


def figure(value: float, symbol: str) -> str:
    """A metric value in the racer's unit, without the unit, thousands set apart."""
    display = _converted(symbol)
    return grouped(float(f"{display.display_value(value):.6g}") if display else value)


def field_text(text: str, symbol: str) -> str:
    """A stored reading as it stands in a field to be changed."""
    try:
        value = float(text)
    except ValueError:
        return text
    display = _converted(symbol)
    return plain(float(f"{display.display_value(value):.6g}") if display else value)


def to_stored(step: Step, text: str) -> str:
    """What was typed or tapped at a step, as it is stored: metric, plain.

    Raises:
        ValueError: a sentence that says what is wrong with it.
    """
    text = " ".join(text.split())
    if not text or len(text) > MOST_CHARACTERS:
        raise ValueError("Write what it shows." if not text else "Keep this under 200 characters.")
    if step.kind == "do":
        return "done"
    if step.kind == "yesno":
        if text.casefold() not in ("yes", "no"):
            raise ValueError("Choose yes or no.")
        return text.casefold()
    if step.kind != "number":
        return text
    if text.casefold() in ("off", "on"):
        return "0" if step.topic == "timing" and text.casefold() == "off" else text.casefold()
    value = parse_number(text, sensible_range(display_unit(step.unit)))
    display = _converted(step.unit)
    value = display.metric(value) if display else value
    if abs(value) > MOST:
        raise ValueError("That number is too large.")
    return f"{value:.10g}"


def wait_text(seconds: int) -> str:
    """A wait, in whole minutes where it is that, else in seconds.

    >>> wait_text(600), wait_text(90)
    ('10 min', '90 s')
    """
    return f"{seconds // 60} min" if seconds >= 120 and seconds % 60 == 0 else f"{seconds} s"


def limit_text(class_limit: Limit | None, symbol: str) -> str:
    """What a class asks, in words."""
    if class_limit is None:
        return ""
    least, most = (
        reading(repr(limit), symbol) if limit is not None else ""
        for limit in (class_limit.least, class_limit.most)
    )
    if class_limit.least is not None and class_limit.least == class_limit.most:
        return f"exactly {least}"
    if class_limit.least is not None and class_limit.most is not None:
        return f"{least} to {most}"
    return f"at least {least}" if class_limit.least is not None else f"at most {most}"


def range_text(step: Step) -> str:
    """Between which figures a setting can be set, in words; empty where that is not noted."""
    if step.range_least is None and step.range_most is None:
        return ""
    return limit_text(Limit(least=step.range_least, most=step.range_most), step.unit)


def range_doubt(step: Step, text: str, known: Iterable[str] = ()) -> str:
    """The question about a reading outside the noted range; empty where there is none."""
    return range_question(step) if outside_range(step, text, known) else ""


def range_question(step: Step) -> str:
    """What is asked about a reading outside the noted range."""
    return f"Outside the range noted here ({range_text(step)}). Is it right?"


def lower_first(text: str) -> str:
    """The text as it stands amid a sentence.

    >>> lower_first("Profile 2, Wet")
    'profile 2, Wet'
    """
    return text[:1].lower() + text[1:]


def _converted(symbol: str) -> DisplayUnit | None:
    return unit(CONVERTED[symbol]) if symbol in CONVERTED else None
