"""How late a pack is for its heat, in words: the plan's screens say it without loading the solver."""

from __future__ import annotations

import math


def late_text(after_min: float) -> str:
    """How long after a heat's start a pack would be full, or how short before it.

    >>> late_text(17.2), late_text(0), late_text(-2.5)
    ('18 min after the start', 'as it starts', 'only 2 min before the start')
    """
    if after_min > 0:
        return f"{math.ceil(after_min)} min after the start"
    before = math.floor(-after_min)
    return f"only {before} min before the start" if before else "as it starts"
