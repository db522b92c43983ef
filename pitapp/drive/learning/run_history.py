"""Logged runs set beside the model, and the fits to them.

A can counts as it was read, when it was read, beside the air of its run; where that was not logged, of
the nearest run within three hours, and less surely (from memory). It starts as warm as the run before
has left it, cooling since; with nothing known, as warm as the air. Readings without their time count as
read a minute after the flag (from memory), and less surely.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from functools import lru_cache
from math import exp, hypot, inf, log
from typing import NamedTuple

from pitapp.drive.inputs.build_setup import (
    BEST_LAP_WINDING_C,
    RUN_WINDING_C,
    warm_ohm,
    with_changes,
)
from pitapp.drive.inputs.input_sources import HALF_WAY_PERCENT
from pitapp.drive.learning.can import CanFit, CanPrior, CanReading
from pitapp.drive.learning.can_fit import fit_can
from pitapp.drive.learning.lap_slope import LapPoint
from pitapp.drive.learning.laps import LapFit, LapTime, fit_laps
from pitapp.drive.learning.logged_run import LoggedRun
from pitapp.drive.models import Setup, Track
from pitapp.drive.physics.lap import run_lap
from pitapp.drive.ranking.uncertainty import (
    LAP_GAIN,
    NO_DELAY_SHARE,
    SECOND_READING_SPREAD_K,
    TRACK_SHARE,
)
from pitapp.packs.cell import open_circuit_cell_v

MOST_RUNS = 60
READ_AFTER_S = 60.0
SAME_DAY_H = 14.0
AIR_APART_H = 3.0
AIR_SPREAD_K = 2.0
COOLER_THAN_AIR_K = 3.0
USUAL_LAP_S = 20.0
BEST_LAP_PERCENT = 90.0
"""Charge left at the best lap, from memory: most are driven early."""
FULLER = open_circuit_cell_v(BEST_LAP_PERCENT) / open_circuit_cell_v(HALF_WAY_PERCENT)


class RunResidual(NamedTuple):
    """A logged run beside the model's run; None where the log or the model says nothing.

    `ratio` is that which gives the same rollout with today's tyres, `day` counts race days,
    `charge_mah` is what the model says that the run took, `second` a later reading of the can,
    `gain` by what part the model's lap gets shorter for one in ln of the volts.
    """

    run: LoggedRun
    ratio: float
    lap: LapPoint | None
    reading: CanReading | None
    refused: str = ""
    day: int = 0
    charge_mah: float | None = None
    second: CanReading | None = None
    gain: float | None = None

    @property
    def last_reading(self) -> CanReading | None:
        """The reading of the can that was taken last."""
        return self.second or self.reading


class LearnedFits(NamedTuple):
    """Fits to the runs: how the can warms, how laps go with the gear, on which ratios.

    `ratios` are those of runs whose can was read; `typical_lap_s` is a lap here.
    """

    run_residuals: tuple[RunResidual, ...]
    can: CanFit
    laps: LapFit
    ratios: tuple[float, ...]
    typical_lap_s: float = USUAL_LAP_S

    @property
    def airless(self) -> list[LoggedRun]:
        """Runs whose can was read but no air, neither in them nor near them; newest first."""
        runs = [each.run for each in reversed(self.run_residuals) if not each.refused]
        return [run for run in runs if run.can_c is not None and run.air_c is None]


@lru_cache(maxsize=16)
def run_residuals(
    runs: tuple[LoggedRun, ...], setup: Setup, cooling_tau_s: float
) -> tuple[RunResidual, ...]:
    """Each run beside the model, oldest first.

    Args:
        runs: of one motor in one car, in any order.
        setup: the car as it is believed to be; its tyres and air are replaced by each run's.
        cooling_tau_s: time constant of the can of the standing car, in s.
    """
    residuals: list[RunResidual] = []
    day = 0
    for run in _with_air(sorted(runs, key=lambda each: (each.started_at, each.id))):
        before = residuals[-1].run if residuals else None
        if before and run.started_at - before.started_at > timedelta(hours=SAME_DAY_H):
            day += 1
        start_c = _start_c(run, residuals, setup, cooling_tau_s)
        residuals.append(_run_residual(run, setup, start_c)._replace(day=day))
    return tuple(residuals)


def _with_air(runs: Sequence[LoggedRun]) -> list[LoggedRun]:
    """The runs, those without air with that of the nearest run, if that is near enough."""
    aired = [run for run in runs if run.air_c is not None]

    def with_air(run: LoggedRun) -> LoggedRun:
        def apart(other: LoggedRun) -> timedelta:
            return abs(other.started_at - run.started_at)

        nearest = min(reversed(aired), key=apart, default=None) if run.air_c is None else None
        if nearest is None or apart(nearest) > timedelta(hours=AIR_APART_H):
            return run
        return run._replace(air_c=nearest.air_c, air_spread_k=AIR_SPREAD_K)

    return [with_air(run) for run in runs]


def _start_c(
    run: LoggedRun, before: Sequence[RunResidual], setup: Setup, cooling_tau_s: float
) -> float | None:
    """The can at the start: what the last reading has cooled to since, else the air."""
    last = next((each for each in reversed(before) if each.reading), None)
    reading = last and last.last_reading
    if run.air_c is None or last is None or reading is None:
        return run.air_c
    read_at = last.run.started_at + timedelta(
        seconds=(last.run.run_s or setup.run_length_s) + reading.after_s
    )
    waited = max(0.0, (run.started_at - read_at).total_seconds())
    return run.air_c + max(0.0, reading.read_c - run.air_c) * exp(-waited / cooling_tau_s)


def _run_residual(run: LoggedRun, setup: Setup, start_c: float | None) -> RunResidual:
    ratio = run.ratio * setup.car.tyre_diameter_mm / run.tyre_diameter_mm
    if run.track is None:
        return RunResidual(run, ratio, None, None, "no track")
    try:
        seconds, watts, mah = _model_run(run, setup, run.track)
    except ValueError as error:
        return RunResidual(run, ratio, None, None, _sentence(error))
    best_s = best_lap_s(setup, run)
    gain = log(seconds / best_s) / log(FULLER)
    logged_s, modelled_s = run.mean_lap_s, seconds
    if logged_s is None:
        logged_s, modelled_s = run.best_lap_s, best_s
    charge = mah / seconds * (run.run_s or setup.run_length_s)
    lap = None if logged_s is None else LapPoint(ratio, logged_s, modelled_s)
    reading = second = None
    if run.can_c is not None and run.air_c is not None and start_c is not None:
        if run.can_c < run.air_c - COOLER_THAN_AIR_K:
            return RunResidual(
                run,
                ratio,
                lap,
                None,
                "the can was read cooler than the air",
                charge_mah=charge,
                gain=gain,
            )
        unsure = NO_DELAY_SHARE * abs(run.can_c - run.air_c) if run.read_after_s is None else 0.0
        reading = CanReading(
            power_w=watts,
            ratio=ratio,
            run_s=run.run_s or setup.run_length_s,
            start_c=start_c,
            air_c=run.air_c,
            read_c=run.can_c,
            after_s=READ_AFTER_S if run.read_after_s is None else run.read_after_s,
            spread_k=hypot(unsure, run.air_spread_k),
        )
        if run.second_can_c is not None and run.second_after_s is not None:
            second = reading._replace(
                read_c=run.second_can_c,
                after_s=run.second_after_s,
                spread_k=hypot(SECOND_READING_SPREAD_K, run.air_spread_k),
            )
    return RunResidual(run, ratio, lap, reading, charge_mah=charge, second=second, gain=gain)


@lru_cache(maxsize=64)
def _at_best_lap(setup: Setup) -> Setup:
    """The set-up as at the best lap: on a fuller pack, with a motor not yet as warm."""
    cooler = warm_ohm(1.0, BEST_LAP_WINDING_C) / warm_ohm(1.0, RUN_WINDING_C)
    volts = min(setup.pack.voltage_v * FULLER, 100.0)
    ohm = setup.motor.resistance_ohm * cooler
    return setup.model_copy(
        update={
            "pack": with_changes(setup.pack, voltage_v=volts),
            "motor": with_changes(setup.motor, resistance_ohm=ohm),
        }
    )


def best_lap_s(setup: Setup, run: LoggedRun) -> float:
    """A run's best lap by the model: on a fuller pack and with a cooler motor than half way.

    Raises:
        ValueError: the model cannot drive it.
    """
    if run.track is None:
        raise ValueError("There is no track.")
    return _model_run(run, _at_best_lap(setup), run.track)[0]


def _model_run(run: LoggedRun, setup: Setup, track: Track) -> tuple[float, float, float]:
    """Model the run's lap with its own gear, tyres, air, rev limit and weight."""
    return model_lap(
        setup,
        track,
        run.ratio,
        run.tyre_diameter_mm,
        run.air_c,
        run.rev_limit_rpm,
        run.mass_g,
    )


