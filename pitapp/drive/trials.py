"""Each logged run's own forecast beside what happened, so that trust in the next one is earned."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import sqrt
from typing import NamedTuple

from pitapp.drive.learn_from_runs import MOST_RUNS, Lesson, learned
from pitapp.heat.formulas import forecast_temperature


class Trial(NamedTuple):
    """The forecast that could have been made before a run, and what then happened."""

    lesson: Lesson
    forecast_c: float | None
    forecast_se_c: float | None
    flag_c: float | None
    forecast_lap_s: float | None

    @property
    def miss_c(self) -> float | None:
        """How much hotter the can was than forecast."""
        if self.forecast_c is None or self.flag_c is None:
            return None
        return self.flag_c - self.forecast_c

    @property
    def miss_s(self) -> float | None:
        """How much slower the best lap was than forecast."""
        best = self.lesson.run.best_lap_s
        if self.forecast_lap_s is None or best is None:
            return None
        return best - self.forecast_lap_s


class Score(NamedTuple):
    """How good the forecasts were: how many, the typical (root mean square) miss, how many inside."""

    runs: int
    miss: float
    inside: int


def trials(found: Sequence[Lesson], most: int = MOST_RUNS) -> list[Trial]:
    """The newest runs' forecasts, each from the runs before it alone, newest run first."""
    tried = []
    for index, lesson in list(enumerate(found))[-most:]:
        before = learned(found[:index], lesson.run.track_id)
        forecast_c = se_c = lap_s = None
        if lesson.heat is not None:
            expected = forecast_temperature(
                before.heating,
                lesson.heat.power_w,
                lesson.heat.run_s,
                lesson.heat.start_c,
                lesson.heat.air_c,
            )
            forecast_c, se_c = expected.temperature_c, expected.se_c
        if lesson.lap is not None:
            lap_s = before.lap_s(lesson.lap.modelled_s, lesson.ratio)
        flag_c = lesson.heat.flag_c if lesson.heat else None
        tried.append(Trial(lesson, forecast_c, se_c, flag_c, lap_s))
    return tried[::-1]


def temperature_score(tried: Iterable[Trial]) -> Score:
    """How far forecast temperatures were from what was read, in K."""
    known = [
        (each.miss_c, each.forecast_se_c)
        for each in tried
        if each.miss_c is not None and each.forecast_se_c is not None
    ]
    inside = sum(1 for miss, se in known if abs(miss) <= se)
    return Score(len(known), _typical([miss for miss, _ in known]), inside)


def lap_score(tried: Iterable[Trial]) -> Score:
    """How far forecast laps were from the best laps, in s; inside is within 0.1 s."""
    misses = [each.miss_s for each in tried if each.miss_s is not None]
    return Score(len(misses), _typical(misses), sum(1 for miss in misses if abs(miss) <= 0.1))


def _typical(misses: Sequence[float]) -> float:
    return sqrt(sum(miss * miss for miss in misses) / len(misses)) if misses else 0.0
