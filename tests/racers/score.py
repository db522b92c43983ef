"""How forecasts did beside the truth: racers counted as clusters, each with the same weight."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

import numpy as np

from tests.racers.desk import Shown
from tests.racers.people import LIMIT_C
from tests.racers.physics import Array
from tests.racers.season import Logged, Truth, best_safe

BEYOND = 0.15
CLOSE_S = 0.05
_SAME = 1e-9


class Look(NamedTuple):
    """One racer at one look: what was logged, what the pages say, what is true."""

    racer: int
    kind: str
    runs: int
    gears: Array
    log: Sequence[Logged]
    air_c: float
    shown: Shown
    truth: Truth

    def places(self) -> tuple[Array, Array]:
        """Whether each gear lies within the logged ratios, and whether up to 15 % beyond."""
        ratio = self.gears[:, 2]
        if not self.log:
            return np.zeros(len(ratio), bool), np.ones(len(ratio), bool)
        low, high = min(one.ratio for one in self.log), max(one.ratio for one in self.log)
        inside = (ratio >= low - _SAME) & (ratio <= high + _SAME)
        near = (ratio >= low / (1 + BEYOND)) & (ratio <= high * (1 + BEYOND))
        return inside, near & ~inside

    def figure(self, name: str) -> Array:
        """A figure of the pages for every gear."""
        return np.array(
            [self.shown.gears.get((int(p), int(s)), {}).get(name, np.nan) for p, s, _ in self.gears]
        )

    def index(self, pair: tuple[int, int]) -> int:
        """Where a pair stands among the gears."""
        return next(i for i, (p, s, _) in enumerate(self.gears) if (int(p), int(s)) == pair)


def weighted(parts: Iterable[Array]) -> tuple[Array, Array]:
    """All values in one, each racer weighing one."""
    kept = [part[np.isfinite(part)] for part in parts]
    kept = [part for part in kept if len(part)]
    if not kept:
        return np.array([np.nan]), np.array([1.0])
    return np.concatenate(kept), np.concatenate([np.full(len(p), 1 / len(p)) for p in kept])


def quantile(parts: Iterable[Array], q: float) -> float:
    """A quantile of the values, each racer weighing one."""
    values, weights = weighted(parts)
    order = values.argsort()
    share = weights[order].cumsum() / weights.sum()
    return float(values[order][np.searchsorted(share, q).clip(0, len(values) - 1)])


def mean(parts: Iterable[Array]) -> float:
    """The mean, each racer weighing one."""
    means = [part[np.isfinite(part)].mean() for part in parts if np.isfinite(part).any()]
    return float(np.mean(means)) if means else float("nan")


def can_errors(looks: Sequence[Look], beyond: bool) -> list[Array]:
    """Forecast less true can, gear by gear, within or beyond the logged ratios."""
    return [(look.figure("can-c") - look.truth.can_c)[look.places()[int(beyond)]] for look in looks]


def line_errors(looks: Sequence[Look]) -> list[Array]:
    """The same for a straight line through the racer's own readings over the air."""
    found = []
    for look in looks:
        ratios = np.array([one.ratio for one in look.log])
        rises = np.array([one.can_c - one.air_c for one in look.log])
        if len(set(ratios)) < 2:
            continue
        slope, start = np.polyfit(ratios, rises, 1)
        guess = look.air_c + start + slope * look.gears[:, 2]
        found.append((guess - look.truth.can_c)[look.places()[0]])
    return found


def can_inside(looks: Sequence[Look], beyond: bool) -> list[Array]:
    """Whether each stated can holds the truth within its one ±."""
    return [
        (
            np.abs(look.figure("can-c") - look.truth.can_c) <= look.figure("can-se-c")
        )[look.places()[int(beyond)]].astype(float)
        for look in looks
    ]  # fmt: skip


def lap_inside(looks: Sequence[Look]) -> list[Array]:
    """Whether each stated lap change holds the truth; the gear fitted is left out."""
    found = []
    for look in looks:
        if not look.log:
            continue
        fitted = look.index((look.log[-1].pinion, look.log[-1].spur))
        change = look.truth.lap_s - look.truth.lap_s[fitted]
        hit = np.abs(look.figure("lap-change-s") - change) <= look.figure("lap-se-s")
        near = np.logical_or(*look.places())
        near[np.abs(look.gears[:, 2] - look.gears[fitted, 2]) <= _SAME] = False
        found.append(hit[near].astype(float))
    return found


class Heads(NamedTuple):
    """How many looks had a gear at the head, how many of those were hot, and the regrets."""

    given: int
    hot: int
    regrets: Array
    racers: Array


def heads(looks: Sequence[Look], pick: Callable[[Look], int | None]) -> Heads:
    """Heads chosen by `pick`, among racers who own a gear that is truly safe."""
    regrets, racers, hot, given = [], [], 0, 0
    for look in looks:
        best, head = best_safe(look.truth), pick(look)
        if best is None or head is None:
            continue
        given += 1
        hot += bool(look.truth.can_c[head] > LIMIT_C)
        regrets.append(max(0.0, look.truth.lap_s[head] - look.truth.lap_s[best]))
        racers.append(look.racer)
    return Heads(given, hot, np.array(regrets), np.array(racers))


def by_page(look: Look) -> int | None:
    """The gear at the head of the page."""
    return None if look.shown.head is None else look.index(look.shown.head)


def by_best_lap(look: Look) -> int | None:
    """The gear of the best lap among runs whose can was read under the limit."""
    cool = [one for one in look.log if one.can_c <= LIMIT_C] or list(look.log)
    if not cool:
        return None
    best = min(cool, key=lambda one: one.best_lap_s)
    return look.index((best.pinion, best.spur))


def by_keeping(look: Look) -> int | None:
    """The gear that is fitted."""
    return look.index((look.log[-1].pinion, look.log[-1].spur)) if look.log else None


def paired(one: Heads, other: Heads) -> tuple[float, float]:
    """Mean difference of two regrets of the same racers, and its standard error."""
    both = np.intersect1d(one.racers, other.racers)
    if not len(both):
        return float("nan"), float("nan")
    first = dict(zip(one.racers, one.regrets, strict=True))
    second = dict(zip(other.racers, other.regrets, strict=True))
    gaps = np.array([first[i] - second[i] for i in both])
    return float(gaps.mean()), float(gaps.std(ddof=1) / np.sqrt(len(gaps))) if len(gaps) > 1 else 0


def relative_errors(looks: Sequence[Look]) -> list[Array]:
    """How far off the stated charge of a run is, as a part of the true one."""
    return [
        np.abs(look.figure("charge-mah") / look.truth.charge_mah - 1)[np.logical_or(*look.places())]
        for look in looks
    ]


def speed_errors(looks: Sequence[Look]) -> list[Array]:
    """How far off the stated top speed is, km/h."""
    return [
        np.abs(look.figure("top-speed-kmh") - look.truth.top_kmh)[np.logical_or(*look.places())]
        for look in looks
    ]
