"""The line on the Board of parts that have run as much as their limit says."""

from __future__ import annotations

import sqlite3

from pitapp.board.models import ReadyLine
from pitapp.kit.models import Car
from pitapp.kit.wear import store
from pitapp.kit.wear.formulas import overdue_text


def line(connection: sqlite3.Connection, car: Car) -> ReadyLine | None:
    """The parts of this car that are over their limit, or None without any."""
    over = store.overdue(connection, car)
    if not over:
        return None
    return ReadyLine(
        name="Parts",
        level="look",
        word=f"{len(over)} over the limit",
        reason="; ".join(overdue_text(each.part, each.hours) for each in over[:3]),
        href="/kit/wear",
    )
