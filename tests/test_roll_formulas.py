"""The parked car against a numerical integration, round trips and statics by hand."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.constants import g
from scipy.integrate import solve_ivp

from pitapp.roll.formulas import (
    creep_speed_m_s,
    hold_angle_deg,
    holding_force_n,
    holding_torque_nm,
    roll_distance_m,
    tilt_angle_deg,
)

CAR = {"mass_kg": 1.35, "tyre_diameter_mm": 63.0}
MOTOR = {"kv_rpm_per_v": 2460, "resistance_ohm": 0.02}
ANY = st.one_of(st.floats(), st.integers(-(10**6), 10**6), st.floats(0, 60), st.just(10**400))


@settings(max_examples=40, deadline=None)
@given(
    slope=st.floats(0.2, 30),
    fraction=st.one_of(st.just(0.0), st.floats(0.001, 1)),
    seconds=st.floats(0.05, 20),
    mass=st.floats(0.3, 5),
    tyre=st.floats(40, 120),
    ratio=st.floats(2, 12),
    kv=st.floats(1000, 8000),
    resistance=st.floats(0.005, 0.3),
    inertia=st.floats(0, 2e-5),
)
def test_distance_agrees_with_numerical_integration(
    slope, fraction, seconds, mass, tyre, ratio, kv, resistance, inertia
):
    """scipy.integrate.solve_ivp on the equations of motor and car, not on the solved one."""
    radius = tyre / 2000
    kt = 60 / (2 * math.pi * kv)
    moving = mass + inertia * (ratio / radius) ** 2

    def motion(_, state):
        rotor_rad_s = state[1] / radius * ratio
        brake_torque = fraction * kt * (kt * rotor_rad_s) / resistance
        force = mass * g * math.sin(math.radians(slope)) - brake_torque * ratio / radius
        return [state[1], force / moving]

    def slope_of_motion(_, __):
        return [[0, 1], [0, -fraction * (kt * ratio / radius) ** 2 / resistance / moving]]

    exact = solve_ivp(
        motion,
        (0, seconds),
        [0, 0],
        method="Radau" if fraction else "DOP853",
        rtol=1e-11,
        atol=1e-14,
        **({"jac": slope_of_motion} if fraction else {}),
    )
    assert exact.success
    distance = roll_distance_m(slope, fraction, seconds, mass, tyre, ratio, kv, resistance, inertia)
    assert distance == pytest.approx(exact.y[0, -1], rel=1e-8)


def test_without_drag_brake_it_falls_freely():
    """Galileo's incline: x = g·sin θ·t²/2, here 2 s down 30° with g/2: g m."""
    assert roll_distance_m(30, 0, 2, **CAR, final_drive_ratio=5, **MOTOR) == pytest.approx(g)


@given(slope=st.floats(0.1, 45), fraction=st.floats(0.01, 1))
def test_after_long_the_car_creeps_at_the_creep_speed(slope, fraction):
    arguments = {**CAR, "final_drive_ratio": 5, **MOTOR}
    late = roll_distance_m(slope, fraction, 3000, **arguments)
    later = roll_distance_m(slope, fraction, 3001, **arguments)
    creep = creep_speed_m_s(slope, fraction, **arguments)
    assert later - late == pytest.approx(creep, rel=1e-6)


@given(slope=st.floats(0.5, 30), fraction=st.floats(0.01, 1))
def test_distance_is_the_same_on_both_sides_of_its_series(slope, fraction):
    """A tiny step in time changes the distance by speed × step where the two expressions meet."""
    arguments = {**CAR, "final_drive_ratio": 5, **MOTOR}
    creep = creep_speed_m_s(slope, fraction, **arguments)
    tau = creep / (g * math.sin(math.radians(slope)))
    assume(tau < 1000)
    before = roll_distance_m(slope, fraction, 0.5 * tau * (1 - 1e-7), **arguments)
    after = roll_distance_m(slope, fraction, 0.5 * tau * (1 + 1e-7), **arguments)
    speed = creep * -math.expm1(-0.5)
    assert after - before == pytest.approx(speed * 1e-7 * tau, rel=1e-5)


