"""Units at the edge: inside, everything is metric; only what is typed or read is converted."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import NamedTuple

from pitapp.limits import number, whole

LARGEST = 999_999
"""No figure of a model car is larger than this in any unit offered here."""
MOST_DECIMALS = 6


class Unit(NamedTuple):
    """A unit of a quantity: base value = (value + `shift`) × `scale`, exactly.

    >>> UNITS["mph"].scale
    Fraction(1397, 3125)
    """

    quantity: str
    scale: Fraction
    shift: Fraction = Fraction(0)


UNITS: dict[str, Unit] = {
    "m/s": Unit("speed", Fraction("1")),
    "km/h": Unit("speed", Fraction("5/18")),
    "mph": Unit("speed", Fraction("0.44704")),
    "m": Unit("length", Fraction("1")),
    "cm": Unit("length", Fraction("0.01")),
    "mm": Unit("length", Fraction("0.001")),
    "in": Unit("length", Fraction("0.0254")),
    "ft": Unit("length", Fraction("0.3048")),
    "g": Unit("mass", Fraction("1")),
    "kg": Unit("mass", Fraction("1000")),
    "oz": Unit("mass", Fraction("28.349523125")),
    "lb": Unit("mass", Fraction("453.59237")),
    "°C": Unit("temperature", Fraction("1"), Fraction("273.15")),
    "°F": Unit("temperature", Fraction("5/9"), Fraction("459.67")),
    "K": Unit("temperature rise", Fraction("1")),
    "°F rise": Unit("temperature rise", Fraction("5/9")),
}
"""Every unit shown or taken. A rise (hotter *by*) is no temperature: 10 K is an 18 °F rise."""


def units_of(quantity: str) -> tuple[str, ...]:
    """Return the units of a quantity: speed, length, mass, temperature or temperature rise.

    Raises:
        ValueError: there is no such quantity.

    >>> units_of("speed")
    ('m/s', 'km/h', 'mph')
    """
    symbols = tuple(symbol for symbol, unit in UNITS.items() if unit.quantity == quantity)
    if not symbols:
        raise ValueError(f"There is no quantity named {quantity!r} here.")
    return symbols


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Return `value`, given in `from_unit`, in `to_unit`.

    Formula: ((value + shift₁) × scale₁) / scale₂ − shift₂, in exact fractions, rounded once.
    Exact by definition: 1 mph = 0.44704 m/s, 1 in = 25.4 mm, 1 ft = 304.8 mm, 1 lb = 453.59237 g,
    1 oz = 28.349523125 g, °F = °C × 9/5 + 32.

    Args:
        value: −999 999 to 999 999; a temperature not below absolute zero.
        from_unit: a key of `UNITS`.
        to_unit: a key of `UNITS` of the same quantity.

    Raises:
        ValueError: not a number, too large, colder than absolute zero, an unknown unit, or
            two units that measure different things.

    Source: international yard and pound agreement of 1959; NIST Special Publication 811.

    >>> convert(30, "mph", "km/h")
    48.28032
    >>> convert(2.5, "in", "mm")
    63.5
    >>> convert(104, "°F", "°C")
    40.0
    >>> convert(1, "mph", "mm")
    Traceback (most recent call last):
    ...
    ValueError: A speed in mph cannot be turned into a length in mm.
    """
    source, target = _unit(from_unit), _unit(to_unit)
    if source.quantity != target.quantity:
        raise ValueError(
            f"A {source.quantity} in {from_unit} cannot be turned into "
            f"a {target.quantity} in {to_unit}."
        )
    exact = Fraction(number(value, source.quantity, -LARGEST, LARGEST, unit=from_unit))
    if source.quantity == "temperature" and exact + source.shift < 0:
        raise ValueError(f"Nothing is as cold as {float(exact):g} {from_unit}.")
    return float((exact + source.shift) * source.scale / target.scale - target.shift)


def rounded_text(value: float, decimals: int) -> str:
    """Return `value` as text with `decimals` places for people to read; halves go away from zero.

    Args:
        value: any finite number up to 999 999 in size.
        decimals: 0 to 6.

    Raises:
        ValueError: `value` or `decimals` is not a number in its range.

    >>> rounded_text(2.5, 0), rounded_text(69.1666, 2), rounded_text(-0.001, 1)
    ('3', '69.17', '0.0')
    """
    exact = Decimal(number(value, "figure", -LARGEST, LARGEST))
    places = whole(decimals, "number of decimals", 0, MOST_DECIMALS)
    rounded = exact.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    return f"{abs(rounded) if rounded == 0 else rounded:f}"


def _unit(symbol: str) -> Unit:
    try:
        return UNITS[symbol]
    except (KeyError, TypeError):
        raise ValueError(f"There is no unit named {symbol!r} here.") from None


def with_minus(text: str) -> str:
    """A number's text with a minus sign, as long as a plus, in place of a hyphen.

    >>> with_minus("-2.5")
    '−2.5'
    """
    return text.replace("-", "−")
