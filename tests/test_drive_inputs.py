"""What the forecast reckons with, and measuring it, against an integrator and by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pitapp.drive.inputs.build_setup import build_setup
from pitapp.drive.inputs.definitions import BY_NAME, INPUTS, OwnFigure, resolve_inputs
from pitapp.drive.inputs.input_sources import SourcedInputs
from pitapp.drive.inputs.measurement import (
    braking_from_stop,
    coast_down,
    cooling_time_constant,
    grip_from_start,
)


def test_every_figure_has_a_usual_range_inside_what_is_accepted_and_a_way_to_measure_it() -> None:
    for each in INPUTS:
        assert each.least <= each.low < each.high <= each.most, each.name
        assert each.how.endswith("."), each.name
        if each.typical is not None:
            assert each.low <= each.typical <= each.high, each.name


def test_whose_word_counts() -> None:
    elsewhere: list[SourcedInputs] = [
        ("from the class", "Spec", {"rev_limit_rpm": 14600.0}),
        ("from the pack", "A", {"pack_v": 7.6, "capacity_mah": None}),
        ("from Kit", "Car", {"rev_limit_rpm": 18000.0, "pack_v": 7.4, "mass_g": 1330.0}),
    ]
    own = {"grip": OwnFigure(1.4, True), "drag_area_m2": OwnFigure(0.01, False)}
    found = resolve_inputs(own, elsewhere)
    assert (found["rev_limit_rpm"].value, found["rev_limit_rpm"].detail) == (14600, "Spec")
    assert (found["pack_v"].value, found["pack_v"].source) == (7.6, "from the pack")
    assert (found["mass_g"].value, found["mass_g"].source) == (1330, "from Kit")
    assert (found["capacity_mah"].value, found["capacity_mah"].source) == (
        6000,
        "default, unsourced",
    )
    assert (found["grip"].value, found["grip"].source) == (1.4, "measured here")
    assert (found["drag_area_m2"].value, found["drag_area_m2"].source) == (0.01, "your guess")


def test_known_figures_make_a_set_up_in_the_models_units() -> None:
    kit = {"kv_rpm_per_v": 2380.0, "tyre_diameter_mm": 62.0, "mass_g": 1330.0}
    setup = build_setup(
        resolve_inputs({"start_c": OwnFigure(31, True)}, [("from Kit", "", kit)]), 2.8
    )
    assert setup.car.mass_kg == pytest.approx(1.33)
    assert setup.pack.resistance_ohm == pytest.approx(0.006)
    assert setup.controller.resistance_ohm == pytest.approx(0.001)
    assert setup.motor.inertia_kg_m2 == pytest.approx(4e-6)
    assert setup.air.pressure_pa == pytest.approx(101_325)
    assert (setup.start_temperature_c, setup.fitted_ratio) == (31, 2.8)


@pytest.mark.parametrize(
    ("figures", "sentence"),
    [
        ({}, "Kv is not known yet"),
        ({"kv_rpm_per_v": 2380.0, "tyre_diameter_mm": 12.0}, "tyre diameter must be at least 20"),
        ({"kv_rpm_per_v": 2380.0, "resistance_ohm": 90.0}, "motor resistance must be at most 5"),
    ],
)
def test_a_figure_that_the_model_cannot_take_is_named(
    figures: dict[str, float | None], sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        build_setup(resolve_inputs({}, [("from Kit", "", figures)]))


# Bosch, Automotive Handbook, worked example (from memory): 1450 kg, 2.2 m², 60 to 55 km/h in 6.5 s,
# 15 to 10 km/h in 10.5 s gives cw 0.36 and f 0.013, with decelerations rounded to two digits.
def test_coast_down_by_the_handbook() -> None:
    found = coast_down(60 / 3.6, 55 / 3.6, 6.5, 15 / 3.6, 10 / 3.6, 10.5, 1450, 1.2)
    assert found.drag_area_m2 / 2.2 == pytest.approx(0.36, abs=0.01)
    assert found.rolling_resistance == pytest.approx(0.013, abs=0.0005)


# scipy.integrate.solve_ivp on dv/dt = −(Crr·g + ½·ρ·CdA·v²/m). The stretches are short, so that
# mean speed and mean deceleration stand for them.
@settings(max_examples=25, deadline=None)
@given(crr=st.floats(0.01, 0.06), area=st.floats(0.004, 0.02), mass=st.floats(1.0, 4.0))
def test_coast_down_finds_what_an_integrator_was_given(
    crr: float, area: float, mass: float
) -> None:
    def stretch(start: float) -> tuple[float, float]:
        run = solve_ivp(
            lambda _t, y: [-(crr * 9.80665 + 0.5 * 1.2 * area * y[0] ** 2 / mass)],
            (0, 0.3), [start], "DOP853", rtol=1e-10, atol=1e-12,
        )  # fmt: skip
        return float(run.y[0, -1]), 0.3

    fast_to, fast_s = stretch(14.0)
    slow_to, slow_s = stretch(4.0)
    found = coast_down(14.0, fast_to, fast_s, 4.0, slow_to, slow_s, mass, 1.2)
    assert found.drag_area_m2 == pytest.approx(area, rel=0.01)
    assert found.rolling_resistance == pytest.approx(crr, rel=0.01)


# By hand: 2·6/(9.80665·1²) + 0.03; 12²/(2·9); both from school mechanics.
def test_start_and_stop_by_hand() -> None:
    assert grip_from_start(6.0, 1.0, 0.03) == pytest.approx(1.2537, abs=1e-4)
    assert braking_from_stop(12.0, 9.0) == pytest.approx(8.0)


# 70 °C over 20 °C air falls to 20 + 50/e °C in one time constant.
def test_cooling_by_hand() -> None:
    assert cooling_time_constant(70, 20 + 50 / math.e, 640, 20) == pytest.approx(640)


@pytest.mark.parametrize(
    ("work", "sentence"),
    [
        (lambda: coast_down(10, 12, 1, 5, 4, 1, 1.4, 1.2), "must slow down"),
        (lambda: coast_down(10, 9, 1, 9.8, 9, 1, 1.4, 1.2), "clearly faster"),
        (lambda: coast_down(14, 13.9, 1, 4, 3, 1, 1.4, 1.2), "No coasting car"),
        (lambda: grip_from_start(0, 1, 0.03), "must be at least 0.01 m"),
        (lambda: grip_from_start(1, 1e-300, 0.03), "must be at least 0.01 s"),
        (lambda: braking_from_stop(math.nan, 5), "finite"),
        (lambda: cooling_time_constant(50, 60, 60, 20), "must cool"),
        (lambda: cooling_time_constant(50, 20, 60, 20), "must cool"),
    ],
)
def test_what_nobody_can_have_measured_is_refused(work: object, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        work()  # type: ignore[operator]


def test_names_are_unique() -> None:
    assert len(BY_NAME) == len(INPUTS)
