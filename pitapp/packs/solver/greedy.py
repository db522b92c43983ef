"""A first schedule of a day, quickly: each heat in turn takes the charge that ends latest before it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from pitapp.packs.solver.problem import Job, Schedule, ScheduleProblem
from pitapp.packs.solver.watched_time import SLACK_MIN


@dataclass
class _OnePack:
    """A pack: its kind, and the heat that it ran last."""

    kind: int
    before: int | None = None


class _Way(NamedTuple):
    """A charge for a heat; the one that ends latest is best, and of those the shortest."""

    end: float
    minus_length: float
    place: int
    group: int
    output: int


def first_schedule(day: ScheduleProblem) -> Schedule:
    """A schedule that can be done, seldom the best: what a search is to beat."""
    packs = [_OnePack(number) for number, kind in enumerate(day.kinds) for _ in range(kind.count)]
    busy = [
        [
            [(-math.inf, taken[place] if place < len(taken) else day.start)]
            for place in range(outputs)
        ]
        for outputs, taken in zip(day.outputs, day.taken, strict=True)
    ]
    jobs: list[Job] = []
    full_time = 0.0
    for heat, need in enumerate(day.need):
        fresh = next((each for each in packs if _is_full(day, each, heat)), None)
        if fresh:
            since = day.kinds[fresh.kind].free_from
            jobs.append(Job(heat, fresh.kind, None, since, since, None))
            full_time += need - since
            fresh.before = heat
            continue
        way = max(_ways(day, packs, busy, heat), default=None)
        if way is None:
            continue
        pack, begin = packs[way.place], way.end + way.minus_length
        jobs.append(Job(heat, pack.kind, pack.before, begin, way.end, way.group))
        busy[way.group][way.output].append((begin, way.end))
        busy[way.group][way.output].sort()
        full_time += need - day.time.earliest(way.end)
        pack.before = heat
    unused = (day.kinds[each.kind] for each in packs if each.before is None)
    full_time += sum(kind.idle_time(day.end) for kind in unused if kind.full)
    return Schedule(tuple(jobs), len(day.need) - len(jobs), full_time, False, 0)


def _is_full(day: ScheduleProblem, pack: _OnePack, heat: int) -> bool:
    kind = day.kinds[pack.kind]
    return kind.full and pack.before is None and kind.can_run[heat]


def _ways(
    day: ScheduleProblem,
    packs: list[_OnePack],
    busy: list[list[list[tuple[float, float]]]],
    heat: int,
) -> list[_Way]:
    """Every pack that may be charged for the heat, on every output, as late as it can be there."""
    ways = []
    for place, pack in enumerate(packs):
        kind, before = day.kinds[pack.kind], pack.before
        if not kind.can_run[heat] or (kind.full and before is None):
            continue
        release = kind.free_from if before is None else day.back[before]
        for group, outputs in enumerate(busy):
            length = kind.first_length[group]
            if before is not None:
                length = kind.recharge_length[group][before]
            for output, own in enumerate(outputs):
                end = _latest_end(own, length, release, day.deadline[heat])
                if day.need[heat] - day.time.earliest(end) <= day.most_full + SLACK_MIN:
                    ways.append(_Way(end, -length, place, group, output))
    return ways


def _latest_end(
    busy: list[tuple[float, float]], length: float, release: float, deadline: float
) -> float:
    """When a charge between others ends at the latest; −∞ if it fits nowhere. `busy` is in order."""
    until = deadline
    for begin, end in reversed(busy):
        if until - length >= max(end, release) - SLACK_MIN:
            return until
        until = min(until, begin)
    return -math.inf
