"""Guards for numbers at the door of every formula: finite, in range, or a sentence a racer understands."""

from __future__ import annotations

import math
from numbers import Integral


def number(
    value: float,
    name: str,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    unit: str = "",
    above: bool = False,
) -> float:
    """Return `value` as a float if it is finite and in [low, high] (in (low, high] with `above`).

    Raises:
        ValueError: a sentence that names the quantity, the limit and what was given.

    >>> number(63, "tyre diameter", 20, 200, unit="mm")
    63.0
    >>> number(0, "tyre diameter", 0, above=True, unit="mm")
    Traceback (most recent call last):
    ...
    ValueError: The tyre diameter must be more than 0 mm (0 was given).
    """
    if isinstance(value, bool):
        raise ValueError(f"The {name} must be a number.")
    try:
        result = float(value)
    except (TypeError, ValueError, OverflowError):
        raise ValueError(f"The {name} must be a number.") from None
    if not math.isfinite(result):
        raise ValueError(f"The {name} must be a finite number.")
    behind = f" {unit}" if unit else ""
    if result < low or (above and result <= low):
        least = "more than" if above else "at least"
        raise ValueError(f"The {name} must be {least} {low:g}{behind} ({result:g} was given).")
    if result > high:
        raise ValueError(f"The {name} must be at most {high:g}{behind} ({result:g} was given).")
    return result


def whole(value: int, name: str, low: int, high: int, *, unit: str = "") -> int:
    """Return `value` as an int if it is a whole number in [low, high].

    Raises:
        ValueError: a sentence that names the quantity, the limit and what was given.

    >>> whole(45, "pinion", 6, 200, unit="teeth")
    45
    """
    if isinstance(value, Integral) and not isinstance(value, bool) and low <= value <= high:
        return int(value)
    result = number(value, name, low, high, unit=unit)
    if result != int(result):
        raise ValueError(f"The {name} must be a whole number ({result:g} was given).")
    return int(result)
