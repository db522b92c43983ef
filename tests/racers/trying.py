"""Racers let loose on the app: season, desk and looks put together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import NamedTuple

from tests.compiled_once import share
from tests.racers.desk import Desk, Shown
from tests.racers.people import People, Typed, invent
from tests.racers.score import Look
from tests.racers.season import LOOKS, Chooser, Logged, Season, Truth, neighbours


class Told(NamedTuple):
    """One racer with all that was logged, and at each look the hour, the air and the truth."""

    typed: Typed
    log: list[Logged]
    looks: list[tuple[int, float, float, Truth]]


def seasons(
    seed: int, count: int, choose: Chooser = neighbours, upto: int = max(LOOKS)
) -> tuple[People, list[Told]]:
    """So many racers' seasons of so many runs, driven through without the app."""
    people = invent(seed, count)
    season = Season(people, choose)
    looks: list[list[tuple[int, float, float, Truth]]] = [[] for _ in range(count)]
    for done in range(upto + 1):
        if done in LOOKS:
            truths = season.truths()
            for i in range(count):
                looks[i].append((done, float(season.hours[i]), float(season.air[i]), truths[i]))
        if done < upto:
            season.run(done)
    return people, [Told(people.typed[i], season.logs[i], looks[i]) for i in range(count)]


def visits(told: Told, after: Callable[[Desk, int], None] | None = None) -> list[Shown]:
    """What the app shows one racer at each look; `after` is called at each with the desk."""
    shown = []
    with Desk(told.typed) as desk:
        done = 0
        for runs, hours, air_c, _ in told.looks:
            for run in told.log[done:runs]:
                desk.log(run)
            done = runs
            shown.append(desk.forecast(hours, round(air_c, 1)))
            if after:
                after(desk, runs)
    return shown


def try_all(seed: int, count: int, processes: int = 1) -> Iterator[Look]:
    """Every look of so many racers."""
    people, told = seasons(seed, count)
    yield from looks_at(seed, people, told, processes)


def looks_at(seed: int, people: People, told: list[Told], processes: int = 1) -> Iterator[Look]:
    """What the app shows these racers at every look, beside the truth."""
    if processes > 1:
        with ProcessPoolExecutor(
            processes, mp_context=get_context("spawn"), initializer=share
        ) as pool:
            found = list(pool.map(visits, told))
    else:
        found = [visits(one) for one in told]
    for i, (one, shown) in enumerate(zip(told, found, strict=True)):
        for (runs, _, air_c, truth), page in zip(one.looks, shown, strict=True):
            yield Look(
                seed * 100_000 + i, one.typed.kind, runs, people.gears[i], one.log[:runs], air_c,
                page, truth,
            )  # fmt: skip
