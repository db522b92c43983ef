"""What trying the gear that the page names is worth, beside trying near gears at random.

The same racers drive the same number of practice runs twice: in the one season each tries the gear
of "Try next", or the head where none is named; in the other any gear near the last one.
"""

from __future__ import annotations

from contextlib import ExitStack

import numpy as np

from tests.racers import score
from tests.racers.desk import Desk, Shown
from tests.racers.people import People, invent
from tests.racers.physics import Array
from tests.racers.score import Look
from tests.racers.season import Logged, Season, at_random

LOOKS = (3, 6)


class Pits:
    """Every racer's own server, each run logged on it as it is driven."""

    def __init__(self, people: People, stack: ExitStack, *, follow: bool) -> None:
        self.desks = [stack.enter_context(Desk(typed)) for typed in people.typed]
        self.logged = [0] * len(self.desks)
        self.follow = follow
        self.tried = 0

    def shown(self, racer: int, log: list[Logged], hours: float, air_c: float) -> Shown:
        """What the pages say after all runs of a log."""
        for run in log[self.logged[racer] :]:
            self.desks[racer].log(run)
        self.logged[racer] = len(log)
        return self.desks[racer].forecast(hours, round(air_c, 1))

    def choose(self, racer: int, rng: np.random.Generator, gears: Array, log: list[Logged]) -> int:
        """The gear to try next by the page, or near gears at random."""
        if not self.follow:
            return at_random(racer, rng, gears, log)
        page = self.shown(racer, log, log[-1].hours + 1.0, log[-1].air_c)
        pair = page.trial or page.head
        self.tried += page.trial is not None
        if pair is None:
            return at_random(racer, rng, gears, log)
        return next(i for i, (p, s, _) in enumerate(gears) if (int(p), int(s)) == pair)


def practise(seed: int, count: int, *, follow: bool) -> tuple[list[Look], int]:
    """The looks of so many racers, and how often a gear was named to be tried."""
    people = invent(seed, count)
    looks = []
    with ExitStack() as stack:
        pits = Pits(people, stack, follow=follow)
        season = Season(people, pits.choose)
        for done in range(max(LOOKS) + 1):
            if done in LOOKS:
                for i, truth in enumerate(season.truths()):
                    air_c, log = float(season.air[i]), season.logs[i]
                    page = pits.shown(i, log, float(season.hours[i]), air_c)
                    looks.append(
                        Look(
                            i,
                            people.typed[i].kind,
                            done,
                            people.gears[i],
                            log[:],
                            air_c,
                            page,
                            truth,
                        )
                    )
            if done < max(LOOKS):
                season.run(done)
    return looks, pits.tried


def text(seed: int, count: int) -> str:
    """Regret of the head by both ways, and their paired difference with its standard error."""
    advised, tried = practise(seed, count, follow=True)
    chance, _ = practise(seed, count, follow=False)
    lines = [f"{count} racers, seed {seed}; a gear to try was named {tried} times"]
    for runs in LOOKS:
        one, other = (
            score.heads([look for look in looks if look.runs == runs], score.by_page)
            for looks in (advised, chance)
        )
        gap, se = score.paired(one, other)
        lines.append(
            f"after {runs} runs: regret {one.regrets.mean():.3f} s by trying what it says, "
            f"{other.regrets.mean():.3f} s at random; difference {gap:+.3f} ± {se:.3f}; "
            f"hot heads {one.hot}, {other.hot}"
        )
    return "\n".join(lines)
