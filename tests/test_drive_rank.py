"""Ranking gears: the same laps as one by one, and a verdict that says what it does not know."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitapp.drive.formulas import (
    Air,
    Car,
    Controller,
    GearForecast,
    Motor,
    Pack,
    Setup,
    Straight,
    Track,
    rank_gears,
    run_lap,
    track_by_feel,
)
from pitapp.drive.physics.results import LapSlope
from pitapp.drive.ranking.head import choose, expected_loss_s
from pitapp.gearing.models import GearOption
from pitapp.heat.formulas import end_of_run_temperature_c, fit_heating
from pitapp.heat.models import HeatingFit

GEARS = [GearOption(p, s, 1.9 * s / p) for p in range(24, 60, 3) for s in (88, 81, 84, 81)]
HEATING = HeatingFit(
    thermal_resistance_k_per_w=2.4,
    time_constant_s=320,
    resistance_se_k_per_w=0.1,
    time_constant_se_s=20,
    correlation=0.3,
    residual_k=1.5,
    noise_k=1.8,
    runs=12,
    rough=False,
)


def setup_with(**changes: Any) -> Setup:
    figures = {
        "car": Car(mass_kg=1.35, tyre_diameter_mm=63),
        "motor": Motor(kv_rpm_per_v=2380, resistance_ohm=0.05),
        "pack": Pack(voltage_v=7.4, capacity_mah=6000),
        "controller": Controller(rev_limit_rpm=14600),
        "air": Air(temperature_c=22),
        "fitted_ratio": 4.0,
        "logged_ratios": (3.4, 4.0, 4.6),
        "heating": HEATING,
    }
    return Setup(**{**figures, **changes})


def lap_of(setup: Setup, track: Track, ratio: float) -> Any:
    parts = (setup.car, setup.motor, setup.pack, setup.controller, setup.air)
    return run_lap(*parts, track, ratio)


MIXED = Track(
    straights=(
        Straight(length_m=45, entry_speed_m_s=6, exit_speed_m_s=7, corner_s=1.5),
        Straight(length_m=12, entry_speed_m_s=7, exit_speed_m_s=5, corner_s=2),
        Straight(length_m=45, entry_speed_m_s=6, exit_speed_m_s=7, corner_s=1.5),
        Straight(length_m=25, entry_speed_m_s=9, exit_speed_m_s=15, corner_s=0.5),
        Straight(length_m=30, entry_speed_m_s=8),
    )
)


@pytest.mark.parametrize("limit", [14600, 19000, None])
def test_every_gear_is_forecast_as_its_lap_alone(limit: float | None) -> None:
    setup = setup_with(controller=Controller(rev_limit_rpm=limit), can_limit_c=200)
    base = lap_of(setup, MIXED, 4.0)
    ranked = rank_gears(GEARS, MIXED, setup)
    assert sorted((f.pinion_teeth, f.spur_teeth) for f in ranked) == sorted(
        (gear.pinion_teeth, gear.spur_teeth) for gear in GEARS
    )
    assert [f.lap_s for f in ranked] == sorted(f.lap_s for f in ranked)
    for f in ranked:
        lap = lap_of(setup, MIXED, f.final_drive_ratio)
        assert f.lap_s == pytest.approx(lap.lap_s, rel=1e-11)
        assert f.lap_difference_s == pytest.approx(lap.lap_s - base.lap_s, abs=1e-9)
        assert f.top_speed_m_s == pytest.approx(lap.top_speed_m_s, rel=1e-10)
        assert f.heat_w == pytest.approx(lap.motor_power_w, rel=1e-9)
        assert f.rev_limit_s == pytest.approx(lap.rev_limit_s, abs=1e-9)
        assert f.rev_limit_m == pytest.approx(lap.rev_limit_m, abs=1e-8)
        assert f.charge_mah == pytest.approx(lap.charge_mah * 300 / lap.lap_s, rel=1e-9)
        assert f.pack_share == pytest.approx(f.charge_mah / 6000, rel=1e-12)
        if limit:
            assert f.rev_limit_share == pytest.approx(lap.top_rpm / limit, rel=1e-10)
        else:
            assert f.rev_limit_share is None
        flag = end_of_run_temperature_c(22, 22, f.heat_w, 2.4, 320, 300)
        assert f.flag_temperature_c == pytest.approx(flag, abs=1e-9)


def of_ratio(ranked: list[GearForecast], ratio: float) -> GearForecast:
    return min(ranked, key=lambda f: abs(f.final_drive_ratio - ratio))


def gear(ratio: float) -> GearOption:
    return GearOption(40, 80, ratio)


def test_the_fitted_gear_is_the_measure() -> None:
    ranked = rank_gears([gear(4.0), gear(3.6)], MIXED, setup_with())
    fitted = of_ratio(ranked, 4.0)
    assert fitted.lap_difference_s == 0
    assert fitted.lap_difference_se_s == 0
    assert fitted.verdict.startswith("can at ")
    assert of_ratio(ranked, 3.6).verdict.split(" ")[1:5] == ["s", "a", "lap", "quicker,"]


def test_without_a_fitted_gear_the_quickest_is_the_measure_and_it_says_so() -> None:
    ranked = rank_gears(GEARS, MIXED, setup_with(fitted_ratio=None, can_limit_c=200))
    assert ranked[0].lap_difference_s == 0
    assert all(f.lap_difference_s >= 0 for f in ranked)
    assert "against the quickest gear" in ranked[0].notes[0]


def test_gears_outside_the_logged_ones_are_marked_and_less_certain() -> None:
    ranked = rank_gears(
        [gear(3.39), gear(3.4), gear(4.6), gear(4.61), gear(2.5)], MIXED, setup_with()
    )
    marks = {f.final_drive_ratio: f.extrapolated for f in ranked}
    assert marks == {3.39: True, 3.4: False, 4.6: False, 4.61: True, 2.5: True}
    far, near = of_ratio(ranked, 2.5), of_ratio(ranked, 3.4)
    assert far.level != "good"
    # 3.4 / 2.5 = 1.36
    assert "36 % beyond any gear logged so far" in far.verdict
    assert far.flag_temperature_se_c > near.flag_temperature_se_c


# One in 14.3, 7 %, lies beyond 1.476 spreads (any table of the normal distribution).
@pytest.mark.parametrize("sigmas", [-0.5, 0.5, 1.2, 1.45, 1.5, 3.0])
@pytest.mark.parametrize("ratio", [3.3, 3.7, 4.0, 4.3, 4.7])
def test_a_gear_among_logged_ones_or_near_them_is_marked_by_its_spread_alone(
    ratio: float, sigmas: float
) -> None:
    (cool,) = rank_gears([gear(ratio)], MIXED, setup_with(can_limit_c=200))
    limit = cool.flag_temperature_c + sigmas * cool.flag_temperature_se_c
    (one,) = rank_gears([gear(ratio)], MIXED, setup_with(can_limit_c=limit))
    assert one.level == ("stop" if sigmas < 0 else "look" if sigmas < 1.476 else "good")
    assert "beyond" not in one.verdict
    assert ("could pass the limit" in one.verdict) == (one.level == "look")


@pytest.mark.parametrize("limit_c", range(45, 110, 5))
def test_no_gear_without_a_mark_has_less_loss_than_the_head(limit_c: float) -> None:
    setup = setup_with(can_limit_c=limit_c)
    ranked = rank_gears(GEARS, MIXED, setup)
    head = choose(ranked, setup.logged_ratios).gear
    plain = [each for each in ranked if each.level == "good"]
    if head is not None and head.level == "good":
        assert min(plain, key=expected_loss_s) is head
    else:
        assert not plain


def test_no_runs_is_said_and_is_a_wide_guess() -> None:
    ranked = rank_gears([gear(4.0)], MIXED, setup_with(heating=None, logged_ratios=()))
    assert ranked[0].notes == ("No runs with temperatures logged yet: the temperature is a guess.",)
    assert ranked[0].extrapolated
    assert ranked[0].level == "look"
    assert "beyond" not in ranked[0].verdict
    assert "no can logged" in ranked[0].verdict  # a mark has its reason
    assert ranked[0].flag_temperature_se_c > 5
    assert fit_heating([]).note in ranked[0].notes


def test_a_gear_over_the_can_limit_is_stopped_and_comes_last_however_quick() -> None:
    free = rank_gears(GEARS, MIXED, setup_with(can_limit_c=200))
    limit = free[0].flag_temperature_c - 0.5
    ranked = rank_gears(GEARS, MIXED, setup_with(can_limit_c=limit))
    stopped = [f for f in ranked if f.level == "stop"]
    assert stopped
    assert ranked[-len(stopped) :] == stopped
    assert min(stopped, key=lambda f: f.lap_s).lap_s < ranked[0].lap_s
    assert all(f.flag_temperature_c > limit for f in stopped)
    assert all(f"over the limit of {limit:.0f} °C" in f.verdict for f in stopped)


def test_a_gear_that_could_pass_the_limit_is_looked_at() -> None:
    cool = rank_gears([gear(4.0)], MIXED, setup_with())[0]
    limit = cool.flag_temperature_c + 0.5 * cool.flag_temperature_se_c
    (near,) = rank_gears([gear(4.0)], MIXED, setup_with(can_limit_c=limit))
    assert (cool.level, near.level) == ("good", "look")
    assert "could pass the limit" in near.verdict


def test_a_pack_that_does_not_last_stops_a_gear() -> None:
    need = rank_gears([gear(4.0)], MIXED, setup_with())[0].charge_mah
    levels = []
    for capacity in (need * 2, need * 1.1, need * 0.95):
        pack = Pack(voltage_v=7.4, capacity_mah=capacity)
        levels.append(rank_gears([gear(4.0)], MIXED, setup_with(pack=pack))[0])
    assert [f.level for f in levels] == ["good", "look", "stop"]
    assert "takes 91 % of the pack" in levels[1].verdict
    assert "empty before the flag" in levels[2].verdict


def test_what_was_learned_from_best_laps_tilts_the_ranking() -> None:
    slope = LapSlope(
        slope_s_per_ratio=-2.0, slope_se_s_per_ratio=0.25, residual_s=0.05, runs=9, rough=False
    )
    plain = rank_gears([gear(3.6), gear(4.0)], MIXED, setup_with())
    tilted = rank_gears([gear(3.6), gear(4.0)], MIXED, setup_with(lap_slope=slope))
    assert of_ratio(tilted, 3.6).lap_difference_s == pytest.approx(
        of_ratio(plain, 3.6).lap_difference_s + 0.8, abs=1e-9
    )
    assert of_ratio(tilted, 3.6).lap_difference_se_s == pytest.approx(0.1, abs=1e-12)


def test_a_gear_too_short_for_the_track_and_a_short_straight_are_noted() -> None:
    track = Track(
        straights=(Straight(length_m=5, entry_speed_m_s=14, exit_speed_m_s=4, corner_s=1),)
    )
    (slow,) = rank_gears([gear(6.0)], track, setup_with())
    assert any("too short to brake" in note for note in slow.notes)
    assert any("less than the 14.0 m/s" in note for note in slow.notes)


def test_nothing_to_rank_is_said() -> None:
    with pytest.raises(ValueError, match="no gears to rank"):
        rank_gears([], MIXED, setup_with())


@pytest.mark.parametrize("ratio", [0.0, -4.0, math.nan, math.inf, 1e9])
def test_a_ratio_outside_any_car_is_refused(ratio: float) -> None:
    with pytest.raises(ValueError, match="final drive ratio must be"):
        rank_gears([gear(4.0), gear(ratio)], MIXED, setup_with())


@settings(max_examples=60, deadline=None)
@given(
    ratios=st.lists(st.floats(0.5, 50), min_size=1, max_size=8),
    longest=st.floats(5, 500),
    feel=st.sampled_from(["tight", "mixed", "flowing"]),
    limit=st.one_of(st.none(), st.floats(500, 300_000)),
    grip=st.floats(0.05, 5),
    ohm=st.floats(0.0005, 5),
)
def test_finite_or_refused(
    ratios: list[float], longest: float, feel: Any, limit: float | None, grip: float, ohm: float
) -> None:
    setup = setup_with(
        car=Car(mass_kg=1.35, tyre_diameter_mm=63, grip=grip),
        motor=Motor(kv_rpm_per_v=2380, resistance_ohm=ohm),
        controller=Controller(rev_limit_rpm=limit),
    )
    try:
        ranked = rank_gears([gear(ratio) for ratio in ratios], track_by_feel(longest, feel), setup)
    except ValueError as refused:
        sentence = str(refused)
    else:
        for forecast in ranked:
            told = (*forecast, *forecast.outlook, *forecast.fitted)
            figures = [x for x in told if isinstance(x, float)]
            assert len(figures) > 15
            assert all(math.isfinite(x) for x in figures)
            lap = lap_of(setup, track_by_feel(longest, feel), forecast.final_drive_ratio)
            assert forecast.lap_s == pytest.approx(lap.lap_s, rel=1e-9)
        return
    assert "cannot move this car" in sentence
