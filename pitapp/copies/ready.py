"""The copy's line on the Board, where the data are in one browser alone: how old the last one is."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from pitapp.board.models import ReadyLine
from pitapp.copies import away
from pitapp.runs import store as runs
from pitapp.web.clock import moment_text

HREF = "/copies"


def line(connection: sqlite3.Connection, data_dir: Path) -> ReadyLine | None:
    """What would be lost with this browser: nothing, what is newer than the last copy, or all.

    None before the first run: what was typed until then is soon typed again.
    """
    left = away.moments(data_dir)
    if left.taken_at is None and not runs.runs(connection, limit=1):
        return None
    if left.taken_at is None:
        return _look("none taken away yet", "Your runs are in this browser alone.")
    word = f"of {moment_text(left.taken_at)}"
    if away.is_behind(connection, left):
        return _look(word, "What is newer is in this browser alone.")
    reason = "All that is here is in it."
    return ReadyLine(name="Copy", level="good", word=word, reason=reason, href=HREF)


def _look(word: str, reason: str) -> ReadyLine:
    return ReadyLine(name="Copy", level="look", word=word, reason=reason, href=HREF)
