"""Lists of teeth as racers write them: "20-32, 35, 38"."""

from __future__ import annotations

import re
from collections.abc import Iterable

LEAST_TEETH, MOST_TEETH = 6, 200
_PART = re.compile(
    r"(\d{1,3})(?:\s*(?:-|–|—|to|\.\.)\s*(\d{1,3})(?:\s*/\s*(\d{1,2}))?)?\Z", re.IGNORECASE
)


def parse_teeth(text: str) -> list[int]:
    """The teeth counts in a list of numbers and ranges, sorted, each once.

    A range may carry a step: "60-80/2" is every second one.

    Raises:
        ValueError: a part is no number or range, or lies outside 6 to 200 teeth.

    >>> parse_teeth("20-23, 35 38")
    [20, 21, 22, 23, 35, 38]
    >>> parse_teeth("60-66/2")
    [60, 62, 64, 66]
    """
    joined = re.sub(r"\s*(-|–|—|\.\.|\bto\b|/)\s*", r"\1", text.strip(), flags=re.IGNORECASE)
    teeth: set[int] = set()
    for part in filter(None, re.split(r"[,;\s]+", joined)):
        match = _PART.match(part)
        if match is None:
            raise ValueError(f"“{part[:20]}” is no number of teeth. Write them like 20-32, 35, 38.")
        first, last = int(match[1]), int(match[2] or match[1])
        if first > last:
            first, last = last, first
        if first < LEAST_TEETH or last > MOST_TEETH:
            raise ValueError(f"“{part}” is outside {LEAST_TEETH} to {MOST_TEETH} teeth.")
        teeth.update(range(first, last + 1, max(1, int(match[3] or 1))))
    if not teeth:
        raise ValueError("Write at least one number of teeth, like 20-32, 35, 38.")
    return sorted(teeth)


def teeth_text(teeth: Iterable[int]) -> str:
    """The shortest list that `parse_teeth` reads back as these.

    >>> teeth_text([20, 21, 22, 23, 35, 38])
    '20–23, 35, 38'
    """
    parts: list[str] = []
    run: list[int] = []
    for count in [*sorted(teeth), None]:
        if run and (count is None or count != run[-1] + 1):
            parts.extend([f"{run[0]}–{run[-1]}"] if len(run) > 2 else map(str, run))
            run = []
        if count is not None:
            run.append(count)
    return ", ".join(parts)
