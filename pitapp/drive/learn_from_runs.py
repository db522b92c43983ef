"""From logged runs to what the forecast has learned.

A run's can is taken back from when it was read to the flag. It starts as warm as the run before
has left it, cooling since; with nothing known, as warm as the air. Readings without their time
count as read a minute after the flag (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from math import exp, inf
from typing import NamedTuple

from pitapp.drive.lap import run_lap
from pitapp.drive.learn import LapPoint, fit_lap_slope
from pitapp.drive.models import Setup, Track
from pitapp.drive.results import LapSlope
from pitapp.drive.setting_up import with_changes
from pitapp.heat.formulas import fit_heating, temperature_when_stopped_c
from pitapp.heat.models import HeatingFit, HeatingPoint
from pitapp.meetings.models import RaceClass
from pitapp.runs.models import Run

MOST_RUNS = 60
READ_AFTER_S = 60.0


class LoggedRun(NamedTuple):
    """What a logged run says; None where it was not logged. `track` is the track as it is driven.

    `rev_limit_rpm` and `mass_g` are as they were in the run; with no rev limit it is infinite.
    """

    id: int
    started_at: datetime
    pinion_teeth: int
    spur_teeth: int
    ratio: float
    tyre_diameter_mm: float
    track_id: int
    track: Track | None
    can_c: float | None = None
    read_after_s: float | None = None
    air_c: float | None = None
    best_lap_s: float | None = None
    run_s: float | None = None
    rev_limit_rpm: float | None = None
    mass_g: float | None = None


def logged_run(
    run: Run,
    driven_track: Callable[[int], Track | None],
    race_classes: Mapping[int, RaceClass],
) -> LoggedRun | None:
    """A run of the log as the model takes it, or None without its gear and tyres.

    `driven_track` gives the track of an id as it is driven; 0 is no track in particular.
    """
    ratio, pinion, spur = run.final_drive_ratio, run.pinion_teeth, run.spur_teeth
    if ratio is None or pinion is None or spur is None or run.tyre_diameter_mm is None:
        return None
    track_id = run.track_id or 0
    return LoggedRun(
        id=run.id,
        started_at=run.started_at,
        pinion_teeth=pinion,
        spur_teeth=spur,
        ratio=ratio,
        tyre_diameter_mm=run.tyre_diameter_mm,
        track_id=track_id,
        track=driven_track(track_id),
        can_c=run.can_c,
        read_after_s=run.read_after_s,
        air_c=run.air_c,
        best_lap_s=run.best_lap_s,
        run_s=run.run_s,
        rev_limit_rpm=_rev_limit(run, race_classes.get(run.race_class_id or 0)),
        mass_g=run.snapshot.car.mass_g,
    )


def _rev_limit(run: Run, rules: RaceClass | None) -> float | None:
    """The class's limit, else the car's as it was; infinite if neither has one, None if unknown."""
    own = run.snapshot.car.rev_limit_rpm
    return own if rules is None else rules.rev_limit_rpm or own or inf


class Lesson(NamedTuple):
    """A run with what the model has of it; None where the log or the model says nothing.

    `ratio` is that which gives the same rollout with today's tyres.
    """

    run: LoggedRun
    ratio: float
    lap: LapPoint | None
    heat: HeatingPoint | None
    refused: str = ""


class Learned(NamedTuple):
    """What the runs have taught: the can's heating, the slope of lap times, and what of it is sure.

    `lap_offset_s` is what this track's best laps are over the model's, at `lap_centre`.
    """

    lessons: tuple[Lesson, ...]
    heating: HeatingFit
    lap_slope: LapSlope
    lap_offset_s: float | None
    lap_centre: float
    ratios: tuple[float, ...]
    notes: tuple[str, ...]

    def lap_s(self, modelled_s: float, ratio: float) -> float | None:
        """The lap to expect of a gear, or None with no lap logged here."""
        if self.lap_offset_s is None:
            return None
        tilt = self.lap_slope.slope_s_per_ratio * (ratio - self.lap_centre)
        return modelled_s + self.lap_offset_s + tilt


@lru_cache(maxsize=16)
def lessons(runs: tuple[LoggedRun, ...], setup: Setup, cooling_tau_s: float) -> tuple[Lesson, ...]:
    """What each run says beside the model, oldest first.

    Args:
        runs: of one motor in one car, in any order.
        setup: the car as it is believed to be; its tyres and air are replaced by each run's.
        cooling_tau_s: time constant of the can of the standing car, in s.
    """
    found = []
    flag_c: float | None = None
    ended: datetime | None = None
    for run in sorted(runs, key=lambda each: (each.started_at, each.id)):
        start_c = run.air_c
        if run.air_c is not None and flag_c is not None and ended is not None:
            waited = (run.started_at - ended).total_seconds()
            start_c = run.air_c + (flag_c - run.air_c) * exp(-max(0.0, waited) / cooling_tau_s)
        lesson = _lesson(run, setup, cooling_tau_s, start_c)
        found.append(lesson)
        if lesson.heat is not None:
            flag_c = lesson.heat.flag_c
            ended = run.started_at + timedelta(seconds=lesson.heat.run_s)
    return tuple(found)


def _lesson(run: LoggedRun, setup: Setup, cooling_tau_s: float, start_c: float | None) -> Lesson:
    ratio = run.ratio * setup.car.tyre_diameter_mm / run.tyre_diameter_mm
    if run.track is None:
        return Lesson(run, ratio, None, None, "no track")
    try:
        driven = _driven(
            setup,
            run.track,
            run.ratio,
            run.tyre_diameter_mm,
            run.air_c,
            run.rev_limit_rpm,
            run.mass_g,
        )
        lap = None
        if run.best_lap_s is not None:
            lap = LapPoint(ratio, run.best_lap_s, driven[0])
        heat = None
        if run.can_c is not None and run.air_c is not None and start_c is not None:
            after = READ_AFTER_S if run.read_after_s is None else run.read_after_s
            heat = HeatingPoint(
                power_w=driven[1],
                run_s=run.run_s or setup.run_length_s,
                start_c=start_c,
                air_c=run.air_c,
                flag_c=temperature_when_stopped_c(run.can_c, after, run.air_c, cooling_tau_s),
            )
    except ValueError as error:
        return Lesson(run, ratio, None, None, _sentence(error))
    return Lesson(run, ratio, lap, heat)


@lru_cache(maxsize=2048)
def _driven(
    setup: Setup,
    track: Track,
    ratio: float,
    tyre_mm: float,
    air_c: float | None,
    rev_limit_rpm: float | None,
    mass_g: float | None,
) -> tuple[float, float]:
    """(lap in s, mean motor heat in W) of a run by the model; None stands for as today."""
    weight = {} if mass_g is None else {"mass_kg": mass_g / 1000.0}
    car = with_changes(setup.car, tyre_diameter_mm=tyre_mm, **weight)
    air, controller = setup.air, setup.controller
    if air_c is not None:
        air = with_changes(air, temperature_c=air_c)
    if rev_limit_rpm is not None:
        limit = None if rev_limit_rpm == inf else rev_limit_rpm
        controller = with_changes(controller, rev_limit_rpm=limit)
    lap = run_lap(car, setup.motor, setup.pack, controller, air, track, ratio)
    return lap.lap_s, lap.motor_power_w


def learned(found: Sequence[Lesson], track_id: int) -> Learned:
    """What lessons teach for a track.

    Temperatures of every track count, laps only of this one.
    """
    notes = []
    try:
        heating = fit_heating([each.heat for each in found if each.heat])
    except ValueError as error:
        heating = fit_heating([])
        notes.append(str(error))
    here = [each for each in found if each.lap and each.run.track_id == track_id]
    laps = [each.lap for each in here if each.lap]
    slope = fit_lap_slope(laps)
    offset, centre = None, 0.0
    if laps:
        centre = sum(lap.final_drive_ratio for lap in laps) / len(laps)
        offset = sum(lap.logged_s - lap.modelled_s for lap in laps) / len(laps)
    return Learned(
        lessons=tuple(found),
        heating=heating,
        lap_slope=slope,
        lap_offset_s=offset,
        lap_centre=centre,
        ratios=tuple(sorted({each.ratio for each in found if each.heat})),
        notes=tuple(notes),
    )


def _sentence(error: ValueError) -> str:
    findings = getattr(error, "errors", None)
    if callable(findings):
        return str(findings()[0]["msg"]).removeprefix("Value error, ")
    return str(error)