def test_creep_balances_brake_torque_and_slope():
    """By hand: kt = 60/(2π·2460), ω·d·kt²/R·FDR/r must be m·g·sin θ."""
    speed = creep_speed_m_s(5, 0.3, **CAR, final_drive_ratio=4.5, **MOTOR)
    kt = 60 / (2 * math.pi * 2460)
    rotor = speed / 0.0315 * 4.5
    force = rotor * 0.3 * kt**2 / 0.02 * 4.5 / 0.0315
    assert force == pytest.approx(1.35 * g * math.sin(math.radians(5)), rel=1e-12)


@given(
    angle=st.floats(3, 59),
    ratio=st.floats(1, 15),
    mass=st.floats(0.3, 5),
    tyre=st.floats(40, 120),
    efficiency=st.floats(0.5, 1),
    crr=st.floats(0, 0.05),
)
def test_tilt_to_torque_and_back(angle, ratio, mass, tyre, efficiency, crr):
    torque = holding_torque_nm(angle, mass, tyre, ratio, efficiency, crr)
    assert hold_angle_deg(torque, ratio, mass, tyre, efficiency, crr) == pytest.approx(
        angle, rel=1e-9
    )


@given(torque=st.floats(0.0001, 0.05), ratio=st.floats(2, 15))
def test_a_gear_twice_as_long_halves_the_holding_force(torque, ratio):
    short = holding_force_n(torque, ratio, 63)
    assert holding_force_n(torque, ratio / 2, 63) == pytest.approx(short / 2, rel=1e-12)


@given(torque=st.floats(0.0001, 0.02), ratio=st.floats(2, 15))
def test_longer_gear_and_weaker_rotor_lower_the_hold_angle(torque, ratio):
    now = hold_angle_deg(torque, ratio, **CAR)
    assume(now < 90)
    assert hold_angle_deg(torque, ratio * 0.8, **CAR) < now
    assert hold_angle_deg(torque * 0.8, ratio, **CAR) < now


def test_torque_by_hand():
    """30° has a sine of one half: 2 kg pull with 1 kg·g at a 50 mm lever through 5:1."""
    assert holding_torque_nm(30, 2, 100, 5, 1, 0) == pytest.approx(g * 0.05 / 5)


def test_strong_detent_never_rolls():
    assert hold_angle_deg(10, 10, **CAR) == 90


def test_board_angle():
    """A 3-4-5 triangle: 3 up on 5 long is asin 0.6 = 36.8699°."""
    assert tilt_angle_deg(300, 500) == pytest.approx(36.8699, abs=1e-4)


def test_drag_brake_off_has_no_creep_speed():
    with pytest.raises(ValueError, match="drag brake off"):
        creep_speed_m_s(5, 0, **CAR, final_drive_ratio=5, **MOTOR)


def test_angle_that_the_tyres_hold_alone_is_refused():
    with pytest.raises(ValueError, match="rolling resistance alone"):
        holding_torque_nm(0.5, 1.35, 63, 5, 0.9, 0.02)


def finite_or_sentence(call):
    try:
        return math.isfinite(call())
    except ValueError as refused:
        return str(refused)[0].isupper() and str(refused).endswith(".")


@settings(max_examples=200)
@given(st.lists(ANY, min_size=9, max_size=9))
def test_finite_or_refused(values):
    for call in (
        lambda: tilt_angle_deg(*values[:2]),
        lambda: holding_torque_nm(*values[:6]),
        lambda: hold_angle_deg(*values[:6]),
        lambda: holding_force_n(*values[:4]),
        lambda: creep_speed_m_s(*values[:7]),
        lambda: roll_distance_m(*values),
    ):
        assert finite_or_sentence(call)


@settings(max_examples=200)
@given(
    st.tuples(
        st.floats(0, 60),
        st.floats(0, 1),
        st.floats(0, 86400),
        st.floats(0.05, 50),
        st.floats(20, 300),
        st.floats(0.5, 60),
        st.floats(50, 30000),
        st.floats(0.0005, 50),
        st.floats(0, 0.01),
    )
)
def test_whole_valid_range_is_finite(arguments):
    assert 0 <= roll_distance_m(*arguments) < math.inf
