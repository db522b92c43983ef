"""Charge and storage sums, a pack's condition, and the check before a charge."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pitapp.packs import formulas as packs

ANY = st.one_of(st.floats(), st.integers(-(10**5), 10**5), st.floats(0, 20), st.just(10**400))

# Open-circuit voltage of an LCO/graphite pouch cell at 0, 10 … 100 %: W. Ai et al., J. Electrochem.
# Soc. 167 (2020) 013512, doi 10.1149/2.0122001JES, as computed by PyBaMM 26.10's set Ai2020.
PUBLISHED_OCV_V = [3.000, 3.640, 3.695, 3.733, 3.762, 3.793, 3.837, 3.909, 3.995, 4.088, 4.200]


@pytest.mark.parametrize(("tens", "volts"), list(enumerate(PUBLISHED_OCV_V)))
def test_published_open_circuit_voltage(tens, volts):
    assert packs.open_circuit_cell_v(10 * tens) == pytest.approx(volts, abs=0.005)
    assert packs.state_of_charge_percent(volts) == pytest.approx(10 * tens, abs=1e-9)


@given(st.floats(0, 100))
def test_voltage_and_charge_are_each_other_s_inverse(percent):
    volts = packs.open_circuit_cell_v(percent)
    assert packs.state_of_charge_percent(volts) == pytest.approx(percent, abs=1e-8)


# The same cell charged in full by PyBaMM 26.10's full electrochemical model (2.466 Ah, at 0.92C and
# at half that): minutes at constant current, then at constant voltage to C/20. The resistance comes
# from the first of these four times alone; the other three are predictions.
@pytest.mark.parametrize(
    ("current_a", "constant_current_min", "constant_voltage_min"),
    [(2.28, 54.9, 30.8), (1.14, 119.9, 22.4)],
)
def test_charge_times_of_the_published_cell(current_a, constant_current_min, constant_voltage_min):
    resistance = packs.MODEL_CELL_OHM_AH / 2.466
    phases = packs.charge_phases(2466, current_a, resistance)
    assert phases.constant_current_s / 60 == pytest.approx(constant_current_min, rel=0.15)
    assert phases.constant_voltage_s / 60 == pytest.approx(constant_voltage_min, rel=0.15)
    total = packs.charge_time_s(2466, current_a, resistance) / 60
    assert total == pytest.approx(constant_current_min + constant_voltage_min, rel=0.15)


@settings(max_examples=25, deadline=None)
@given(
    capacity=st.floats(1000, 8000),
    rate=st.floats(0.3, 3),
    resistance=st.floats(0.001, 0.05),
    start=st.floats(0, 99),
)
def test_closed_form_agrees_with_numerical_integration(capacity, rate, resistance, start):
    """solve_ivp on dQ/dt = min(I, (4.20 − OCV)/R) until the current is C/20."""
    current = rate * capacity / 1000
    end_current = min(current, capacity / 20_000)

    def amps(percent):
        whole = max(0, min(int(percent / 10), 9))
        low, high = PUBLISHED_OCV_V[whole], PUBLISHED_OCV_V[whole + 1]
        ocv = low + (percent - 10 * whole) / 10 * (high - low)
        return min(current, (4.2 - ocv) / resistance)

    def done(_, state):
        return amps(state[0]) - end_current * (1 + 1e-9)

    done.terminal = True  # type: ignore[attr-defined]
    if amps(start) <= end_current * (1 + 1e-9) and amps(start) < current:
        assert packs.charge_time_s(capacity, current, resistance, start) <= 1
        return
    run = solve_ivp(
        lambda _, state: [amps(state[0]) / (capacity * 3.6) * 100],
        (0, 4e5),
        [start],
        events=done,
        rtol=1e-7,
        atol=1e-9,
        max_step=200,
        method="Radau",
    )
    expected = run.t_events[0][0]
    found = packs.charge_time_s(capacity, current, resistance, start)
    assert found == pytest.approx(expected, rel=1e-3, abs=2)


def test_a_cell_without_resistance_charges_at_full_current_to_the_end():
    """6 Ah from 20 % at 6 A is 0.8 h; a resistance of 10 µΩ adds seconds."""
    assert packs.charge_time_s(6000, 6, 1e-5, 20) == pytest.approx(0.8 * 3600, abs=20)


@given(st.floats(0, 100), st.floats(0.5, 12), st.floats(0.0005, 0.05))
def test_emptier_takes_longer_and_more_current_less_long(start, current, resistance):
    now = packs.charge_time_s(6000, current, resistance, start, 0.3)
    assert packs.charge_time_s(6000, current, resistance, start / 2, 0.3) >= now - 1e-6
    assert packs.charge_time_s(6000, current * 1.5, resistance, start, 0.3) <= now + 1e-6


def test_energy_of_the_regulation_s_example():
    """49 CFR 171.8: watt-hours are ampere-hours × volts; 6.0 Ah × 7.4 V = 44.4 Wh."""
    assert packs.pack_energy_wh(6000, 7.4) == pytest.approx(44.4)


def test_charge_rate_and_cutoff():
    """1C of 6 Ah is 6 A by definition; 3.2 V/cell is common practice, no source."""
    assert packs.charge_current_a(6000, 1) == 6
    assert packs.charge_current_a(5500, 2) == 11
    assert packs.cutoff_v(2, 3.2) == pytest.approx(6.4)


def test_storage_from_full_and_from_empty():
    """By hand from the published table: 3.825 V lies at 50 + 10·32/44 = 57.27 %."""
    down = packs.storage_step(6000, 4.2, 6, 2)
    assert down.action == "discharge"
    assert down.charge_mah == pytest.approx((100 - 57.2727) * 60, rel=1e-4)
    assert down.minutes == pytest.approx(down.charge_mah / 2000 * 60)
    up = packs.storage_step(6000, 3.64, 6, 2)
    assert up.action == "charge"
    assert up.charge_mah == pytest.approx((57.2727 - 10) * 60, rel=1e-4)
    assert up.minutes == pytest.approx(up.charge_mah / 6000 * 60)


@given(st.floats(3, 4.2), st.floats(500, 8000))
def test_after_the_storage_step_the_cell_rests_at_storage(volts, capacity):
    """3.80 to 3.85 V/cell: common practice, no source."""
    step = packs.storage_step(capacity, volts, 5, 1)
    sign = {"charge": 1, "discharge": -1, "none": 0}[step.action]
    after = packs.state_of_charge_percent(volts) + sign * step.charge_mah / capacity * 100
    assert 3.80 - 1e-6 <= packs.open_circuit_cell_v(after) <= 3.85 + 1e-6
    assert (step.minutes == 0) == (3.80 <= volts <= 3.85)


def test_a_cell_under_three_volts_has_no_storage_step():
    with pytest.raises(ValueError, match="resting cell voltage"):
        packs.storage_step(6000, 2.9, 6, 2)


# Verdicts: the levels' limits are common practice, no source.


def test_spread_and_its_verdict():
    assert packs.cell_spread_v([4.19, 4.20, 4.17]) == pytest.approx(0.03)
    assert packs.spread_verdict(0.005).level == "fit to race"
    assert packs.spread_verdict(0.03).level == "look at it"
    assert packs.spread_verdict(0.06).level == "retire it"
    assert packs.spread_verdict(0.06).reasons == ("The cells are 60 mV apart.",)


def test_verdict_limits_are_the_racer_s():
    strict = packs.CareLimits(spread_look_v=0.002, spread_retire_v=0.004)
    assert packs.spread_verdict(0.005, strict).level == "retire it"
    with pytest.raises(ValueError, match="spread to retire at"):
        packs.CareLimits(spread_look_v=0.1, spread_retire_v=0.05)


def test_resistance_and_age():
    assert packs.resistance_verdict(0.0015, 0.0015) == packs.Verdict("fit to race")
    assert packs.resistance_verdict(0.0024, 0.0015).level == "look at it"
    assert packs.resistance_verdict(0.0033, 0.0015).level == "retire it"
    assert packs.age_verdict(6).level == "fit to race"
    assert packs.age_verdict(60).level == "retire it"


def test_the_worst_verdict_stands_with_every_reason():
    parts = [packs.age_verdict(30), packs.spread_verdict(0.06), packs.spread_verdict(0.001)]
    verdict = packs.pack_verdict(parts)
    assert verdict.level == "retire it"
    assert len(verdict.reasons) == 2
    assert packs.pack_verdict([]).level == "fit to race"


@pytest.mark.parametrize("condition", ["retired", "damaged"])
def test_a_retired_or_damaged_pack_is_never_fit(condition):
    verdict = packs.pack_verdict([packs.age_verdict(1)], condition)
    assert verdict.level == "retire it"
    assert "Do not charge it" in verdict.reasons[0]


# The check before a charge.

SOUND = {
    "cells": 2,
    "capacity_mah": 6000,
    "label_c_rate": 1,
    "current_a": 6,
    "pack_voltage_v": 7.6,
    "cell_temperature_c": 22,
    "balance_lead_plugged_in": True,
}


def names(**changes):
    return [refusal.name for refusal in packs.charge_refusals(**(SOUND | changes))]


def test_nothing_against_a_sound_charge():
    assert names() == []
    assert names(cell_voltages_v=[3.8, 3.8], cell_temperature_c=10) == []


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"current_a": 6.1}, "rate over label"),
        ({"condition": "damaged"}, "damaged"),
        ({"condition": "retired"}, "retired"),
        ({"cells": 3}, "wrong cell count"),
        ({"cells": 1}, "wrong cell count"),
        ({"cell_voltages_v": [3.8, 3.8, 3.8]}, "wrong cell count"),
        # 0 to 40 °C: US Fire Administration, "Battery Fire Safety".
        ({"cell_temperature_c": -0.1}, "too cold"),
        ({"cell_temperature_c": 40.1}, "too hot"),
        ({"pack_voltage_v": 5.9}, "cell under 3.0 V"),
        ({"cell_voltages_v": [3.9, 2.99]}, "cell under 3.0 V"),
        ({"cell_voltages_v": [4.3, 3.7]}, "cell over 4.25 V"),
        ({"pack_voltage_v": 8.7}, "cell over 4.25 V"),
        ({"balance_lead_plugged_in": False}, "balance lead not plugged in"),
    ],
)
def test_each_reason_alone(change, name):
    assert names(**change) == [name]


def test_every_reason_is_told_not_only_the_first():
    found = names(
        condition="damaged",
        cells=3,
        current_a=30,
        cell_temperature_c=50,
        balance_lead_plugged_in=False,
    )
    assert found == [
        "damaged",
        "wrong cell count",
        "rate over label",
        "too hot",
        "balance lead not plugged in",
    ]


def test_a_dead_pack_is_refused():
    assert names(pack_voltage_v=0) == ["cell under 3.0 V"]


@pytest.mark.parametrize("celsius", [0, 9, 40])
def test_the_published_limits_are_allowed_themselves(celsius):
    assert names(cell_temperature_c=celsius) == []


# US Transportation Security Administration: up to 100 Wh freely, 100 to 160 Wh two with the airline's
# approval, in the cabin, ends protected. IATA Dangerous Goods Regulations 2026, secondary source: at
# most 20 up to 100 Wh, none damaged. The 30 % of charge in them are for cargo.
@pytest.mark.parametrize(
    ("energy_wh", "level"),
    [
        (44.4, "carry on"),
        (100, "carry on"),
        (100.5, "ask the airline"),
        (160, "ask the airline"),
        (161, "not allowed"),
    ],
)
def test_air_travel(energy_wh, level):
    rule = packs.air_travel(energy_wh)
    assert rule.level == level
    assert "Transportation Security Administration" in rule.source
    assert "secondary source" in rule.source
    assert "30" not in rule.sentence
    assert ("None that is damaged" in rule.sentence) == (level != "not allowed")
    assert "airline decides" in rule.source


def finite_or_sentence(call):
    try:
        return math.isfinite(call())
    except ValueError as refused:
        return str(refused).endswith(".")


@settings(max_examples=200)
@given(st.lists(ANY, min_size=6, max_size=6))
def test_finite_or_refused(values):
    one, two, three, four, five, six = values
    for call in (
        lambda: packs.pack_energy_wh(one, two),
        lambda: packs.charge_current_a(one, two),
        lambda: packs.cutoff_v(one, two),
        lambda: packs.open_circuit_cell_v(one),
        lambda: packs.state_of_charge_percent(one),
        lambda: packs.charge_time_s(one, two, three, four, five),
        lambda: packs.storage_step(one, two, three, four).minutes,
        lambda: packs.cell_spread_v(values),
        lambda: len(packs.spread_verdict(one).reasons),
        lambda: len(packs.resistance_verdict(one, two).reasons),
        lambda: len(packs.age_verdict(one).reasons),
        lambda: len(packs.air_travel(one).sentence),
        lambda: len(names(current_a=one, pack_voltage_v=two, cell_temperature_c=three)),
        lambda: len(names(cells=four, capacity_mah=five, label_c_rate=six)),
    ):
        assert finite_or_sentence(call)


@given(
    capacity=st.floats(10, 1e5),
    current=st.floats(0.01, 500),
    resistance=st.floats(1e-5, 5),
    start=st.floats(0, 100),
    end=st.floats(1e-4, 500),
)
def test_every_charge_in_range_takes_a_finite_time(capacity, current, resistance, start, end):
    assert 0 <= packs.charge_time_s(capacity, current, resistance, start, end) < math.inf
