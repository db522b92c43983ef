"""Coefficients of motion of one car in one gear, worked out once for all straights."""

from __future__ import annotations

from math import inf, pi, sqrt
from typing import NamedTuple

from pitapp.drive.models import Air, Car, Controller, Motor, Pack
from pitapp.drive.physics.riccati import terminal_speed
from pitapp.limits import number

GRAVITY_M_S2 = 9.80665


class Gear(NamedTuple):
    """Coefficients of every phase, SI units; the names are those in `straight_kernel`."""

    a: float
    b: float
    c: float
    settle: float
    a_overrun: float
    b_overrun: float
    v_free: float
    a_grip: float
    v_grip: float
    i_grip: float
    a_coast: float
    v_rev: float
    cap: float
    limited: bool
    grip_settles: bool
    emf: float
    i_stall: float
    i_fall: float
    i_idle: float
    resistance: float
    motor_resistance: float
    volts: float
    newton_per_a: float
    roll_n: float
    drag_kg_m: float
    rpm_per_m_s: float
    limit_amps: float
    limit_squares: float
    brake_amps: float
    brake_fall: float
    brake_share: float


class Fixed(NamedTuple):
    """What is the same in every gear."""

    radius: float
    kt: float
    eta: float
    idle: float
    mass: float
    rotor: float
    ohm: float
    motor_ohm: float
    volts: float
    roll: float
    drag: float
    grip: float
    limit_rpm: float
    brake: float
    brake_share: float


def fixed_figures(car: Car, motor: Motor, pack: Pack, controller: Controller, air: Air) -> Fixed:
    """The figures that no gear changes."""
    weight = car.mass_kg * GRAVITY_M_S2
    return Fixed(
        radius=car.tyre_diameter_mm / 2000.0,
        kt=60.0 / (2.0 * pi * motor.kv_rpm_per_v),
        eta=car.drive_efficiency,
        idle=motor.no_load_current_a,
        mass=car.mass_kg,
        rotor=motor.inertia_kg_m2,
        ohm=motor.resistance_ohm + pack.resistance_ohm + controller.resistance_ohm,
        motor_ohm=motor.resistance_ohm,
        volts=pack.voltage_v,
        roll=car.rolling_resistance * weight,
        drag=0.5 * air.density_kg_m3 * car.drag_area_m2,
        grip=car.grip * car.driven_weight_share * weight,
        limit_rpm=controller.rev_limit_rpm or inf,
        brake=car.braking_m_s2,
        brake_share=controller.braking_heat_share,
    )


def gear_figures(fixed: Fixed, ratio: float) -> Gear:
    """The coefficients for one final drive ratio.

    Raises:
        ValueError: a ratio outside any car, or a car that cannot move in this gear.
    """
    fdr = number(ratio, "final drive ratio", 0.5, 50)
    (
        radius, kt, eta, idle, mass, rotor, resistance, motor_ohm, volts, roll, drag, grip, top,
        brake, brake_share,
    ) = fixed  # fmt: skip
    k = fdr / radius
    emf = kt * k
    inertia = mass + rotor * k * k
    stall, fall = volts / resistance, emf / resistance

    a = (eta * emf * (stall - idle) - roll) / inertia
    b = eta * emf * fall / inertia
    c = drag / inertia
    a_grip = (grip - roll) / inertia
    if a <= 0.0:
        raise ValueError(
            f"At a final drive ratio of {fdr:g} the motor cannot move this car: fit a shorter gear."
        )
    if a_grip <= 0.0:
        raise ValueError("The tyres have less grip than the car's rolling resistance.")
    i_grip = grip / (eta * emf) + idle
    v_grip = max(0.0, (stall - i_grip) / fall)
    settle = terminal_speed(a, b, c)
    grip_settle = sqrt(a_grip / c) if c else inf
    grip_settles = grip_settle <= v_grip
    settles_at = grip_settle if grip_settles else settle
    rpm_per_m_s = k * 30.0 / pi
    v_rev = top / rpm_per_m_s
    a_overrun = (emf * (stall - idle) / eta - roll) / inertia
    b_overrun = emf * fall / eta / inertia
    limited = v_rev <= settles_at
    limit_amps = limit_squares = 0.0
    if limited:
        amps = (roll + drag * v_rev * v_rev) / (eta * emf) + idle
        back = emf * v_rev
        limit_amps = (back + amps * resistance) / volts * amps
        limit_squares = amps * amps
    return Gear(
        a=a,
        b=b,
        c=c,
        settle=settle,
        a_overrun=a_overrun,
        b_overrun=b_overrun,
        v_free=(stall - idle) / fall,
        a_grip=a_grip,
        v_grip=v_grip,
        i_grip=i_grip,
        a_coast=-(emf * idle / eta + roll) / inertia,
        v_rev=v_rev,
        cap=min(settles_at, v_rev),
        limited=limited,
        grip_settles=grip_settles,
        emf=emf,
        i_stall=stall,
        i_fall=fall,
        i_idle=idle,
        resistance=resistance,
        motor_resistance=motor_ohm,
        volts=volts,
        newton_per_a=eta * emf,
        roll_n=roll,
        drag_kg_m=drag,
        rpm_per_m_s=rpm_per_m_s,
        limit_amps=limit_amps,
        limit_squares=limit_squares,
        brake_amps=eta * (inertia * brake - roll) / emf - idle,
        brake_fall=eta * drag / emf,
        brake_share=brake_share,
    )
