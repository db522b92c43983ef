"""The starting gear, and what follows from a track's figures."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from pitapp.tracks.formulas import (
    TrackRun,
    corner_times_s,
    filled_in,
    for_drive,
    gear_records,
    starting_gear,
)
from pitapp.tracks.models import Straight, Track

DAY = datetime(2026, 5, 3, 10, 0, tzinfo=UTC)


def outing(id: int, pinion: int = 45, **more: Any) -> TrackRun:
    base = TrackRun(id, DAY + timedelta(hours=id), 1, 1, pinion, 66, 1.9, 63.0)
    return base._replace(**more)


def start(outings: list[TrackRun], **more: object):  # type: ignore[no-untyped-def]
    asked = {"car_id": 1, "race_class_id": 1, "tyre_diameter_mm": 63.0, "can_limit_c": 80.0}
    return starting_gear(outings, **(asked | more))  # type: ignore[arg-type]


def test_without_runs_there_is_no_advice() -> None:
    assert start([]) is None


def test_the_gear_of_the_quickest_lap_is_chosen() -> None:
    runs = [outing(1, 44, best_lap_s=15.4), outing(2, 45, best_lap_s=15.2), outing(3, 46)]
    found = start(runs)
    assert (found.gear.pinion_teeth, found.gear.id, found.outings) == (45, 2, 3)


def test_a_gear_whose_can_came_within_5_degrees_of_the_limit_is_passed_over_and_named() -> None:
    runs = [
        outing(1, 45, best_lap_s=15.3, can_c=70.0),
        outing(2, 47, best_lap_s=15.0, can_c=75.1),
        outing(3, 46, best_lap_s=15.1, can_c=75.0),
    ]
    found = start(runs)
    assert found.gear.pinion_teeth == 46
    assert found.too_hot.newest.pinion_teeth == 47


def test_where_every_gear_was_too_hot_the_coolest_is_named() -> None:
    runs = [
        outing(1, 47, best_lap_s=15.0, can_c=95.0),
        outing(2, 46, best_lap_s=15.1, can_c=85.0),
    ]
    found = start(runs)
    assert found.gear.pinion_teeth == 46
    assert found.hot


def test_without_laps_it_is_the_gear_of_the_last_run() -> None:
    assert start([outing(5, 43), outing(2, 46), outing(4, 44)]).gear.pinion_teeth == 43


def test_runs_of_the_same_class_and_car_count_alone() -> None:
    runs = [
        outing(1, 44, best_lap_s=15.9),
        outing(2, 48, best_lap_s=14.0, race_class_id=2),
        outing(3, 50, best_lap_s=13.0, car_id=2),
    ]
    found = start(runs)
    assert (found.gear.pinion_teeth, found.same_class, found.same_car) == (44, True, True)


@pytest.mark.parametrize(
    ("asked", "pinion", "same_class", "same_car"),
    [
        ({"race_class_id": 9}, 44, False, True),
        ({"car_id": 9}, 44, True, False),
        ({"car_id": 9, "race_class_id": 9}, 50, False, False),
        ({"car_id": None, "race_class_id": None}, 50, False, False),
    ],
)
def test_else_the_nearest_runs_count(
    asked: dict[str, object], pinion: int, same_class: bool, same_car: bool
) -> None:
    runs = [
        outing(1, 44, best_lap_s=15.9),
        outing(2, 50, best_lap_s=13.0, car_id=2, race_class_id=2),
    ]
    found = start(runs, **asked)
    assert found.gear.pinion_teeth == pinion
    assert (found.same_class, found.same_car) == (same_class, same_car)


def test_other_tyres_keep_the_rollout() -> None:
    """63 mm at FDR 2.7867 rolls as far as 61 mm at 2.7867 × 61/63 (by hand)."""
    found = start([outing(1)], tyre_diameter_mm=61.0)
    assert found.ratio_today == pytest.approx(66 / 45 * 1.9 * 61 / 63, rel=1e-12)
    assert start([outing(1)], tyre_diameter_mm=63.2).ratio_today is None
    assert start([outing(1)], tyre_diameter_mm=None).ratio_today is None


@pytest.mark.parametrize("limit", [0.0, float("nan"), 1000.0])
def test_an_impossible_limit_is_refused(limit: float) -> None:
    with pytest.raises(ValueError, match="can limit"):
        start([outing(1)], can_limit_c=limit)


def test_records_stand_from_the_shortest_to_the_longest_gear() -> None:
    records = gear_records([outing(1, 46), outing(2, 43), outing(3, 46, best_lap_s=15.5)])
    assert [record.newest.pinion_teeth for record in records] == [43, 46]
    assert len(records[1].outings) == 2
    assert records[1].typical_lap_s == 15.5
    assert records[0].best_lap_s is None


def test_the_typical_lap_is_the_median() -> None:
    laps = [15.1, 15.9, 15.2]
    record = gear_records([outing(i, best_lap_s=lap) for i, lap in enumerate(laps)])[0]
    assert (record.best_lap_s, record.typical_lap_s) == (15.1, 15.2)


def test_corners_share_the_rest_of_the_lap() -> None:
    """A lap of 200 m with 80 m of straights leaves 60 m a corner: 6 s at 36 km/h, 12 s at 18."""
    straights = (
        Straight(length_m=40, entry_kmh=30, exit_kmh=36),
        Straight(length_m=40, entry_kmh=30, exit_kmh=18),
    )
    assert corner_times_s(Track(name="A", lap_length_m=200, straights=straights)) == (6.0, 12.0)
    assert corner_times_s(Track(name="A", straights=straights)) == (0.0, 0.0)


def test_a_track_without_straights_has_no_lap_to_drive() -> None:
    with pytest.raises(ValueError, match="no straights"):
        for_drive(Track(name="A"))


@pytest.mark.parametrize(
    ("rows", "full"),
    [
        ([(40, None, None)], None),
        ([(40, 30, None)], [(40, 30, 30)]),
        ([(40, None, 25), (20, None, 30)], [(40, 30, 25), (20, 25, 30)]),
        ([(40, 31, None), (20, 26, None)], [(40, 31, 26), (20, 26, 31)]),
        (
            [(40, None, None), (20, None, 26), (30, None, None)],
            [(40, 26, 26), (20, 26, 26), (30, 26, 26)],
        ),
    ],
)
def test_a_missing_speed_is_that_of_the_same_corner(
    rows: list[tuple[float, float | None, float | None]],
    full: list[tuple[float, float, float]] | None,
) -> None:
    assert filled_in(rows) == full


def test_straights_longer_than_the_lap_are_refused() -> None:
    with pytest.raises(ValueError, match="longer than the lap"):
        Track(
            name="A",
            lap_length_m=30,
            straights=(Straight(length_m=40, entry_kmh=30, exit_kmh=30),),
        )
