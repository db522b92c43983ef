"""Whatever figures are given, a straight has a finite result or a sentence says why not."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitapp.drive.formulas import (
    Air,
    Car,
    Controller,
    Motor,
    Pack,
    Straight,
    StraightResult,
    run_straight,
)


def test_an_impossible_figure_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match=r"The car's mass must be at least 0\.1 kg"):
        Car(mass_kg=-1, tyre_diameter_mm=63)
    with pytest.raises(ValueError, match="The rev limit must be a finite number"):
        Controller(rev_limit_rpm=math.nan)
    with pytest.raises(ValueError, match="The final drive ratio must be at most 50"):
        run_straight(
            Car(mass_kg=1.35, tyre_diameter_mm=63),
            Motor(kv_rpm_per_v=2380, resistance_ohm=0.02),
            Pack(voltage_v=7.4),
            Controller(),
            Air(),
            Straight(length_m=40, entry_speed_m_s=5),
            51.0,
        )


_any = st.one_of(st.floats(), st.sampled_from([0.0, -1.0, 1e-3, 0.5, 1.0, 20.0, 1e3]))


@settings(max_examples=300, deadline=None)
@given(values=st.lists(_any, min_size=18, max_size=18), exit_speed=st.one_of(st.none(), _any))
def test_any_figures_give_finite_results_or_a_sentence(
    values: list[float], exit_speed: float | None
) -> None:
    try:
        result = made_of(values, exit_speed)
    except ValueError as refused:
        figure = str(refused)
    else:
        assert_finite(result)
        return
    assert "must be" in figure or "cannot move" in figure or "less grip" in figure


def spread(low: float, high: float) -> st.SearchStrategy[float]:
    inside = st.floats(math.log(max(low, 1e-12)), math.log(high)).map(math.exp)
    clamped = inside.map(lambda x: min(max(x, low), high))
    return st.one_of(clamped, st.sampled_from([low, high]))


LIMITS = [
    (0.1, 50), (20, 300), (0, 0.5), (0, 1), (0.05, 5), (0.05, 1), (0.5, 60), (0.3, 1),
    (50, 30_000), (0.0005, 5), (0, 60), (0, 0.01), (1, 100), (0, 2), (500, 300_000),
    (0.01, 10_000), (0, 100), (0.5, 50),
]  # fmt: skip


@settings(max_examples=600, deadline=None)
@given(
    values=st.tuples(*(spread(*limit) for limit in LIMITS)),
    exit_speed=st.one_of(st.none(), spread(0, 100)),
)
def test_every_allowed_figure_gives_a_finite_result_or_a_sentence(
    values: tuple[float, ...], exit_speed: float | None
) -> None:
    try:
        result = made_of(list(values), exit_speed)
    except ValueError as refused:
        sentence = str(refused)
    else:
        assert_finite(result)
        return
    assert "cannot move this car" in sentence or "less grip" in sentence


def made_of(values: list[float], exit_speed: float | None) -> StraightResult:
    (
        mass, tyre, rolling, area, grip, share, braking, efficiency,
        kv, ohm, idle, inertia, volts, pack_ohm, limit, length, entry, ratio,
    ) = values  # fmt: skip
    return run_straight(
        Car(
            mass_kg=mass,
            tyre_diameter_mm=tyre,
            rolling_resistance=rolling,
            drag_area_m2=area,
            grip=grip,
            driven_weight_share=share,
            braking_m_s2=braking,
            drive_efficiency=efficiency,
        ),
        Motor(kv_rpm_per_v=kv, resistance_ohm=ohm, no_load_current_a=idle, inertia_kg_m2=inertia),
        Pack(voltage_v=volts, resistance_ohm=pack_ohm),
        Controller(rev_limit_rpm=limit),
        Air(),
        Straight(length_m=length, entry_speed_m_s=entry, exit_speed_m_s=exit_speed),
        ratio,
    )


def assert_finite(result: StraightResult) -> None:
    figures = [value for value in result.model_dump().values() if isinstance(value, float)]
    assert len(figures) == 8
    assert all(math.isfinite(value) for value in figures)
    assert all(math.isfinite(x) and math.isfinite(v) for x, v in result.points)
    assert result.time_s > 0
    assert result.motor_heat_j >= -1e-9
    assert result.rev_limit_s >= 0
