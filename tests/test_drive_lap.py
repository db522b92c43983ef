"""Laps: straights and corners added up, and a first track from little knowledge."""

from __future__ import annotations

import math

import pytest

from pitapp.drive.formulas import (
    Air,
    Car,
    Controller,
    Motor,
    Pack,
    Straight,
    Track,
    run_lap,
    run_straight,
    track_by_feel,
)
from tests.drive_reference import Law

PARTS = (
    Car(mass_kg=1.35, tyre_diameter_mm=63),
    Motor(kv_rpm_per_v=2380, resistance_ohm=0.02),
    Pack(voltage_v=7.4),
    Controller(rev_limit_rpm=14600),
    Air(),
)
STRAIGHTS = (
    Straight(length_m=45, entry_speed_m_s=7, exit_speed_m_s=6, corner_s=1.5),
    Straight(length_m=12, entry_speed_m_s=6, exit_speed_m_s=7, corner_s=2.0),
)


def test_a_lap_is_its_straights_and_its_corners() -> None:
    lap = run_lap(*PARTS, Track(straights=STRAIGHTS), 4.0)
    alone = [run_straight(*PARTS, straight, 4.0) for straight in STRAIGHTS]
    law = Law(PARTS, 4.0)
    corners = [law.rates("limit", 6), law.rates("limit", 7)]
    assert lap.lap_s == pytest.approx(sum(run.time_s for run in alone) + 3.5, rel=1e-14)
    assert lap.charge_mah == pytest.approx(
        sum(run.charge_mah for run in alone) + (1.5 * corners[0][1] + 2 * corners[1][1]) / 3.6
    )
    assert lap.motor_heat_j == pytest.approx(
        sum(run.motor_heat_j for run in alone) + 1.5 * corners[0][2] + 2 * corners[1][2]
    )
    assert lap.motor_power_w == pytest.approx(lap.motor_heat_j / lap.lap_s, rel=1e-14)
    assert lap.rev_limit_m == pytest.approx(sum(run.rev_limit_m for run in alone), rel=1e-14)
    assert lap.top_rpm == pytest.approx(14600, rel=1e-12)
    assert lap.notes == ()


def test_a_gear_too_short_for_a_corner_drives_it_slower_and_says_so() -> None:
    lap = run_lap(*PARTS, Track(straights=STRAIGHTS), 9.0)
    # 14 600 rpm through 9:1 on a 63 mm tyre, in m/s: every metre is driven at that speed or less.
    reach = 14600 / 60 / 9 * math.pi * 0.063
    assert reach < 6
    metres = 45 + 12 + 1.5 * 6 + 2.0 * 7
    assert lap.lap_s == pytest.approx(metres / reach, rel=1e-12)
    assert lap.notes[0].startswith(f"In this gear the car reaches {reach:.1f} m/s, less than")


def test_lap_time_has_no_jump_where_a_corner_speed_is_just_reached() -> None:
    ratio = 14600 / 60 * math.pi * 0.063 / 7
    track = Track(straights=STRAIGHTS)
    shorter, longer = (run_lap(*PARTS, track, ratio * (1 + x)).lap_s for x in (1e-9, -1e-9))
    assert shorter == pytest.approx(longer, rel=1e-8)


def test_a_track_needs_a_straight() -> None:
    with pytest.raises(ValueError, match="no straights yet"):
        Track(straights=())


def test_a_corner_needs_a_speed() -> None:
    with pytest.raises(ValueError, match="needs an exit speed"):
        Straight(length_m=20, entry_speed_m_s=5, corner_s=2)


@pytest.mark.parametrize("corners", ["tight", "mixed", "flowing"])
def test_the_longest_straight_and_a_feel_are_enough(corners: str) -> None:
    track = track_by_feel(50, corners)  # type: ignore[arg-type]
    lap = run_lap(*PARTS, track, 4.0)
    assert max(straight.length_m for straight in track.straights) == 50
    # Common practice, no source: laps of 12 to 30 s on club tracks.
    assert 12 < lap.lap_s < 30
    assert lap.notes == ()


def test_flowing_corners_make_a_quicker_lap_than_tight_ones() -> None:
    tight, mixed, flowing = (
        run_lap(*PARTS, track_by_feel(50, feel), 4.0).lap_s
        for feel in ("tight", "mixed", "flowing")
    )
    assert flowing < mixed < tight


@pytest.mark.parametrize(("longest", "feel"), [(0, "mixed"), (math.nan, "tight"), (40, "banked")])
def test_a_track_that_cannot_be_is_refused(longest: float, feel: str) -> None:
    with pytest.raises(ValueError, match=r"longest straight|tight, mixed or flowing"):
        track_by_feel(longest, feel)  # type: ignore[arg-type]
