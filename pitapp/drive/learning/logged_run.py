"""A logged run in the units of the drive model."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from math import inf
from typing import Any, NamedTuple

from pitapp.drive.models import Track
from pitapp.meetings.models import RaceClass
from pitapp.motor.formulas import lower_limit
from pitapp.runs.laps.formulas import Fade, lap_figures
from pitapp.runs.models import Run

FEWEST_LAPS = 6
"""In a list, for a mean of its better half to be better than its best lap; our own margin."""


class LoggedRun(NamedTuple):
    """What a logged run says; None where it was not logged. `track` is the track as it is driven.

    `rev_limit_rpm` and `mass_g` are as they were in the run; with no rev limit it is infinite.
    `mean_lap_s` is the mean of the better half of the laps where all were noted, `laps_in_mean` how
    many there were, `fade` how much slower they got, in s a minute. The can was read a second time
    at `second_after_s`. `top_speed_kmh` was measured, to `top_speed_spread_kmh` where that is known.
    `air_spread_k` is what is uncertain of air that was read in another run.
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
    air_spread_k: float = 0.0
    best_lap_s: float | None = None
    run_s: float | None = None
    rev_limit_rpm: float | None = None
    mass_g: float | None = None
    pack_id: int | None = None
    mean_lap_s: float | None = None
    laps_in_mean: int = 0
    fade: Fade | None = None
    second_can_c: float | None = None
    second_after_s: float | None = None
    top_speed_kmh: float | None = None
    top_speed_spread_kmh: float | None = None


def logged_run(
    run: Run,
    driven_track: Callable[[int], Track | None],
    race_classes: Mapping[int, RaceClass],
    laps_s: Sequence[float] = (),
) -> LoggedRun | None:
    """The logged run in the model's units, or None without its gear and tyres.

    `driven_track` gives the track of an id as it is driven; 0 is no track in particular. `laps_s`
    are all its laps where they were noted.
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
        pack_id=run.pack_id,
        second_can_c=run.second_can_c,
        second_after_s=run.second_after_s,
        top_speed_kmh=run.top_speed_kmh,
        top_speed_spread_kmh=run.top_speed_spread_kmh,
        **_of_laps(tuple(laps_s)),
    )


@lru_cache(maxsize=512)
def _of_laps(laps_s: tuple[float, ...]) -> dict[str, Any]:
    """What a list of laps says; a short one says no more than its best lap."""
    if len(laps_s) < FEWEST_LAPS:
        return {}
    figures = lap_figures(laps_s)
    return {
        "mean_lap_s": figures.better_half_s,
        "laps_in_mean": len(laps_s) - len(figures.traffic),
        "fade": figures.fade_per_minute_s,
    }


def _rev_limit(run: Run, rules: RaceClass | None) -> float | None:
    """The lower of the class's limit and the car's as it was; infinite if neither has one, None if unknown."""
    own = run.snapshot.car.rev_limit_rpm
    return own if rules is None else lower_limit(rules.rev_limit_rpm, own) or inf
