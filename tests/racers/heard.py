"""What three heard passes are worth: the forecast's top speed before and after, beside the true one.

The passes are those of the last run: laps by chance, a driver who is not at the car's best in each,
and a phone whose error is that of made-up sound (`e2e/test_sound_passing.py`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tests.racers import score
from tests.racers.desk import Desk
from tests.racers.people import invent
from tests.racers.physics import Array
from tests.racers.score import Look
from tests.racers.season import Season

RUNS = 3
PASSES = 3
LARGE_KMH = 0.8
EAR_SHARE = 0.008
"""One pass by ear, as a part of its speed: more than was seen on made-up sound."""
AIR_SHARE = 0.0051
"""What the screen allows for the air temperature, 3 K."""
AIR_OFF_K = 1.0


class Worth(NamedTuple):
    """Each racer's error of the top speed in km/h, a mean over near gears, before and after; can and laps too."""

    before: Array
    after: Array
    cans: tuple[Array, Array]
    regrets: tuple[Array, Array]

    @property
    def large(self) -> Array:
        """Where it was large before."""
        return np.asarray(self.before > LARGE_KMH)


def heard_speed(rng: np.random.Generator, tops: Array, scatter: float) -> tuple[float, float]:
    """Three passes of a run as the screen joins them, and their spread, in km/h."""
    laps = rng.choice(tops, PASSES, replace=False) * (1 - 0.5 * rng.exponential(scatter, PASSES))
    air = 1 + rng.normal(0, AIR_OFF_K) / 586.3
    passes = 3.6 * laps * air * (1 + rng.normal(0, EAR_SHARE, PASSES))
    own = max(EAR_SHARE * passes.mean(), float(passes.std())) / np.sqrt(PASSES)
    return float(passes.mean()), float(np.hypot(own, AIR_SHARE * passes.mean()))


def listen(seed: int, count: int) -> Worth:
    """So many racers after three runs, without and with the last one's passes."""
    people = invent(seed, count)
    season = Season(people)
    for index in range(RUNS):
        season.run(index)
    truths = season.truths()
    figures: list[list[float]] = []
    for i, typed in enumerate(people.typed):
        rng = np.random.default_rng([seed, 11, i])
        log, air_c, hours = season.logs[i], float(season.air[i]), float(season.hours[i])
        row: list[float] = []
        with Desk(typed) as desk:
            for run in log:
                desk.log(run)
            for part in range(2):
                if part:
                    desk.hear(RUNS, *heard_speed(rng, season.tops[i], float(people.lap_scatter[i])))
                page = desk.forecast(hours, round(air_c, 1))
                look = Look(i, typed.kind, RUNS, people.gears[i], log, air_c, page, truths[i])
                cans = np.concatenate(
                    [each for far in (False, True) for each in score.can_errors([look], far)]
                )
                heads = score.heads([look], score.by_page)
                regret = float(heads.regrets[0]) if heads.given else np.nan
                row += [
                    float(score.speed_errors([look])[0].mean()),
                    float(np.abs(cans).mean()),
                    regret,
                ]
        figures.append(row)
    columns = np.array(figures).T
    return Worth(columns[0], columns[3], (columns[1], columns[4]), (columns[2], columns[5]))


def text(seed: int, count: int) -> str:
    """The errors before and after, where they were large and elsewhere."""
    worth = listen(seed, count)
    lines = [f"{count} racers, seed {seed}, {RUNS} runs, {PASSES} passes of the last"]
    for name, which in (("over", worth.large), ("up to", np.logical_not(worth.large))):
        before, after = worth.before[which], worth.after[which]
        lines.append(
            f"top speed {name} {LARGE_KMH} km/h off, {which.sum()} racers: {before.mean():.2f} -> {after.mean():.2f} "
            f"km/h, a share of {after.mean() / before.mean():.2f}; median {np.median(before):.2f} -> "
            f"{np.median(after):.2f}; better for {(after < before).sum()}"
        )
    for name, (before, after) in (("can, K", worth.cans), ("regret of the head, s", worth.regrets)):
        lines.append(f"{name}: {np.nanmean(before):.3f} -> {np.nanmean(after):.3f}")
    return "\n".join(lines)
