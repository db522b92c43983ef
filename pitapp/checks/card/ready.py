"""The scrutineering card's line on the Board: how much of what the class limits was read."""

from __future__ import annotations

import sqlite3

from pitapp.board.models import ReadyLine, Situation
from pitapp.checks.card.lines import CardLine, card_lines
from pitapp.checks.context import run_context

NAME = "Scrutineering"
CARD = "/checks/card"
MOST_NAMED = 3
"""So many of those not read yet are named, so that the Board's button stays in sight."""


def line(connection: sqlite3.Connection, situation: Situation) -> ReadyLine | None:
    """How many of the class's limits were read, and what is outside; None where it has none."""
    context = run_context(connection, situation.now)
    if context.car is None or context.car.id != situation.car.id or not context.limits:
        return None
    limited = [each for each in card_lines(connection, context) if each.limit is not None]
    read = [each for each in limited if each.read is not None]
    outside = [each for each in read if each.outside]
    if outside:
        return _line("stop", "outside", f"{_names(outside)} outside the class.")
    word = f"{len(read)} of {len(limited)} read"
    unread = [each for each in limited if each.read is None]
    if unread:
        more = f" and {len(unread) - MOST_NAMED} more" if len(unread) > MOST_NAMED else ""
        return _line("look", word, f"Not read: {_names(unread[:MOST_NAMED])}{more}.")
    return _line("good", word, "All inside the class.")


def _names(lines: list[CardLine]) -> str:
    return ", ".join(each.name[:1].lower() + each.name[1:] for each in lines)


def _line(level: str, word: str, reason: str) -> ReadyLine:
    return ReadyLine.model_validate(
        {"name": NAME, "level": level, "word": word, "reason": reason, "href": CARD}
    )
