"""Leads and corner weights against wire tables and moment balances."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitapp.kit.formulas import (
    awg_diameter_mm,
    corner_weights,
    lead_drop_v,
    lead_mass_g,
    lead_resistance_ohm,
    shift_for_move,
)

ANY = st.one_of(st.floats(), st.integers(-(10**6), 10**6), st.just(10**400))


# Diameters and resistances of annealed copper at 20 °C: American wire gauge tables as printed in
# ASTM B258 and in NBS Handbook 100, "Copper Wire Tables".
@pytest.mark.parametrize(
    ("awg", "inches", "ohm_per_km"), [(12, 0.0808, 5.211), (14, 0.06408, 8.285)]
)
def test_wire_tables(awg, inches, ohm_per_km):
    assert awg_diameter_mm(awg) == pytest.approx(inches * 25.4, rel=1e-3)
    assert lead_resistance_ohm(awg, 1_000_000 / 10) * 10 == pytest.approx(ohm_per_km, rel=1e-3)


def test_the_gauge_is_defined_by_two_wires():
    """ASTM B258: number 36 is 0.0050 in; 0000 is 0.4600 in, so 39 steps make a ratio of 92."""
    assert awg_diameter_mm(36) == pytest.approx(0.005 * 25.4, rel=1e-12)
    assert awg_diameter_mm(0) / awg_diameter_mm(39) == pytest.approx(92, rel=1e-12)


def test_copper_at_75_c_has_the_resistance_that_iec_60028_gives_it():
    """IEC 60028: 0.00393 per K from 20 °C on, so 55 K warmer is 1.21615 times as much."""
    ratio = lead_resistance_ohm(12, 200, 75) / lead_resistance_ohm(12, 200, 20)
    assert ratio == pytest.approx(1.21615, rel=1e-9)


def test_drop_is_ohms_law():
    """Wire table: 5.211 Ω/km, so 0.4 m at 50 A loses 0.10422 V."""
    assert lead_drop_v(12, 400, 50) == pytest.approx(0.10422, rel=1e-3)


def test_copper_mass_agrees_with_the_wire_table():
    """NBS Handbook 100: number 12 weighs 29.42 kg/km, number 14 18.50 kg/km (bare)."""
    assert lead_mass_g(12, 1000) == pytest.approx(29.42, rel=2e-3)
    assert lead_mass_g(14, 1000) == pytest.approx(18.50, rel=2e-3)


def test_corner_weights_by_hand():
    weights = corner_weights(400, 300, 200, 100)
    assert weights.total_g == 1000
    assert weights.front_percent == pytest.approx(70)
    assert weights.left_percent == pytest.approx(60)
    assert weights.cross_percent == pytest.approx(50)


@given(st.lists(st.floats(0, 5000), min_size=4, max_size=4).filter(lambda four: sum(four) > 1))
def test_mirrored_car_has_mirrored_percentages(four):
    front_left, front_right, rear_left, rear_right = four
    here = corner_weights(*four)
    mirrored = corner_weights(front_right, front_left, rear_right, rear_left)
    assert here.left_percent + mirrored.left_percent == pytest.approx(100)
    assert here.cross_percent + mirrored.cross_percent == pytest.approx(100)
    assert here.front_percent == pytest.approx(mirrored.front_percent)


@given(
    st.floats(1, 500),
    st.floats(-100, 100),
    st.floats(600, 3000),
    st.floats(150, 400),
    st.floats(0, 1),
)
def test_shift_agrees_with_the_balance_of_moments(part, moved, rest, span, where):
    """Two supports, a part at x, the rest in the middle: the far support carries Σ m·x / span."""

    def far_support(x):
        return (part * x + rest * span / 2) / span

    start = where * span
    shift = shift_for_move(part, moved, part + rest, span)
    assert shift.moved_g == pytest.approx(far_support(start + moved) - far_support(start), abs=1e-6)
    assert shift.centre_moved_mm * (part + rest) == pytest.approx(part * moved, abs=1e-6)
    assert shift.moved_percent == pytest.approx(100 * shift.moved_g / (part + rest), abs=1e-9)


@pytest.mark.parametrize("awg", [-1, 41, 12.5, math.nan, math.inf, True, "12 or so"])
def test_impossible_gauge_is_refused(awg):
    with pytest.raises(ValueError, match="wire gauge"):
        awg_diameter_mm(awg)


def test_part_heavier_than_the_car_is_refused():
    with pytest.raises(ValueError, match="part's weight"):
        shift_for_move(2000, 10, 1350, 250)


def test_car_without_weight_is_refused():
    with pytest.raises(ValueError, match="car's weight"):
        corner_weights(0, 0, 0, 0)


def finite_or_sentence(call):
    try:
        return math.isfinite(call())
    except ValueError as refused:
        return str(refused).startswith("The ")


@settings(max_examples=150)
@given(st.lists(ANY, min_size=4, max_size=4))
def test_finite_or_refused(values):
    one, two, three, four = values
    for call in (
        lambda: awg_diameter_mm(one),
        lambda: lead_resistance_ohm(one, two, three),
        lambda: lead_drop_v(one, two, three, four),
        lambda: lead_mass_g(one, two),
        lambda: corner_weights(one, two, three, four).cross_percent,
        lambda: shift_for_move(one, two, three, four).moved_percent,
    ):
        assert finite_or_sentence(call)
