"""Points for a place, and what counts of several: pure sums.

Sharing a place and dropping scores follow the wording of World Sailing's *Racing Rules of Sailing*,
appendix A (A2.1 drop scores, A7 race ties), quoted from memory; the racer's own rules come first.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from pitapp.limits import whole
from pitapp.meetings.results.models import MOST_PLACES, PointTable

MOST_SHARING = 99
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?", re.ASCII)


class Counting(NamedTuple):
    """The points that count together, and which of the scores (from 0) were dropped."""

    total: float
    dropped: tuple[int, ...]


def parse_points(text: str) -> tuple[float, ...]:
    """The points that were typed, from the first place on, with anything between them.

    >>> parse_points("25, 20 16; 13.5")
    (25.0, 20.0, 16.0, 13.5)

    Raises:
        ValueError: a word that is no number, none at all, or too many.
    """
    words = re.split(r"[\s,;/|]+", text.strip())
    for word in words:
        if not _NUMBER.fullmatch(word):
            quoted = word[:20] or "nothing"
            raise ValueError(f"“{quoted}” is no number. Write the points like 10 8 6 5 4.")
    if len(words) > MOST_PLACES:
        raise ValueError(f"That is {len(words)} places; at most {MOST_PLACES}.")
    return tuple(float(word) for word in words)


def points_for(table: PointTable, place: int, shared_with: int = 0) -> float:
    """The points of a place, shared with so many others.

    Args:
        place: from 1; where shared, the best of the places that they fill.
        shared_with: how many others have the same place, 0 to 99.

    >>> table = PointTable(name="Example", points=(10, 8, 6, 5), ties="mean")
    >>> points_for(table, 2), points_for(table, 2, 1), points_for(table, 5)
    (8.0, 7.0, 0.0)

    Raises:
        ValueError: a place or a number out of range.
    """
    first = whole(place, "place", 1, 9999)
    others = whole(shared_with, "number of others", 0, MOST_SHARING)
    if table.ties == "full":
        return _points(table, first)
    if table.ties == "last":
        return _points(table, first + others)
    return sum(_points(table, first + each) for each in range(others + 1)) / (others + 1)


def _points(table: PointTable, place: int) -> float:
    return float(table.points[place - 1]) if place <= len(table.points) else float(table.worst)


def counting(scores: Sequence[float], drops: int, *, fewest_wins: bool = False) -> Counting:
    """The scores less the worst `drops`, of which one at least is left.

    Of equal scores the earliest is dropped.

    >>> counting([10, 6, 8, 2], 1)
    Counting(total=24, dropped=(3,))
    >>> counting([1, 4, 2, 4], 1, fewest_wins=True)
    Counting(total=7, dropped=(1,))

    Raises:
        ValueError: a number of drop scores out of range.
    """
    many = min(whole(drops, "number of drop scores", 0, 60), max(len(scores) - 1, 0))
    sign = -1 if fewest_wins else 1
    worst_first = sorted(range(len(scores)), key=lambda index: (sign * scores[index], index))
    dropped = tuple(sorted(worst_first[:many]))
    return Counting(
        sum(score for index, score in enumerate(scores) if index not in dropped), dropped
    )


def best_of(scores: Sequence[float], best: int | None, *, fewest_wins: bool = False) -> Counting:
    """The best so many of the scores; all of them where none is said.

    >>> best_of([10, 6, 8, 2], 2)
    Counting(total=18, dropped=(1, 3))
    """
    drops = 0 if best is None else max(len(scores) - whole(best, "number of heats", 1, 60), 0)
    return counting(scores, drops, fewest_wins=fewest_wins)
