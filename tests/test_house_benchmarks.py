"""README's table of benchmarks: a row of each, whatever the numbers are."""

from __future__ import annotations

import re

from tests.benchmarks.__main__ import known_names
from tests.benchmarks.readme import BEGIN, END, README


def test_every_benchmark_is_in_the_readme() -> None:
    table = README.read_text(encoding="utf-8").partition(BEGIN)[2].partition(END)[0]
    assert set(re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE)) == set(known_names())
