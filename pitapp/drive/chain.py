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

Braking heats the motor by its no-load loss only: how much of the braking current's heat stays in
the motor differs between controllers, and the heating fit takes it up. Grip does not limit the
drag of a motor that is over-revved.
"""

from __future__ import annotations

from math import expm1, log1p, sqrt
from typing import NamedTuple

from pitapp.drive.gear import Gear
from pitapp.drive.riccati import atanh_over, log1p_over

_LAST_STEP = 1e-5
_MOST_STEPS = 200

Logged = tuple[str, float, float, float, float, float, float, float, float, float]


class Driven(NamedTuple):
    """A straight driven: s, m/s, m/s, m/s, s, m, A·s, J, and a first guess for a gear like it."""

    time: float
    top: float
    closing: float
    exit: float
    limit_time: float
    limit_distance: float
    charge: float
    heat: float
    guess: float


def _brake_distance(
    c: float, force: float, speed: float, reach: float, k: float, guess: float
) -> float:
    """s with s + k·v²(s) = reach in a phase with b = 0; `force` is dv/dt at its start."""
    v2 = speed * speed
    low, high = 0.0, reach
    s = guess or (reach - k * v2) / (1.0 + 2.0 * k * force)
    for _ in range(_MOST_STEPS):
        if not low <= s <= high:
            s = 0.5 * (low + high)
        decay = expm1(-2.0 * c * s)
        miss = s + k * (v2 + (-force * decay / c if c else 2.0 * force * s)) - reach
        slope = 1.0 + 2.0 * k * force * (1.0 + decay)
        if miss > 0.0:
            high = s
        else:
            low = s
        if slope <= 0.0:
            s = -1.0
            continue
        step = miss / slope
        s -= step
        if -1e-7 * s <= step <= 1e-7 * s:
            break
    return min(max(s, 0.0), reach)


def drive(
    gear: Gear,
    length: float,
    entry: float,
    exit_speed: float | None,
    braking: float,
    guess: float = 0.0,
    log: list[Logged] | None = None,
) -> Driven:
    """Drive one straight; `log` receives each phase as (kind, times, places, speeds, a, b, c)."""
    (
        a_motor, b_motor, c, settle_motor, a_overrun, b_overrun, settle_overrun, v_free,
        a_grip, v_grip, i_grip, a_coast, v_rev, cap, limited, grip_settles, emf,
        i_stall, i_fall, i_idle, resistance, motor_resistance, volts, *_,
    ) = gear  # fmt: skip
    time = place = charge = heat = limit_time = limit_distance = 0.0
    v = entry
    k, target = (0.0, 0.0) if exit_speed is None else (0.5 / braking, exit_speed)
    target2 = target * target
    done = bool(k) and v > target and (v * v - target2) * k >= length
    while not done:
        time0, place0, v0 = time, place, v
        reach = length - place + k * target2
        end: float | None = None
        if limited and v == v_rev:
            kind, a, b = "limit", 0.0, 0.0
            stay = length - place - max(0.0, (v * v - target2) * k)
            dt = stay / v
            charge += gear.limit_amps * dt
            heat += gear.limit_watts * dt
            limit_time += dt
            limit_distance += stay
            time += dt
            place += stay
            done = True
        elif (v < v_grip and v < cap) or v > v_rev or (v >= cap and v <= v_grip):
            # One force for the whole phase: grip or coast.
            if v > v_rev:
                kind, a, end = "coast", a_coast, v_rev
            else:
                kind, a = "grip", a_grip
                if v < cap:
                    end = v_rev if limited and v_rev < v_grip else None if grip_settles else v_grip
            b = 0.0
            force = a - c * v * v
            dx = 0.0
            if end is None:
                done = True
            else:
                gain = end * end - v * v
                dx = 0.5 * gain / force * log1p_over(-c * gain / force)
                done = place + dx + max(0.0, (end * end - target2) * k) >= length
            if done:
                dx = guess = _brake_distance(c, force, v, reach, k, guess)
                decay = -expm1(-2.0 * c * dx) / c if c else 2.0 * dx
                end = sqrt(max(0.0, v * v + force * decay))
                if k and end < target:
                    dx = length - place
                    decay = -expm1(-2.0 * c * dx) / c if c else 2.0 * dx
                    end = sqrt(max(0.0, v * v + force * decay))
            assert end is not None
            below = 2.0 * (a - c * v * end)
            part = (end - v) / below if below else 0.0
            square = 4.0 * a * c * part * part
            dt = 2.0 * part * atanh_over(square) if part and square < 1.0 else dx / v
            if kind == "grip":
                charge += i_grip * (emf * dx + i_grip * resistance * dt) / volts
                heat += i_grip * i_grip * motor_resistance * dt
            heat += i_idle * emf * dx
            time += dt
            place += dx
            v = end
        else:
            if v > v_free:
                kind, a, b, settle, end = "overrun", a_overrun, b_overrun, settle_overrun, v_free
            else:
                kind, a, b, settle = "motor", a_motor, b_motor, settle_motor
                if v < cap:
                    end = v_rev if limited else None
                elif grip_settles:
                    end = v_grip
            d = b + 2.0 * c * settle
            w0 = v - settle
            done = True
            w = q = u = dt = along = 0.0
            if end is not None:
                w = end - settle
                q = (w0 - w) / (d + c * w)
                gone = d * q / w0 if w0 else 1.0
                if gone < 1.0:
                    u = c * q
                    dt = -log1p(-gone) / d
                    along = q * log1p_over(u)
                    over = (end * end - target2) * k
                    done = place + settle * dt + along + (over if over > 0.0 else 0.0) >= length
            speed = end if end is not None else 0.0
            step = f = 0.0
            if done:
                for factor in (k, 0.0):
                    # Halley: x(dt) + factor·v² = reach.
                    if not factor:
                        reach = length - place
                    low, high = 0.0, reach / settle + 1.0 / d
                    dt = guess
                    if not low < dt < high:
                        f = a - (b + c * v) * v
                        rest = (reach - factor * v * v) / (1.0 + 2.0 * factor * f)
                        root = v * v + 2.0 * f * rest
                        dt = 2.0 * rest / (v + sqrt(root)) if rest > 0.0 and root > 0.0 else high
                    for _ in range(_MOST_STEPS):
                        fade = expm1(-d * dt)
                        q = -w0 * fade / d
                        u = c * q
                        w = w0 * (1.0 + fade) / (1.0 + u)
                        along = q * (log1p(u) / u) if u else q
                        speed = settle + w
                        f = -(d + c * w) * w
                        twice = 2.0 * factor * f
                        miss = settle * dt + along + factor * speed * speed - reach
                        slope = speed * (1.0 + twice)
                        if miss > 0.0:
                            high = dt
                        else:
                            low = dt
                        if slope > 0.0:
                            bend = f * (1.0 + twice) - speed * twice * (b + 2.0 * c * speed)
                            below = slope - 0.5 * miss * bend / slope
                            step = -miss / (below if below > 0.0 else slope)
                            last = _LAST_STEP * dt
                            if -last <= step <= last:
                                break
                            dt += step
                            if low < dt < high:
                                continue
                        step = 0.0
                        if high - low <= 1e-16 * high:
                            break
                        dt = 0.5 * (low + high)
                    if not (k and speed < target):
                        break
            squares = (
                (w0 - w - d * along) / c
                if not -0.02 < u < 0.02
                else d * q * q * _phi(u) + w0 * q / (1.0 + u)
            )
            if step:
                # The last step by its Taylor series to second order instead of a fresh evaluation.
                half = 0.5 * step * f
                squares += w * (w + 2.0 * half) * step
                along += (w + half) * step
                speed += f * step - half * step * (d + 2.0 * c * w)
                dt += step
            if done:
                guess = dt
            dx = settle * dt + along
            charge += i_stall * dt - i_fall * dx
            heat += (
                motor_resistance
                * (
                    (i_stall - i_fall * settle) ** 2 * dt
                    - 2.0 * (i_stall - i_fall * settle) * i_fall * along
                    + i_fall * i_fall * squares
                )
                + i_idle * emf * dx
            )
            time += dt
            place += dx
            v = speed
        if log is not None:
            log.append(
                (kind, time0, time, place0, place, v0, v, a, b, c if kind != "limit" else 0.0)
            )
    closing = out = v
    if k and v > target:
        left = length - place
        out = sqrt(max(target2, v * v - 2.0 * braking * left))
        dt = (v - out) / braking
        heat += i_idle * emf * left
        if log is not None:
            log.append(("brake", time, time + dt, place, length, v, out, -braking, 0.0, 0.0))
        time += dt
    return Driven(
        time, entry if entry > closing else closing, closing, out,
        limit_time, limit_distance, charge, heat, guess,
    )  # fmt: skip


def _phi(u: float) -> float:
    """[u/(1 + u) − ln(1 + u)]/u² for small u, by its series."""
    total = 0.0
    for n in range(9, 1, -1):
        total = total * -u + (n - 1) / n
    return -total
