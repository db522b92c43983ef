"""Gaps and shopping, with the fewest gears proved by trying every set; what-if by hand."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import Any

import pytest

from pitapp.drive.formulas import (
    Car,
    Controller,
    Motor,
    Pack,
    Setup,
    rank_gears,
    run_lap,
    track_by_feel,
)
from pitapp.drive.ranking.drivable import curve, rank_drivable
from pitapp.drive.ranking.gear_purchases import candidate_teeth, plan_purchases, worthwhile_range
from pitapp.drive.ranking.what_if import changed, compare_changes, suggested, today
from pitapp.gearing.formulas import gear_options
from pitapp.gearing.models import FitLimits, GearOption

SETUP = Setup(
    car=Car(mass_kg=1.35, tyre_diameter_mm=63),
    motor=Motor(kv_rpm_per_v=2380, resistance_ohm=0.021),
    pack=Pack(voltage_v=7.4),
    controller=Controller(rev_limit_rpm=14_600),
    fitted_ratio=3.0,
)
TRACK = track_by_feel(45)


def covers(pinions: list[int], spurs: list[int], low: float, high: float, step: float) -> bool:
    """By definition: no step over the wanted percent from end to end."""
    ratios = sorted({s / p for p in pinions for s in spurs if low < s / p < high})
    points = [low, *ratios, high]
    return all(b / a <= 1 + step / 100 + 1e-9 for a, b in pairwise(points))


# Every smaller set of gears on offer is tried: none of them closes the holes.
@pytest.mark.parametrize(
    ("pinions", "spurs", "low", "high", "step"),
    [
        ([20, 24], [60], 2.4, 3.1, 6.0),
        ([20], [60, 66], 2.7, 3.4, 5.0),
        ([18, 22], [50, 60], 2.3, 3.3, 7.0),
        ([21, 22, 23], [60, 63], 2.6, 3.0, 3.0),
    ],
)
def test_no_fewer_gears_would_do(
    pinions: list[int], spurs: list[int], low: float, high: float, step: float
) -> None:
    limits = FitLimits(
        smallest_pinion=18, largest_pinion=25, smallest_spur=min(spurs), largest_spur=max(spurs) + 4
    )
    options = gear_options(pinions, spurs, 1.0, limits)
    found = plan_purchases(pinions, spurs, options, low, high, step, 1.0, limits)
    bought = found.buy
    assert bought.proved_minimal
    assert not bought.gaps_left
    assert covers([*pinions, *bought.pinions], [*spurs, *bought.spurs], low, high, step)  # type: ignore[list-item]
    offered = [("pinion", t) for t in range(18, 26) if t not in pinions]
    offered += [("spur", t) for t in range(min(spurs), max(spurs) + 5) if t not in spurs]
    assert bought.gears
    for chosen in combinations(offered, bought.gears - 1):
        more_pinions = [t for kind, t in chosen if kind == "pinion"]
        more_spurs = [t for kind, t in chosen if kind == "spur"]
        assert not covers([*pinions, *more_pinions], [*spurs, *more_spurs], low, high, step)


def test_what_is_packed_is_what_gives_a_ratio_in_the_range() -> None:
    options = gear_options([20, 22, 30], [60, 66])
    found = plan_purchases([20, 22, 30], [60, 66], options, 2.6, 3.1, 5.0, 1.0, FitLimits())
    assert (found.pinions, found.spurs) == ([20, 22], [60, 66])
    assert [(o.pinion_teeth, o.spur_teeth) for o in found.useful] == [(22, 60), (20, 60), (22, 66)]


def test_an_empty_range_is_never_said_to_need_nothing() -> None:
    """A range narrower than one step has no hole by the definition, and yet nothing in it."""
    limits = FitLimits(smallest_pinion=18, largest_pinion=24, smallest_spur=60, largest_spur=66)
    found = plan_purchases(
        [20, 24], [60], gear_options([20, 24], [60]), 2.7, 2.75, 6.0, 1.0, limits
    )  # fmt: skip
    assert not found.useful
    assert found.buy.gears == 1
    pinions: list[Any] = [20, 24, *found.buy.pinions]
    spurs: list[Any] = [60, *found.buy.spurs]
    assert any(2.7 < s / p < 2.75 for p in pinions for s in spurs)
    # And where nothing on offer is in there, that is what stays open.
    narrow = FitLimits(smallest_pinion=20, largest_pinion=24, smallest_spur=60, largest_spur=60)
    found = plan_purchases(
        [20, 24], [60], gear_options([20, 24], [60]), 2.62, 2.7, 6.0, 1.0, narrow
    )
    assert not found.useful
    assert not found.buy.gears
    assert found.buy.gaps_left


def test_on_offer_stays_within_the_car() -> None:
    assert candidate_teeth([], None, None, (30, 32)) == list(range(26, 37))
    assert candidate_teeth([40], 39, 41, (30, 32)) == [39, 40, 41]


def test_worth_having_is_around_the_quickest_and_safe() -> None:
    along = curve(2.0, 6.0, TRACK, SETUP.model_copy(update={"can_limit_c": 75.0}), 60)
    worth = worthwhile_range(along, 0.5)
    assert worth is not None
    inside = [each for each in along if worth.low <= each.final_drive_ratio <= worth.high]
    safe = [each for each in along if each.level != "stop"]
    quickest = min(safe, key=lambda each: each.lap_s)
    assert quickest.final_drive_ratio == worth.best
    assert all(each.level != "stop" and each.lap_s <= 1.005 * quickest.lap_s for each in inside)
    outside = [each for each in safe if each not in inside]
    assert all(each.lap_s > 1.005 * quickest.lap_s for each in outside)


def test_no_range_is_worth_having_where_all_is_too_hot() -> None:
    hot = SETUP.model_copy(update={"can_limit_c": 30.0, "start_temperature_c": 60.0})
    assert worthwhile_range(curve(2.0, 6.0, TRACK, hot)) is None


def test_each_change_is_the_models_own_difference() -> None:
    changes = {"mass_g": 1500.0, "air_c": 30.0, "tyre_diameter_mm": 60.0, "rev_limit_rpm": 14000.0}
    options = [GearOption(40, 72, 1.9 * 72 / 40), GearOption(44, 66, 1.9 * 66 / 44)]
    rows = compare_changes(changes, options, TRACK, SETUP)
    assert [row.names for row in rows] == [*((name,) for name in changes), tuple(changes)]
    base = run_lap(SETUP.car, SETUP.motor, SETUP.pack, SETUP.controller, SETUP.air, TRACK, 3.0)
    heavy = SETUP.car.model_copy(update={"mass_kg": 1.5})
    lap = run_lap(heavy, SETUP.motor, SETUP.pack, SETUP.controller, SETUP.air, TRACK, 3.0)
    assert rows[0].lap_change_s == pytest.approx(lap.lap_s - base.lap_s, abs=1e-9)
    assert rows[0].top_change_m_s == pytest.approx(lap.top_speed_m_s - base.top_speed_m_s)
    # The can follows the air: 10 °C warmer air is 10 °C at the flag, and thinner air hardly counts.
    assert rows[1].can_change_c == pytest.approx(10.0, abs=0.3)
    # On the rev limit a tyre 1/21 smaller is 1/21 slower.
    assert rows[2].top_change_m_s == pytest.approx(-base.top_speed_m_s / 21, rel=1e-6)
    best = rank_gears(options, TRACK, changed(SETUP, changes))[0]
    assert rows[-1].best is not None
    assert rows[-1].best.final_drive_ratio == best.final_drive_ratio


def test_another_kv_is_the_same_motor_wound_otherwise() -> None:
    motor = changed(SETUP, {"kv_rpm_per_v": 4760.0}).motor
    assert motor.resistance_ohm == pytest.approx(0.021 / 4)
    assert motor.no_load_current_a == pytest.approx(4.0)


def test_an_impossible_change_says_why() -> None:
    row = compare_changes({"tyre_diameter_mm": 1.0}, [], TRACK, SETUP)[0]
    assert "tyre diameter must be at least 20 mm" in row.refused


def test_suggestions_are_changes_of_today() -> None:
    now, then = today(SETUP), suggested(SETUP)
    assert set(now) == set(then)
    assert all(now[name] != then[name] for name in then)


def test_gears_that_cannot_move_the_car_are_left_out_and_named() -> None:
    weak = SETUP.model_copy(
        update={"motor": Motor(kv_rpm_per_v=9000, resistance_ohm=2.0, no_load_current_a=1.0)}
    )
    options = [GearOption(40, 72, ratio) for ratio in (0.6, 3.0, 30.0)]
    found = rank_drivable(options, TRACK, weak)
    assert found.left_out
    assert found.gears
    assert "cannot move this car" in found.reason
    with pytest.raises(ValueError, match="cannot move this car"):
        rank_drivable(options[:1], TRACK, weak)
