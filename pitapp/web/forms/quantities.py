"""Quantities at the edge: metric inside, shown and typed in the racer's units."""

from __future__ import annotations

from typing import NamedTuple

from flask import Flask

from pitapp.units import LARGEST, MOST_DECIMALS, convert, rounded_text, with_minus
from pitapp.web.clock import current_settings


class DisplayUnit(NamedTuple):
    """How a kind of quantity is shown: its unit in `pitapp.units`, the symbol, the usual decimals."""

    metric_unit: str
    unit: str
    symbol: str
    digits: int

    def display_value(self, metric: float) -> float:
        """The value in this unit."""
        return (
            metric
            if self.unit == self.metric_unit
            else convert(metric, self.metric_unit, self.unit)
        )

    def text(self, metric: float | None) -> str:
        """The value in this unit with its usual decimals; nothing for None."""
        return "" if metric is None else rounded(self.display_value(metric), self.digits)

    def metric(self, value: float) -> float:
        """The metric value of what was typed in this unit."""
        return (
            value if self.unit == self.metric_unit else convert(value, self.unit, self.metric_unit)
        )


KINDS: dict[str, dict[str, DisplayUnit]] = {
    "speed": {
        "metric": DisplayUnit("km/h", "km/h", "km/h", 1),
        "imperial": DisplayUnit("km/h", "mph", "mph", 1),
    },
    "temperature": {
        "metric": DisplayUnit("°C", "°C", "°C", 0),
        "imperial": DisplayUnit("°C", "°F", "°F", 0),
    },
    "temperature_change": {
        "metric": DisplayUnit("K", "K", "°C", 0),
        "imperial": DisplayUnit("K", "°F rise", "°F", 0),
    },
    "mass": {"metric": DisplayUnit("g", "g", "g", 0), "imperial": DisplayUnit("g", "oz", "oz", 2)},
    "track_length": {
        "metric": DisplayUnit("m", "m", "m", 1),
        "imperial": DisplayUnit("m", "ft", "ft", 1),
    },
}
CHOSEN_BY = {
    "speed": "speed_unit",
    "temperature": "temperature_unit",
    "temperature_change": "temperature_unit",
    "mass": "mass_unit",
    "track_length": "length_unit",
}


def unit(kind: str) -> DisplayUnit:
    """The unit in which the settings want this kind of quantity."""
    chosen = current_settings().get(CHOSEN_BY[kind], "metric")
    return KINDS[kind].get(chosen) or KINDS[kind]["metric"]


def rounded(value: float, digits: int) -> str:
    """`value` with that many decimals and a true minus sign; halves go away from zero.

    >>> rounded(-0.04, 1), rounded(-2.787, 2), rounded(2.125, 2)
    ('0.0', '−2.79', '2.13')
    """
    if abs(value) <= LARGEST and digits <= MOST_DECIMALS:
        return with_minus(rounded_text(value, digits))
    text = f"{value:.{digits}f}"
    return with_minus(text.lstrip("-") if float(text) == 0 else text)


def quantity(value: float, kind: str, digits: int | None = None) -> str:
    """A metric value as text in the racer's unit, with its symbol."""
    shown_in = unit(kind)
    places = shown_in.digits if digits is None else digits
    return f"{rounded(shown_in.display_value(value), places)} {shown_in.symbol}"


def plain(value: float | None) -> str:
    """A number as a racer would type it, with nothing behind that says nothing.

    >>> plain(63.0), plain(1.9), plain(None)
    ('63', '1.9', '')
    """
    return "" if value is None else f"{value:.10g}"


def grouped(value: float | None) -> str:
    """`plain` to be read: a true minus, and thousands set apart from five figures on.

    >>> grouped(14600.0).replace("\u202f", " "), grouped(6000), grouped(-2.5)
    ('14 600', '6000', '−2.5')
    """
    text = plain(value)
    whole, point, rest = text.partition(".")
    if len(whole.lstrip("-")) > 4 and "e" not in text:
        whole = f"{int(whole):,}".replace(",", "\u202f")
    return with_minus(f"{whole}{point}{rest}")


def signed(value: float, digits: int) -> str:
    """`rounded` with its sign always shown.

    >>> signed(1.25, 1), signed(-0.5, 1), signed(0, 1)
    ('+1.3', '−0.5', '0.0')
    """
    text = rounded(value, digits)
    return text if text.startswith("−") or float(text) == 0 else f"+{text}"


def register(app: Flask) -> None:
    """Offer the filters below and the function `unit` to templates."""
    app.jinja_env.filters.update(
        rounded=rounded, signed=signed, quantity=quantity, plain=plain, grouped=grouped
    )
    app.jinja_env.globals["unit"] = unit
