"""One straight in one gear, with every phase."""

from __future__ import annotations

from pitapp.drive.models import Air, Car, Controller, Motor, Pack, Straight
from pitapp.drive.physics.gear_coefficients import Gear, fixed_figures, gear_figures
from pitapp.drive.physics.results import Phase, StraightResult
from pitapp.drive.physics.straight_kernel import ROUNDING, Driven, Logged, Segment, drive

MAH_PER_AS = 1.0 / 3.6


def short_note(car: Car, straight: Straight) -> str:
    """A sentence if this straight is too short to brake in, else nothing."""
    entry, exit_speed = straight.entry_speed_m_s, straight.exit_speed_m_s
    if exit_speed is None:
        return ""
    spare = entry**2 - exit_speed**2 - 2.0 * car.braking_m_s2 * straight.length_m
    if spare <= ROUNDING * entry**2:
        return ""
    return (
        f"A straight of {straight.length_m:g} m is too short to brake "
        f"from {entry:.1f} to {exit_speed:.1f} m/s."
    )


def slow_note(gear: Gear, entry_speed: float) -> str:
    """A sentence if this gear does not reach the speed a straight is entered with."""
    if entry_speed <= gear.cap:
        return ""
    return (
        f"In this gear the car reaches {gear.cap:.1f} m/s, "
        f"less than the {entry_speed:.1f} m/s a straight is entered with."
    )


def straight_notes(car: Car, gear: Gear, straight: Straight) -> tuple[str, ...]:
    """Sentences on what this straight cannot be in this gear."""
    notes = slow_note(gear, straight.entry_speed_m_s), short_note(car, straight)
    return tuple(note for note in notes if note)


def result_of(
    gear: Gear, driven: Driven, log: list[Logged], notes: tuple[str, ...]
) -> StraightResult:
    """The plain figures of the inner loop as a result."""
    phases = tuple(
        Phase(
            kind=kind,
            start_s=t0,
            end_s=t1,
            start_m=x0,
            end_m=x1,
            start_m_s=v0,
            end_m_s=v1,
            a_m_s2=a,
            b_per_s=b,
            c_per_m=c,
        )
        for kind, t0, t1, x0, x1, v0, v1, a, b, c in log
    )
    return StraightResult(
        time_s=driven.time,
        top_speed_m_s=driven.top,
        exit_speed_m_s=driven.exit,
        closing_rpm=driven.closing * gear.rpm_per_m_s,
        rev_limit_s=driven.limit_time,
        rev_limit_m=driven.limit_distance,
        charge_mah=driven.charge * MAH_PER_AS,
        motor_heat_j=driven.heat,
        phases=phases,
        notes=notes,
    )


def run_straight(
    car: Car,
    motor: Motor,
    pack: Pack,
    controller: Controller,
    air: Air,
    straight: Straight,
    ratio: float,
) -> StraightResult:
    """Drive one straight at full throttle from its entry speed, braking late to its exit speed.

    At full throttle dv/dt = a − b·v − c·v² with k = FDR / tyre radius, m* = m + J·k²,
    R = motor + pack + controller resistance,
    a = (η·Kt·k·(V/R − I₀) − Crr·m·g)/m*, b = η·(Kt·k)²/(R·m*), c = ½·ρ·CdA/m*.
    Under it the motor carries I = (V − Kt·k·v)/R. At part throttle (spinning tyres held off, rev
    limit) I = F/(η·Kt·k) + I₀ and the pack gives duty·I, duty = (Kt·k·v + I·R)/V. In every phase
    the motor is heated by I²·R_motor + I₀·Kt·k·v; while coasting and braking I = 0. An over-revved
    motor under full throttle feeds the pack (I < 0). See `straight_kernel` for the phases. A straight
    too short to brake in is braked along its whole length and left too fast, which a note says.

    Args:
        car, motor, pack, controller, air, straight: see the models for units and limits.
        ratio: final drive ratio, 0.5 to 50.

    Returns:
        time in s, speeds in m/s, motor speed when the throttle closes in rpm, time and distance at
        the rev limit in s and m, charge in mAh, motor heat in J, phases and notes. `points` are
        (metres, m/s) for a plot.

    Raises:
        ValueError: a ratio outside any car, or a car that cannot move in this gear.

    Source: the permanent-magnet d.c. motor model of any text on electric drives; closed forms
    derived here.

    >>> car = Car(mass_kg=1.4, tyre_diameter_mm=63)
    >>> motor = Motor(kv_rpm_per_v=2380, resistance_ohm=0.02)
    >>> straight = Straight(length_m=40, entry_speed_m_s=6, exit_speed_m_s=6)
    >>> result = run_straight(
    ...     car, motor, Pack(voltage_v=7.4), Controller(rev_limit_rpm=14600), Air(), straight, 4.0
    ... )
    >>> [phase.kind for phase in result.phases], round(result.closing_rpm)
    (['grip', 'limit', 'brake'], 14600)
    """
    gear = gear_figures(fixed_figures(car, motor, pack, controller, air), ratio)
    log: list[Logged] = []
    segment = Segment(straight.length_m, straight.entry_speed_m_s, straight.exit_speed_m_s)
    driven = drive(gear, (segment,), car.braking_m_s2, [0.0], log)
    return result_of(gear, driven, log, straight_notes(car, gear, straight))
