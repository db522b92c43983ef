"""A temperature difference as the racer's settings write it."""

from __future__ import annotations

from pitapp.web.forms.quantities import signed, unit


def rise_text(kelvin: float) -> str:
    """A temperature difference in the racer's unit, with its sign."""
    display = unit("temperature_change")
    return f"{signed(display.display_value(kelvin), 0)} {display.symbol}"
