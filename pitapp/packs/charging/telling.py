"""What was answered, as people write it, and when a start was tapped."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from pitapp.packs.charging.steps import cells_of, program_of
from pitapp.packs.safety import CHARGE_TEMPERATURE_C
from pitapp.web.quantities import quantity

LONGEST = timedelta(hours=24)
"""No countdown is longer, and no start arrives later."""
MOST_DIGITS = 14


def pressed_at(told_ms: str, now: datetime) -> datetime:
    """When a start was tapped, which may be a while before it arrives; never later than now.

    >>> now = datetime(2026, 5, 3, 9, 30, tzinfo=UTC)
    >>> pressed_at(str(int(now.timestamp() - 60) * 1000), now).minute, pressed_at("x", now).minute
    (29, 30)
    """
    if not (told_ms.isdecimal() and told_ms.isascii() and len(told_ms) <= MOST_DIGITS):
        return now
    pressed = datetime.fromtimestamp(int(told_ms) / 1000, UTC)
    return pressed if now - LONGEST < pressed < now else now


def warmth_refusal(cell_c: float) -> str:
    """Why cells so cold or warm are not charged, in the racer's unit; empty where they may be."""
    coldest, hottest = CHARGE_TEMPERATURE_C
    if coldest <= cell_c <= hottest:
        return ""
    at = f"The cells are at {quantity(cell_c, 'temperature')}."
    if cell_c < coldest:
        return f"{at} Warm them to {quantity(coldest, 'temperature')} or more first."
    return f"{at} Let them cool to {quantity(hottest, 'temperature')} or less first."


def readings_text(answers: Mapping[str, str]) -> dict[str, str]:
    """The readings among the answers as people write them, by step."""
    program = program_of(answers)
    cells = ", ".join(f"{volts:.2f}" for volts in cells_of(answers))
    return {
        "warmth": quantity(float(answers["warmth"]), "temperature") if "warmth" in answers else "",
        "cells": f"{cells} V",
        "program": f"{program.cells_set} cells, {program.current_a:g} A" if program else "",
    }
