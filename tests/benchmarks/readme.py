"""The table in README: a row for each thing that a racer notices, between two marks."""

from __future__ import annotations

import os
import platform
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from tests.benchmarks import Row
from tests.house import ROOT

README = ROOT / "README.md"
BEGIN, END = "<!-- benchmarks -->", "<!-- /benchmarks -->"
FEW = {"pages": 8}
"""Of these benchmarks only the first rows: the start, the file, and the pages nearest to their limit."""
LIMIT = re.compile(r"(at least|at most|under) ([\d.]+)")


def missed(row: Row) -> bool:
    """Whether a row is on the wrong side of its target.

    >>> missed(Row("start", 1.6, 1.0, 1.6, "s", "at most 1.5")), missed(Row("start", 9, 1, 9, "s", "none"))
    (True, False)
    """
    found = LIMIT.match(row.target)
    if found is None:
        return False
    if row.target.endswith(" s"):
        return row.measured >= float(found[2])
    limit = float(found[2])
    return row.ratio < limit if found[1] == "at least" else row.ratio > limit


def short(value: float) -> str:
    """A figure in three places at least, never with an exponent.

    >>> short(14912.3), short(0.0144)
    ('14912', '0.0144')
    """
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def written(results: Mapping[str, Sequence[Row]], day: datetime) -> str:
    """The lines between the marks."""
    lines = [
        f"Measured on {day:%Y-%m-%d} with {platform.system()}, "
        f"{os.cpu_count()} cores and Python {platform.python_version()}.",
        "",
        "| benchmark | what | pitapp | reference | ratio | target |",
        "|---|---|---:|---:|---:|---|",
    ]
    for name, rows in results.items():
        for row in rows[: FEW.get(name)]:
            target = f"{row.target}, **missed**" if missed(row) else row.target
            lines.append(
                f"| `{name}` | {row.name} | {short(row.measured)} {row.unit} "
                f"| {short(row.reference)} {row.unit} | {row.ratio:.2f} | {target} |"
            )
    return "\n".join(lines)


def write(results: Mapping[str, Sequence[Row]]) -> None:
    """Put the table into README in the place of the one there."""
    before, _, rest = README.read_text(encoding="utf-8").partition(BEGIN)
    _, _, after = rest.partition(END)
    table = written(results, datetime.now(UTC))
    README.write_text(f"{before}{BEGIN}\n{table}\n{END}{after}", encoding="utf-8")
