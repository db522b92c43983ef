"""The lines of pasted text as a table: those that belong to it, and as many columns as they share."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from pitapp.runs.laps.lines import Figure, Line, read_line

MOST_LAPS_LOST = 5
SUM_WORDS = frozenset(
    (
        "total",
        "sum",
        "best",
        "fastest",
        "average",
        "avg",
        "mean",
        "median",
        "slowest",
        "heat",
        "race",
    )
)
SAME_S = 0.021
"""So far may a total and its laps be apart by rounding."""


class Table(NamedTuple):
    """Rows of as many figures each, and the lines that are none."""

    rows: list[tuple[Figure, ...]]
    left_over: tuple[str, ...]


def tables(lines: Sequence[str], *, decimal_comma: bool) -> list[Table]:
    """The lines as tables, the likeliest first; a single line is cut into laps."""
    read = [read_line(line, decimal_comma=decimal_comma) for line in lines]
    read = [line for line in read if line.figures]
    if not read:
        return []
    if len(read) == 1:
        return [Table(_columns(read[0].figures), ())]
    places = Counter(_first_time(line) for line in read if not _whole(line)) or Counter([0])
    at = places.most_common(1)[0][0]
    usual = [line for line in read if not _whole(line) and _first_time(line) == at] or read
    counts = Counter(len(line.figures) for line in usual)
    width = max(counts, key=lambda n: (counts[n], n))
    fitting = [
        line
        for line in read
        if len(line.figures) == width or (not _whole(line) and _first_time(line) == at)
    ]
    widths = [width]
    if (least := min(len(line.figures) for line in fitting)) < width:
        widths.append(least)
    tables = []
    for columns in widths:
        for certain in (True, False):
            rows = _counted([line for line in fitting if len(line.figures) >= columns])
            rows, asked = _without_sums(rows, columns, certain=certain)
            left = tuple(line.text for line in read if not any(line is row for row in rows))
            tables.append(Table([line.figures[:columns] for line in rows], left))
            if not asked:
                break
    return [table for table in tables if table.rows]


def _whole(line: Line) -> bool:
    return all(figure.whole for figure in line.figures)


def _first_time(line: Line) -> int:
    """Where the first figure stands that is no whole number; 0 without one."""
    return next((at for at, figure in enumerate(line.figures) if not figure.whole), 0)


def _counted(lines: list[Line]) -> list[Line]:
    """The lines that a lap number counts, where it counts nearly all of them from their first."""
    for at in range(min((len(line.figures) for line in lines), default=0)):
        column = [line.figures[at] for line in lines]
        if not column[0].whole or column[0].value not in (0, 1):
            continue
        end = 1
        while end < len(lines) and column[end].whole and _follows(column[end - 1], column[end]):
            end += 1
        if end >= 2 and len(lines) - end <= 3:
            return lines[:end]
    return lines


def _follows(earlier: Figure, later: Figure) -> bool:
    """Whether a lap number follows the other, some laps without a time between them."""
    return 0 < later.value - earlier.value <= MOST_LAPS_LOST


def _without_sums(lines: list[Line], columns: int, *, certain: bool) -> tuple[list[Line], bool]:
    """Drop lines at either end that carry a word the others lack, such as a total.

    Returns the lines, and whether it is to be asked if those are laps after all; with `certain`
    False, only the lines that certainly are none are left out.
    """
    usual = Counter(_word(line) for line in lines).most_common(1)[0][0] if lines else ""
    asked = False
    rest = list(lines)
    for end in (-1, 0):
        while len(rest) > 2 and _word(rest[end]) not in ("", usual):
            known = _word(rest[end]) in SUM_WORDS
            asked = asked or not known
            if not known and not certain:
                break
            rest.pop(end)
    if columns == 1 and len(rest) > 2:
        values = [line.figures[0].value for line in rest]
        if abs(values[-1] - sum(values[:-1])) <= SAME_S:
            rest.pop()
    return rest, asked


def _word(line: Line) -> str:
    match = re.match(r"[^\W\d]+", line.text)
    return match[0].casefold() if match else ""


def _columns(figures: tuple[Figure, ...]) -> list[tuple[Figure, ...]]:
    for width in (2, 3):
        rows = [figures[at : at + width] for at in range(0, len(figures), width)]
        if len(rows) > 1 and len(rows[-1]) == width and _counts([row[0] for row in rows]):
            return rows
    return [(figure,) for figure in figures]


def _counts(column: Sequence[Figure]) -> bool:
    values = [figure.value for figure in column]
    return (
        all(figure.whole for figure in column)
        and len(values) > 1
        and values[0] in (0, 1)
        and all(b - a == 1 for a, b in pairwise(values))
    )
