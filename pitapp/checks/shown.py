"""Readings as the racer types and reads them: units of choice outside, metric plain text inside."""

from __future__ import annotations

from pitapp.checks.models import Asked, Step
from pitapp.web.fields import parse_number
from pitapp.web.quantities import Shown, plain, unit

CONVERTED = {"g": "mass", "°C": "temperature"}
MOST = 1e9
MOST_CHARACTERS = 200


def shown_unit(symbol: str) -> str:
    """The unit in which a step with this metric unit is shown."""
    found = _converted(symbol)
    return found.symbol if found else symbol


def reading(text: str, symbol: str = "") -> str:
    """A stored reading with its unit, as text."""
    try:
        value = float(text)
    except ValueError:
        return text
    between = "" if symbol in ("", "°") else " "
    return f"{figure(value, symbol)}{between}{shown_unit(symbol)}"


def figure(value: float, symbol: str) -> str:
    """A metric value in the racer's unit, without the unit, thousands set apart."""
    found = _converted(symbol)
    text = plain(float(f"{found.shown(value):.6g}") if found else value)
    whole, point, rest = text.partition(".")
    if len(whole.lstrip("-")) > 4 and "e" not in text:
        whole = f"{int(whole):,}".replace(",", "\u202f")
    return f"{whole}{point}{rest}".replace("-", "−")


def typed(text: str, symbol: str) -> str:
    """A stored reading as it stands in a field to be changed."""
    try:
        value = float(text)
    except ValueError:
        return text
    found = _converted(symbol)
    return plain(float(f"{found.shown(value):.6g}") if found else value)


def tidy(step: Step, text: str) -> str:
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
    value = parse_number(text)
    found = _converted(step.unit)
    value = found.metric(value) if found else value
    if abs(value) > MOST:
        raise ValueError("That number is too large.")
    return f"{value:.10g}"


def asked_text(asked: Asked | None, symbol: str) -> str:
    """What a class asks, in words."""
    if asked is None:
        return ""
    least, most = (
        reading(repr(limit), symbol) if limit is not None else ""
        for limit in (asked.least, asked.most)
    )
    if asked.least is not None and asked.least == asked.most:
        return f"exactly {least}"
    if asked.least is not None and asked.most is not None:
        return f"{least} to {most}"
    return f"at least {least}" if asked.least is not None else f"at most {most}"


def _converted(symbol: str) -> Shown | None:
    return unit(CONVERTED[symbol]) if symbol in CONVERTED else None
