"""Back-test: each logged run forecast from the runs before it, against what was read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import sqrt
from typing import NamedTuple

from pitapp.drive.learning.can import CanFit, CanPrior
from pitapp.drive.learning.run_history import MOST_RUNS, RunResidual, fit_runs
from pitapp.drive.ranking.uncertainty import Widening, can_se_k, reading_se_k, widened


class BackTest(NamedTuple):
    """A run's forecast from the runs before it, and the readings.

    The can is that of the reading, when it was read; `reading_se_c` is the ± of such a reading.
    """

    residual: RunResidual
    forecast_c: float | None
    forecast_se_c: float | None
    read_c: float | None
    forecast_lap_s: float | None
    forecast_lap_se_s: float | None = None

    @property
    def miss_c(self) -> float | None:
        """How much hotter the can was read than forecast."""
        if self.forecast_c is None or self.read_c is None:
            return None
        return self.read_c - self.forecast_c

    @property
    def miss_s(self) -> float | None:
        """How much slower the lap was than forecast."""
        if self.forecast_lap_s is None or self.residual.lap is None:
            return None
        return self.residual.lap.logged_s - self.forecast_lap_s


class Score(NamedTuple):
    """How good the forecasts were: how many, the typical (root mean square) miss, how many inside."""

    runs: int
    miss: float
    inside: int


def run_back_tests(
    residuals: Sequence[RunResidual], most: int = MOST_RUNS, prior: CanPrior | None = None
) -> list[BackTest]:
    """The newest runs' forecasts, each from the runs before it alone, newest run first."""
    back_tests = []
    start: CanFit | None = None
    for index, residual in list(enumerate(residuals))[-most:]:
        before = fit_runs(residuals[:index], residual.run.track_id, prior, start)
        start = before.can
        can_c = se_c = lap_s = lap_se = None
        point = residual.reading
        if point is not None:
            warming = before.can.warming(point.run_s, point.after_s)
            can_c, fit_se, rise = warming.can(
                point.power_w, point.ratio, point.start_c, point.air_c
            )
            se = can_se_k(fit_se, rise, point.air_c, before.can.mean_air_c)
            se_c = reading_se_k(se, before.can.noise_k)
        if residual.lap is not None:
            lap_s = before.laps.lap_s(residual.lap.modelled_s, residual.ratio)
            lap_se = before.laps.lap_se(residual.ratio)
        read_c = point.read_c if point else None
        back_tests.append(BackTest(residual, can_c, se_c, read_c, lap_s, lap_se))
    return back_tests[::-1]


def widening(back_tests: Sequence[BackTest]) -> Widening:
    """How much wider the ± have to be by these back-tests; those from no run at all do not count."""
    cans = [
        each.miss_c / each.forecast_se_c
        for each in back_tests[:-1]
        if each.miss_c is not None and each.forecast_se_c
    ]
    laps = [
        each.miss_s / each.forecast_lap_se_s
        for each in back_tests
        if each.miss_s is not None and each.forecast_lap_se_s
    ]
    return Widening(widened(cans), widened(laps))


def temperature_score(back_tests: Iterable[BackTest]) -> Score:
    """How far forecast temperatures were from what was read, in K."""
    scored = [
        (each.miss_c, each.forecast_se_c)
        for each in back_tests
        if each.miss_c is not None and each.forecast_se_c is not None
    ]
    inside = sum(1 for miss, se in scored if abs(miss) <= se)
    return Score(len(scored), _typical([miss for miss, _ in scored]), inside)


def lap_score(back_tests: Iterable[BackTest]) -> Score:
    """How far forecast laps were from the best laps, in s; inside is within 0.1 s."""
    misses = [each.miss_s for each in back_tests if each.miss_s is not None]
    return Score(len(misses), _typical(misses), sum(1 for miss in misses if abs(miss) <= 0.1))


def _typical(misses: Sequence[float]) -> float:
    return sqrt(sum(miss * miss for miss in misses) / len(misses)) if misses else 0.0
