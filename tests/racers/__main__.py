"""Try many invented racers on the app and print how its forecasts did."""

from __future__ import annotations

import argparse
import time

from tests.compiled_once import share
from tests.racers import heard, practice
from tests.racers.table import text
from tests.racers.trying import try_all


def main() -> None:
    """Read the arguments, try the racers, print the table."""
    reader = argparse.ArgumentParser(prog="python -m tests.racers", description=__doc__)
    reader.add_argument("--seed", type=int, nargs="+", default=[1])
    reader.add_argument("--racers", type=int, default=72, help="for each seed")
    reader.add_argument("--processes", type=int, default=1)
    reader.add_argument("--practice", action="store_true", help="what Try next is worth instead")
    reader.add_argument("--heard", action="store_true", help="what three heard passes are worth")
    given = reader.parse_args()
    share()
    if given.practice:
        for seed in given.seed:
            print(practice.text(seed, given.racers))
        return
    if given.heard:
        for seed in given.seed:
            print(heard.text(seed, given.racers))
        return
    began = time.monotonic()
    looks = []
    for seed in given.seed:
        looks += list(try_all(seed, given.racers, given.processes))
    print(f"{given.racers} racers for each of the seeds {given.seed}")
    print(text(looks))
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
