"""The gear to start with at a track, drawn from the runs there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from statistics import median
from typing import NamedTuple

from pitapp.gearing.train import final_drive_ratio, ratio_for_rollout, rollout_mm
from pitapp.limits import number

TYRES_DIFFER_MM = 0.25
HOT_WITHIN_K = 5.0
"""How near to the limit a can counts as too hot to start with: our own margin."""


class TrackRun(NamedTuple):
    """What a run at a track tells of its gear; laps in s, temperatures in °C, None where not logged.

    `time_zone` is that of the track, or empty for the racer's own.
    """

    id: int
    started_at: datetime
    car_id: int | None
    race_class_id: int | None
    pinion_teeth: int
    spur_teeth: int
    internal_ratio: float
    tyre_diameter_mm: float
    best_lap_s: float | None = None
    can_c: float | None = None
    air_c: float | None = None
    time_zone: str = ""

    @property
    def ratio(self) -> float:
        """The final drive ratio of this run."""
        return final_drive_ratio(self.spur_teeth, self.pinion_teeth, self.internal_ratio)


class GearRecord(NamedTuple):
    """What the runs with one gear came to: laps in s, temperatures in °C."""

    outings: tuple[TrackRun, ...]

    @property
    def newest(self) -> TrackRun:
        """The last run with this gear."""
        return max(self.outings, key=lambda outing: (outing.started_at, outing.id))

    @property
    def best(self) -> TrackRun | None:
        """The run with the quickest lap, if any lap was logged."""
        timed = [outing for outing in self.outings if outing.best_lap_s is not None]
        return min(timed, key=lambda outing: outing.best_lap_s or 0, default=None)

    @property
    def best_lap_s(self) -> float | None:
        """The quickest lap."""
        return self.best.best_lap_s if self.best else None

    @property
    def typical_lap_s(self) -> float | None:
        """The median of the runs' best laps."""
        laps = [outing.best_lap_s for outing in self.outings if outing.best_lap_s is not None]
        return median(laps) if laps else None

    @property
    def hottest(self) -> TrackRun | None:
        """The run with the hottest can that was read."""
        read = [outing for outing in self.outings if outing.can_c is not None]
        return max(read, key=lambda outing: outing.can_c or 0, default=None)


class StartingGear(NamedTuple):
    """The gear to start with, and where the advice comes from.

    Attributes:
        record: the runs with this gear.
        outings: how many runs were looked at.
        same_class, same_car: whether those runs were under the class and with the car asked for.
        too_hot: a quicker gear that was passed over because its can came near to the limit.
        ratio_today: the ratio that gives the same rollout with today's tyres, where that differs.
    """

    record: GearRecord
    outings: int
    same_class: bool
    same_car: bool
    can_limit_c: float
    too_hot: GearRecord | None
    ratio_today: float | None

    @property
    def gear(self) -> TrackRun:
        """A run with this gear: the quickest, else the last."""
        return self.record.best or self.record.newest

    @property
    def hot(self) -> bool:
        """Whether even this gear's can came near to the limit."""
        return _hot(self.record, self.can_limit_c)


def starting_gear(
    outings: Iterable[TrackRun],
    *,
    car_id: int | None,
    race_class_id: int | None,
    tyre_diameter_mm: float | None,
    can_limit_c: float,
) -> StartingGear | None:
    """The gear of the quickest lap whose can stayed 5 °C under the limit; None without a run.

    Runs of the same car and class count alone if there are any; else those of the same car, else
    those of the same class, else all. With no lap logged it is the gear of the last run. Where
    every gear came that near to the limit, it is the one whose can stayed coolest.

    Args:
        outings: runs at one track.
        tyre_diameter_mm: of the tyres now on the car (mm), to keep the rollout; None if unknown.
        can_limit_c: 30–200 °C.

    Raises:
        ValueError: the limit or the tyre diameter is impossible.

    Source: common practice, no published source: start with what was quick here and lived.

    >>> from datetime import UTC
    >>> day = datetime(2026, 5, 3, 10, 0, tzinfo=UTC)
    >>> runs = [TrackRun(1, day, 1, 1, 45, 66, 1.9, 63.0, 15.31, 66.0),
    ...         TrackRun(2, day, 1, 1, 46, 66, 1.9, 63.0, 15.22, 84.0)]
    >>> start = starting_gear(runs, car_id=1, race_class_id=1, tyre_diameter_mm=63.0, can_limit_c=80)
    >>> start.gear.pinion_teeth, start.too_hot.newest.pinion_teeth
    (45, 46)
    """
    limit = number(can_limit_c, "can limit", 30, 200, unit="°C")
    chosen, same_car, same_class = _nearest(list(outings), car_id, race_class_id)
    if not chosen:
        return None
    records = gear_records(chosen)
    cool = [record for record in records if not _hot(record, limit)]
    timed = [record for record in cool if record.best_lap_s is not None]
    if timed:
        record = min(timed, key=_lap)
    elif cool:
        record = max(cool, key=lambda each: each.newest.started_at)
    else:
        record = min(records, key=lambda each: (each.hottest and each.hottest.can_c) or 0)
    quicker = [each for each in records if _hot(each, limit) and _lap(each) < _lap(record)]
    start = record.best or record.newest
    return StartingGear(
        record=record,
        outings=len(chosen),
        same_class=same_class,
        same_car=same_car,
        can_limit_c=limit,
        too_hot=min(quicker, key=_lap, default=None),
        ratio_today=_ratio_today(start, tyre_diameter_mm),
    )


def gear_records(outings: Iterable[TrackRun]) -> list[GearRecord]:
    """The runs by gear (car, pinion, spur, internal ratio), longest gear last."""
    by_gear: dict[tuple[object, ...], list[TrackRun]] = {}
    for outing in outings:
        key = (outing.car_id, outing.pinion_teeth, outing.spur_teeth, outing.internal_ratio)
        by_gear.setdefault(key, []).append(outing)
    records = [GearRecord(tuple(each)) for each in by_gear.values()]
    return sorted(records, key=lambda record: -record.newest.ratio)


def _nearest(
    outings: Sequence[TrackRun], car_id: int | None, race_class_id: int | None
) -> tuple[Sequence[TrackRun], bool, bool]:
    """The runs that tell most about this car in this class; whether they are of both."""
    for same_car, same_class in ((True, True), (True, False), (False, True)):
        ranked = [
            each
            for each in outings
            if (not same_car or (car_id is not None and each.car_id == car_id))
            and (
                not same_class
                or (race_class_id is not None and each.race_class_id == race_class_id)
            )
        ]
        if ranked:
            return ranked, same_car, same_class
    return outings, False, False


def _hot(record: GearRecord, limit_c: float) -> bool:
    return record.hottest is not None and (record.hottest.can_c or 0) > limit_c - HOT_WITHIN_K


def _lap(record: GearRecord) -> float:
    return record.best_lap_s if record.best_lap_s is not None else float("inf")


def _ratio_today(outing: TrackRun, tyre_diameter_mm: float | None) -> float | None:
    if (
        tyre_diameter_mm is None
        or abs(tyre_diameter_mm - outing.tyre_diameter_mm) < TYRES_DIFFER_MM
    ):
        return None
    return ratio_for_rollout(tyre_diameter_mm, rollout_mm(outing.tyre_diameter_mm, outing.ratio))
