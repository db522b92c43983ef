"""One straight as a chain of phases with exact switch points: the inner loop, in plain floats.

At any speed one law holds, so that speed always moves towards the one at which the car settles:

    grip     below `v_grip` the motor could spin the tyres; the driver holds the grip force
    motor    full throttle, dv/dt = a − b·v − c·v²
    limit    constant speed on the rev limit
    overrun  above `v_free` the wheels drive the motor: full throttle, losses the other way round
    coast    above the rev limit the controller has cut the current
    brake    constant deceleration to the exit speed

The brake point is where x + (v² − v_exit²)/(2·braking) = length. Within a phase there is one such
point at most; it is found by Halley steps held inside a bracket. Phases with b = 0 are solved over
distance, in which v² is a plain exponential; the others over time.

Braking torque needs current too: I = η·(m*·braking − roll − drag·v²)/(Kt·k) − I₀, as far as that is
positive, heats the motor by a share of I²·R that the controller gives (none by default). It draws
nothing from the pack. ∫I² dt is a polynomial in v, the deceleration being constant. Grip does not limit the
drag of a motor that is over-revved. Braking is late: a car that slows harder on its own than it
brakes brakes only once it must.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log1p, sqrt
from typing import NamedTuple

from pitapp.drive.physics.gear_coefficients import Gear
from pitapp.drive.physics.phase_end import (
    brake_distance,
    brake_point,
    brake_squares,
    squares_of,
    steady_force_time,
)
from pitapp.drive.physics.riccati import terminal_speed

ROUNDING = 1e-12
"""What floats may have wrong of v², as a part of it."""

Logged = tuple[str, float, float, float, float, float, float, float, float, float]


class Segment(NamedTuple):
    """A straight to drive: m, m/s, m/s or None, and how often a lap has it."""

    length: float
    entry: float
    exit_speed: float | None
    times: int = 1


class Driven(NamedTuple):
    """Straights driven, in s, m/s, s, m, A·s and J; `closing` and `exit` are of the last one."""

    time: float
    top: float
    closing: float
    exit: float
    limit_time: float
    limit_distance: float
    charge: float
    heat: float


def drive(
    gear: Gear,
    segments: Sequence[Segment],
    braking: float,
    guesses: list[float],
    log: list[Logged] | None = None,
) -> Driven:
    """Drive straights and add them up.

    `guesses` has one entry a segment, 0 for none: about how long (s; or m where b = 0) the last
    phase before the brakes lasts. It is left with what was found, a start for a gear like this one.
    `log` receives each phase as (kind, times, places, speeds, a, b, c).
    """
    (
        a_motor, b_motor, c, settle_motor, a_overrun, b_overrun, v_free,
        a_grip, v_grip, _, a_coast, v_rev, cap, limited, grip_settles, *_,
    ) = gear  # fmt: skip
    # The speed at which a phase gives way to the next; None where the car settles before.
    grip_ends = v_rev if limited and v_rev < v_grip else None if grip_settles else v_grip
    motor_ends = v_rev if limited else None
    total = metres = top = closing = out = 0.0
    grip_s = grip_m = limit_s = limit_m = 0.0
    # Under full throttle: time, ∫w dt and ∫w² dt with w the speed over `settle_motor`.
    full_s = full_w = full_ww = brake_ss = 0.0
    for index, (length, entry, exit_speed, times) in enumerate(segments):
        time = place = 0.0
        v = entry
        # From speed v the brakes need (v² − target²)·k metres, k = 1/(2·braking).
        if exit_speed is None or (exit_speed >= entry and exit_speed >= cap):
            k = target = 0.0  # never braked for
        else:
            k, target = 0.5 / braking, exit_speed
        target2 = target * target
        # On the brakes' own curve, as where a straight is cut, rounding must not open the throttle.
        done = k > 0.0 and v > target and (v * v * (1.0 + ROUNDING) - target2) * k >= length
        guess = guesses[index]
        while not done:
            # One phase a turn: which law holds at this speed, and where it would end (`end`).
            v0 = v
            left = length - place
            if v < cap:
                if v < v_grip:
                    kind, a, b = "grip", a_grip, 0.0
                    end = grip_ends
                else:
                    kind, a, b = "motor", a_motor, b_motor
                    end = motor_ends
            elif limited and v == v_rev:
                kind, a, b, end = "limit", 0.0, 0.0, v_rev
            elif v > v_rev:
                kind, a, b, end = "coast", a_coast, 0.0, v_rev
            elif v > v_free:
                kind, a, b, end = "overrun", a_overrun, b_overrun, v_free
            elif v > v_grip:
                kind, a, b, end = "motor", a_motor, b_motor, v_grip if grip_settles else None
            else:
                kind, a, b, end = "grip", a_grip, 0.0, None

            if kind == "limit":
                # Constant speed up to the brake point, or to the end where nothing is braked for.
                dx = left - (v * v - target2) * k if v > target else left
                dt = dx / v
                limit_s += times * dt
                limit_m += times * dx
                done = True
            elif not b:
                # dv²/dx = 2·(a − c·v²): over distance v² is a plain exponential, so the way to `end`
                # is known at once. If the brakes come before it, the phase ends at the brake point.
                square = v * v
                force = a - c * square
                done = end is None or force == 0.0
                if end is not None and not done:
                    gain = end * end - square
                    part = gain / force
                    y = -c * part
                    dx = 0.5 * part * (log1p(y) / y if y else 1.0)
                    over = (end * end - target2) * k
                    done = dx + over >= left if over > 0.0 else dx >= left
                if done or end is None:
                    dx, end = brake_distance(c, force, v, left + k * target2, k, guess)
                    if k and end < target:
                        dx, end = brake_distance(c, force, v, left, 0.0, guess)
                    guess = dx
                dt = steady_force_time(a, c, v, end, dx)
                if kind == "grip":
                    grip_s += times * dt
                    grip_m += times * dx
                v = end
            else:
                # With w = v − settle, dw/dt = −d·w − c·w²; q = ∫w dt for c = 0 (see `riccati`). The
                # time to `end` comes from w₀·(1 − e^(−d·t)) = d·q, then `end` is set against the brakes.
                settle = settle_motor if kind == "motor" else terminal_speed(a, b, c)
                d = b + 2.0 * c * settle
                w0 = v - settle
                done = True
                if end is not None:
                    w = end - settle
                    q = (w0 - w) / (d + c * w)
                    gone = d * q / w0 if w0 else 1.0
                    if gone < 1.0:
                        dt = -log1p(-gone) / d
                        u = c * q
                        along = q * (log1p(u) / u if u else 1.0)
                        over = (end * end - target2) * k
                        reach = settle * dt + along
                        done = reach + over >= left if over > 0.0 else reach >= left
                        v = end
                if done:
                    # The brakes may be needed for less than the target speed: then to the very end.
                    reach = left + k * target2
                    dt, w, along = brake_point(settle, d, c, w0, reach, k, guess)
                    if k and settle + w < target:
                        dt, w, along = brake_point(settle, d, c, w0, left, 0.0, guess)
                    guess = dt
                    v = settle + w
                dx = settle * dt + along
                squares = squares_of(c, d, w0, w, along)
                if kind == "overrun":
                    # Sums are kept about the motor phase's settled speed: shift them from this one's.
                    shift = settle - settle_motor
                    squares += shift * (2.0 * along + shift * dt)
                    along += shift * dt
                full_s += times * dt
                full_w += times * along
                full_ww += times * squares
            if log is not None:
                drag = c if kind != "limit" else 0.0
                log.append((kind, time, time + dt, place, place + dx, v0, v, a, b, drag))
            time += dt
            place += dx

        closing = out = v
        if k and v > target:
            # Too short to brake in: braked all along, and left faster than the target.
            left = length - place
            spare = v * v - target2 - 2.0 * braking * left
            out = target if spare <= ROUNDING * v * v else sqrt(target2 + spare)
            dt = (v - out) / braking
            if gear.brake_share:
                brake_ss += (
                    times * brake_squares(gear.brake_amps, gear.brake_fall, out, v) / braking
                )
            if log is not None:
                log.append(("brake", time, time + dt, place, length, v, out, -braking, 0.0, 0.0))
            time += dt
        guesses[index] = guess
        total += times * time
        metres += times * length
        if entry > top:
            top = entry
        if closing > top:
            top = closing

    # With the motor's current I = amps − fall·w: charge is ∫I dt, copper heat R·∫I² dt, in every phase.
    amps, fall = gear.i_stall - gear.i_fall * settle_motor, gear.i_fall
    charge = amps * full_s - fall * full_w + gear.limit_amps * limit_s
    charge += (
        gear.i_grip * (gear.emf * grip_m + gear.i_grip * gear.resistance * grip_s) / gear.volts
    )
    squares = amps * amps * full_s - 2.0 * amps * fall * full_w + fall * fall * full_ww
    squares += gear.i_grip**2 * grip_s + gear.limit_squares * limit_s + gear.brake_share * brake_ss
    heat = gear.motor_resistance * squares + gear.i_idle * gear.emf * metres
    return Driven(total, top, closing, out, limit_s, limit_m, charge, heat)
