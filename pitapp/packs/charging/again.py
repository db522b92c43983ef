"""A charge "as last time": whether it may be offered, and what its one page asks.

It saves taps and no caution: the page shows every step of `prompts`, nothing on it is answered
beforehand, and what was set on the charger last time is read off its screen again. In doubt it is
not offered, and the charge goes by steps. Pure: no clock, no database.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from pitapp.checks.models import Limit
from pitapp.packs.cell import FULL_CELL_V
from pitapp.packs.charging.prompts import STEPS
from pitapp.packs.charging.steps import allowed_a
from pitapp.packs.health.condition import CareLimits, cell_spread_v
from pitapp.packs.health.state import PackState
from pitapp.packs.models import Charge, ChargerRecord, Reading
from pitapp.packs.safety import CHARGE_TEMPERATURE_C, OVERFULL_CELL_V
from pitapp.web.forms.quantities import quantity

KEY = "again"
"""The key of its page among the steps."""
END_KEY = "end_v"
"""Under which the voltage is kept at which the charger ends."""
MOST_APART_V = CareLimits().spread_retire_v
"""Resting cells farther apart are looked at by steps: rule of thumb, no source."""
GROWTH = 1.2
SPREAD_STEP_V = 0.01
"""From reading to reading, a resistance that grows by a fifth or cells that drift 10 mV further apart
have changed: our own margins."""
LEAST_END_CELL_V = 4.0
"""A charger that ends lower is set for other cells, or for storage: our own margin."""
NOT_KNOWN = "The charger of last time is not known."


@dataclass(frozen=True)
class LastTime:
    """What was set the last time: cells and current, on which charger if that is known."""

    cells_set: int
    current_a: float
    charger: ChargerRecord | None


def reasons_against(
    state: PackState,
    charge: Charge | None,
    chargers: Sequence[ChargerRecord],
    *,
    readings: Sequence[Reading],
    wrong_at: datetime | None,
    now: datetime,
) -> list[str]:
    """Why this pack is not charged as last time, as sentences; none means that it may be offered.

    Args:
        state: the pack as it stands.
        charge: its newest charge to full that was started and has ended.
        chargers: those that are along.
        readings: its newest, newest first.
        wrong_at: when it was last said, before a charge, that it looks or feels wrong.
        now: the moment.
    """
    if charge is None or charge.started_at is None or charge.current_a is None:
        return ["No charge to full is on record yet."]
    reasons = []
    if charge.outcome == "trouble":
        reasons.append("Something was wrong at the last charge.")
    if wrong_at and wrong_at >= charge.started_at:
        reasons.append("It was said to look or feel wrong.")
    if charge.pack_version != state.pack.version:
        reasons.append("Its record was changed since the last charge, or is not known from then.")
    if worn := state.worn(now):
        reasons += worn.reasons
    reasons += _changed(readings, charge.started_at)
    reasons += _charger_reasons(charge, chargers)
    if charge.cells_set != state.pack.cells_series or charge.current_a > allowed_a(state.pack):
        reasons.append("What was set last time is not what its label says.")
    return reasons


def _changed(readings: Sequence[Reading], since: datetime) -> list[str]:
    reasons = []
    warm = next((each for each in readings if each.cell_c is not None), None)
    cell_c = warm.cell_c if warm and warm.read_at >= since else None
    if cell_c is not None and cell_c > CHARGE_TEMPERATURE_C[1]:
        warmth = quantity(cell_c, "temperature")
        reasons.append(f"It was hot when it was last read: {warmth}.")
    rested = [each for each in readings if each.cell_v and each.after_charge]
    if any(_drifted(*pair) for pair in _pairs_since(rested, since)):
        reasons.append("Its cells are farther apart than before.")
    measured = [each for each in readings if each.cell_ohm]
    if any(_grown(*pair) for pair in _pairs_since(measured, since)):
        reasons.append("Its resistance has grown since the reading before.")
    if any(max(each.cell_v) > OVERFULL_CELL_V for each in rested if each.read_at >= since):
        reasons.append(f"A cell was over {OVERFULL_CELL_V} V after the last charge.")
    return reasons


def _pairs_since(readings: Sequence[Reading], since: datetime) -> list[tuple[Reading, Reading]]:
    """Each reading since then with the one before it."""
    return [pair for pair in pairwise(readings) if pair[0].read_at >= since]


def _drifted(newer: Reading, older: Reading) -> bool:
    return cell_spread_v(newer.cell_v) > cell_spread_v(older.cell_v) + SPREAD_STEP_V


def _grown(newer: Reading, older: Reading) -> bool:
    return max(newer.cell_ohm) > GROWTH * max(older.cell_ohm)


def _charger_reasons(charge: Charge, chargers: Sequence[ChargerRecord]) -> list[str]:
    if charge.charger_id is None:
        return [NOT_KNOWN] if chargers else []
    if any(each.id == charge.charger_id for each in chargers):
        return []
    return ["The charger of last time is not along."]


def last_time(charge: Charge, chargers: Sequence[ChargerRecord]) -> LastTime:
    """What was set at a charge that may be repeated."""
    if charge.cells_set is None or charge.current_a is None:
        raise ValueError("this charge was never started")
    charger = next((each for each in chargers if each.id == charge.charger_id), None)
    return LastTime(charge.cells_set, charge.current_a, charger)


def end_limit(cells: int) -> Limit:
    """The voltage at which the charger may end.

    Source: a cell is full at 4.2 V: University of Washington, Environmental Health & Safety.

    >>> end_limit(2).most
    8.4
    """
    return Limit(least=round(LEAST_END_CELL_V * cells, 3), most=round(FULL_CELL_V * cells, 3))


def end_refusal(cells: int) -> str:
    """What speaks against another voltage, with `{shown}` for it."""
    limit = end_limit(cells)
    return (
        f"The charger ends at {{shown}}; {cells} cells end at {limit.least:g} to {limit.most:g} V. "
        "Do not start it: set the charger again."
    )


def apart_refusal(volts: Sequence[float]) -> str:
    """What speaks against cells that rest apart; empty where nothing does."""
    if len(volts) < 2 or cell_spread_v(volts) <= MOST_APART_V + 1e-9:
        return ""
    return APART


APART = f"The cells are more than {MOST_APART_V * 1000:.0f} mV apart. Charge it by steps."


def answers_as_stored(warmth: str, cells: str, program: str, end_v: float) -> Mapping[str, str]:
    """What the one page answers, by step, as each step's own screen would keep it."""
    read = {"warmth": warmth, "cells": cells, "program": program}
    answers = {step.key: read.get(step.key, "yes") for step in STEPS}
    return answers | {END_KEY: f"{end_v:.10g}"}
