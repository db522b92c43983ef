"""A list of laps read from pasted text in any layout; where it can be read in several ways, all of them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from pitapp.runs.laps.formulas import MOST_LAPS
from pitapp.runs.laps.lines import Figure, comma_meanings, line_texts
from pitapp.runs.laps.rows import SAME_S, Table, tables

LEAST_LAP_S, MOST_LAP_S = 2.0, 1800.0
LEAST_THOUSANDTHS = 3000
MOST_READINGS = 8

Column = list[Figure]


class Reading(NamedTuple):
    """One way to read the text: the laps in s in driven order, how they were got, the lines left over."""

    laps_s: tuple[float, ...]
    how: str
    left_over: tuple[str, ...]
    from_total: bool = False


def read_laps(text: str) -> list[Reading]:
    """Every plausible way to read a text that holds a lap a line, the likeliest first.

    Understood are seconds, m:ss.sss and h:mm:ss, decimal points and commas, any separators, and
    beside the times lap numbers, places, gaps with a sign, running totals, names and remarks. More
    than one reading means that the racer has to say which is right. Times are to the thousandth.

    Raises:
        ValueError: there is no lap in it, or too much text.

    >>> [reading.laps_s for reading in read_laps("1. 14,87\\n2. 15,02\\n3. 14,91")]
    [(14.87, 15.02, 14.91)]
    """
    lines = line_texts(text)
    readings: list[Reading] = []
    for decimal_comma in comma_meanings(lines):
        for table in tables(lines, decimal_comma=decimal_comma):
            readings += _readings(table)
    best = _distinct(readings)
    if any(_decimals(reading) and not reading.from_total for reading in best):
        best = [reading for reading in best if _decimals(reading)]
    best = [reading for reading in best if len(reading.laps_s) <= MOST_LAPS]
    if not best:
        raise ValueError(
            "No lap times were found in this. Paste one lap a line, such as 14.87 or 1:02.345."
        )
    return best[:MOST_READINGS]


def _readings(table: Table) -> list[Reading]:
    columns: list[Column] = [list(column) for column in zip(*table.rows, strict=True)]
    order = _orders(columns)
    numbers = [column for column in columns if _is_count(column, len(columns))]
    rest = [column for column in columns if not any(column is other for other in numbers)]
    times = [column for column in rest if not all(figure.whole for figure in column)] or rest
    totals = [column for column in times if _is_total(_values(column, order[0][1]))]
    laps = [column for column in times if not any(column is other for other in totals)]
    laps = [column for column in laps if _plausible(column)]
    readings = []
    if laps:
        laps = _without_gaps(laps)
        for column in laps:
            how = "" if len(laps) == 1 else f"The column that begins {_beginning(column)}"
            readings += [
                Reading(_thousandths(_values(column, rows)), _joined(how, note), table.left_over)
                for note, rows in order
            ]
        return readings
    for column in totals:
        readings += _from_total(column, order[0][1], table.left_over)
    return readings


def _orders(columns: list[Column]) -> list[tuple[str, list[int]]]:
    """The rows in driven order: as they stand, from the last up, or by a column of lap numbers."""
    count = len(columns[0])
    as_they_stand = list(range(count))
    ways: list[tuple[str, list[int]]] = []
    for column in columns:
        if not all(figure.whole for figure in column) or count < 3:
            continue
        values = [int(figure.value) for figure in column]
        steps = {b - a for a, b in pairwise(values)}
        if steps == {1}:
            return [("", as_they_stand)]
        if steps == {-1} and values[-1] in (0, 1):
            return [("The last line is the first lap", as_they_stand[::-1])]
        if sorted(values) == list(range(1, count + 1)) and count >= 4:
            by_number = sorted(as_they_stand, key=values.__getitem__)
            ways.append(("In the order of the lap numbers", by_number))
    if ways:
        return [*ways, ("In the order of the lines", as_they_stand)]
    return [("", as_they_stand)]


def _is_count(column: Column, columns: int) -> bool:
    """Whether it is a lap number, place or start number rather than a time."""
    if not all(figure.whole for figure in column):
        return False
    if all(figure.label for figure in column):
        return True
    if columns == 1:
        return False
    values = [figure.value for figure in column]
    return max(values) < LEAST_LAP_S or abs(values[-1] - values[0]) == len(values) - 1 > 0


def _is_total(values: Sequence[float]) -> bool:
    """Whether times only grow, by about a lap each: a running total or the time of day."""
    if len(values) < 3 or any(b <= a for a, b in pairwise(values)):
        return False
    step = median([b - a for a, b in pairwise(values)])
    return step >= 0.4 * values[0] or values[0] > MOST_LAP_S


def _plausible(column: Column) -> bool:
    values = [figure.value for figure in column]
    if all(figure.whole for figure in column) and min(values) >= LEAST_THOUSANDTHS:
        return max(values) <= 1000 * MOST_LAP_S
    return median(values) >= LEAST_LAP_S and min(values) > 0 and max(values) <= MOST_LAP_S * 2


def _without_gaps(laps: list[Column]) -> list[Column]:
    """Leave out what is no lap beside the others: gaps to the best one, totals of two laps."""
    whole = [column for column in laps if min(figure.value for figure in column) >= 1.0] or laps
    for column in whole:
        values = [figure.value for figure in column]
        others = [
            other
            for other in whole
            if other is column or not _sums([figure.value for figure in other], values)
        ]
        if len(others) < len(whole):
            return others
    return whole


def _sums(totals: Sequence[float], laps: Sequence[float]) -> bool:
    return len(laps) > 1 and all(
        abs(b - a - lap) <= SAME_S for (a, b), lap in zip(pairwise(totals), laps[1:], strict=True)
    )


def _from_total(column: Column, rows: list[int], left_over: tuple[str, ...]) -> list[Reading]:
    """Laps as the differences of a running total; whether its first figure is a lap is asked."""
    values = _values(column, rows)
    if values[0] > values[-1]:
        values = values[::-1]
    steps = [b - a for a, b in pairwise(values)]
    if median(steps) < LEAST_LAP_S:
        return []
    with_first = Reading(
        _thousandths([values[0], *steps]),
        "Running total, its first line a lap too",
        left_over,
        from_total=True,
    )
    without = Reading(
        _thousandths(steps), "Running total, its first line the start", left_over, from_total=True
    )
    if values[0] > MOST_LAP_S:
        return [without]
    return [without, with_first] if values[0] < 0.5 * min(steps) else [with_first, without]


def _values(column: Column, rows: Sequence[int]) -> list[float]:
    values = [column[row].value for row in rows]
    if all(figure.whole for figure in column) and min(values) >= LEAST_THOUSANDTHS:
        return [value / 1000 for value in values]
    return values


def _thousandths(values: Sequence[float]) -> tuple[float, ...]:
    return tuple(round(value * 1000) / 1000 for value in values)


def _beginning(column: Column) -> str:
    return ", ".join(figure.text for figure in column[:3])


def _joined(*texts: str) -> str:
    return ". ".join(text for text in texts if text)


def _decimals(reading: Reading) -> bool:
    return any(time != int(time) for time in reading.laps_s)


def _distinct(readings: Sequence[Reading]) -> list[Reading]:
    distinct: dict[tuple[float, ...], Reading] = {}
    for reading in readings:
        if all(0.1 <= time <= 3600 for time in reading.laps_s) and reading.laps_s:
            distinct.setdefault(reading.laps_s, reading)
    return list(distinct.values())
