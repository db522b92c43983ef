"""Benchmarks: what the app costs beside a reference measured in the same run.

`python -m tests.benchmarks [names]` prints one table. Each module here has `rows()`; a module whose
name is not given is not run. They are no tests: nothing in the test suite is timed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Row:
    """One line of the table: medians of several rounds, and the median of their ratios."""

    name: str
    measured: float
    reference: float
    ratio: float
    unit: str
    target: str


def side_by_side(
    name: str,
    measured: Callable[[], float],
    reference: Callable[[], float],
    *,
    unit: str,
    target: str,
    rounds: int = 7,
) -> Row:
    """Measure both in turn, `rounds` times, so that a busy moment falls on both."""
    pairs = [(measured(), reference()) for _ in range(rounds)]
    return row_of(name, pairs, unit=unit, target=target)


def row_of(name: str, pairs: Sequence[tuple[float, float]], *, unit: str, target: str) -> Row:
    """Return the row of measurements that were taken in pairs (measured, reference).

    >>> row_of("start", [(2.0, 1.0), (9.0, 3.0), (4.0, 2.0)], unit="s", target="at most 3")
    Row(name='start', measured=4.0, reference=2.0, ratio=2.0, unit='s', target='at most 3')
    """
    return Row(
        name,
        median(mine for mine, _ in pairs),
        median(other for _, other in pairs),
        median(mine / other for mine, other in pairs),
        unit,
        target,
    )


def seconds_per_call(function: Callable[[], object], *, at_least_s: float = 0.05) -> float:
    """Return how long one call takes, from as many calls as fill the given time."""
    calls = 0
    start = time.perf_counter()
    while (passed := time.perf_counter() - start) < at_least_s:
        function()
        calls += 1
    return passed / calls


def table(rows: Sequence[Row]) -> str:
    """Return the rows as a Markdown table."""
    lines = ["| what | pitapp | reference | ratio | target |", "|---|---:|---:|---:|---|"]
    lines += [
        f"| {row.name} | {row.measured:.4g} {row.unit} | {row.reference:.4g} {row.unit} "
        f"| {row.ratio:.2f} | {row.target} |"
        for row in rows
    ]
    return "\n".join(lines)
