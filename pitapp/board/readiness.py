"""The readiness lines of the rooms that have one, in the order in which a car is made ready."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from pitapp.board.models import ReadyLine, Situation
from pitapp.checks import ready as checks
from pitapp.checks.card import ready as card
from pitapp.gearing import ready as gearing
from pitapp.packs import ready as packs
from pitapp.roll import ready as roll
from pitapp.web.clock import current_settings

Source = Callable[[sqlite3.Connection, Situation], ReadyLine | None]

TILT_ON_BOARD = "tilt_on_board"
"""The setting by which a racer asks for the tilt test's line."""
# Each with the words of the large button that mends it; without words it is never what is due.
SOURCES: tuple[tuple[str, Source], ...] = (
    ("Fit the gear", gearing.line),
    ("Run the checks", checks.line),
    ("Charge packs", packs.line),
    ("", card.line),
)


def lines(connection: sqlite3.Connection, situation: Situation) -> list[tuple[str, ReadyLine]]:
    """Each room's line about the situation, with the words for mending it."""
    asked = current_settings().get(TILT_ON_BOARD) == "yes"
    sources = (*SOURCES, ("Tilt test", roll.line)) if asked else SOURCES
    sourced = ((mend, source(connection, situation)) for mend, source in sources)
    return [(mend, line) for mend, line in sourced if line is not None]
