"""The forecast's line on the Board: which gear to try in a practice that is left."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from pitapp.drive.forecast_context import ForecastContext
from pitapp.drive.ranking.ranking_view import RankingView


class TryLine(NamedTuple):
    """What to try and where; the address shows the gear's forecast."""

    text: str
    href: str


def try_line(
    connection: sqlite3.Connection, settings: Mapping[str, str], now: datetime
) -> TryLine | None:
    """The gear to try in the next practice of the meeting that is on, if one is worth a word."""
    context = ForecastContext(connection, dict(settings), now)
    if not context.next_practice or context.missing or not context.logged or context.track is None:
        return None
    try:
        trial = RankingView(context).trial
    except ValueError:
        return None
    if trial is None:
        return None
    gear = trial.gear
    return TryLine(
        f"Try {gear.pinion_teeth} / {gear.spur_teeth} in {context.next_practice}: "
        "settles longer or shorter.",
        f"/forecast/gear{context.query}&pinion={gear.pinion_teeth}&spur={gear.spur_teeth}",
    )