@lru_cache(maxsize=2048)
def model_lap(
    setup: Setup,
    track: Track,
    ratio: float,
    tyre_mm: float,
    air_c: float | None,
    rev_limit_rpm: float | None,
    mass_g: float | None,
) -> tuple[float, float, float]:
    """(lap in s, mean motor heat in W, mAh a lap) of a run by the model; None is as today."""
    weight = {} if mass_g is None else {"mass_kg": mass_g / 1000.0}
    car = with_changes(setup.car, tyre_diameter_mm=tyre_mm, **weight)
    air, controller = setup.air, setup.controller
    if air_c is not None:
        air = with_changes(air, temperature_c=air_c)
    if rev_limit_rpm is not None:
        limit = None if rev_limit_rpm == inf else rev_limit_rpm
        controller = with_changes(controller, rev_limit_rpm=limit)
    lap = run_lap(car, setup.motor, setup.pack, controller, air, track, ratio)
    return lap.lap_s, lap.motor_power_w, lap.charge_mah


def fit_runs(
    residuals: Sequence[RunResidual],
    track_id: int,
    prior: CanPrior | None = None,
    start: CanFit | None = None,
) -> LearnedFits:
    """What run_residuals teach for a track.

    Temperatures of every track count, those of others less; laps only of this one. The fit's weights
    are those of the first readings, then of the second ones.
    """
    read = [(each.run, each.reading) for each in residuals if each.reading]
    read += [(each.run, each.second) for each in residuals if each.second]
    readings = []
    for run, reading in read:
        if run.track_id != track_id:
            elsewhere = TRACK_SHARE * abs(reading.read_c - reading.air_c)
            reading = reading._replace(spread_k=hypot(reading.spread_k, elsewhere))
        readings.append(reading)
    laps = [
        LapTime(
            each.day,
            each.ratio,
            each.lap.logged_s,
            each.lap.modelled_s,
            each.run.laps_in_mean if each.run.mean_lap_s else 0,
        )
        for each in residuals
        if each.lap and each.run.track_id == track_id
    ]
    gains = sorted(
        each.gain for each in residuals if each.gain is not None and each.run.track_id == track_id
    )
    gain = max(gains[len(gains) // 2], 0.0) if gains else LAP_GAIN
    typical = sorted(lap.logged_s for lap in laps)[len(laps) // 2] if laps else USUAL_LAP_S
    return LearnedFits(
        run_residuals=tuple(residuals),
        can=fit_can(readings, prior, start),
        laps=fit_laps(laps, typical, gain=gain),
        ratios=tuple(sorted({each.ratio for each in residuals if each.reading})),
        typical_lap_s=typical,
    )


def _sentence(error: ValueError) -> str:
    findings = getattr(error, "errors", None)
    if callable(findings):
        return str(findings()[0]["msg"]).removeprefix("Value error, ")
    return str(error)
