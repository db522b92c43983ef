"""Runs the benchmarks named on the command line, or all of them, and prints one table."""

from __future__ import annotations

import argparse
import pkgutil
from importlib import import_module

from tests import benchmarks
from tests.benchmarks import readme

NOT_BENCHMARKS = {"__main__", "readme"}


def known_names() -> list[str]:
    """The name of every benchmark."""
    return sorted(
        {found.name for found in pkgutil.iter_modules(benchmarks.__path__)} - NOT_BENCHMARKS
    )


def main() -> None:
    known = known_names()
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="name", help=f"any of: {', '.join(known)}")
    parser.add_argument(
        "--readme", action="store_true", help="measure all and write README's table"
    )
    given = parser.parse_args()
    names = known if given.readme else given.names or known
    if unknown := set(names) - set(known):
        parser.error(f"no such benchmark: {', '.join(sorted(unknown))} (known: {', '.join(known)})")
    results = {name: import_module(f"tests.benchmarks.{name}").rows() for name in names}
    print(benchmarks.table([row for rows in results.values() for row in rows]))
    if given.readme:
        readme.write(results)


if __name__ == "__main__":
    main()
