"""Runs the benchmarks named on the command line, or all of them, and prints one table."""

from __future__ import annotations

import argparse
import pkgutil
from importlib import import_module

from tests import benchmarks

NOT_BENCHMARKS = {"__main__", "bare"}


def main() -> None:
    known = sorted(
        {found.name for found in pkgutil.iter_modules(benchmarks.__path__)} - NOT_BENCHMARKS
    )
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="name", help=f"any of: {', '.join(known)}")
    names = parser.parse_args().names or known
    if unknown := set(names) - set(known):
        parser.error(f"no such benchmark: {', '.join(sorted(unknown))} (known: {', '.join(known)})")
    rows = [row for name in names for row in import_module(f"tests.benchmarks.{name}").rows()]
    print(benchmarks.table(rows))


if __name__ == "__main__":
    main()
