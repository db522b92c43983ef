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
drag of a motor that is over-revved. Braking is late: a car that slows harder on its own than it
brakes brakes only once it must.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import expm1, log, log1p, sqrt
from typing import NamedTuple

from pitapp.drive.gear import Gear
from pitapp.drive.riccati import atanh_over, log1p_over

_LAST_STEP = 1e-4
_MOST_STEPS = 200
_ROUNDING = 1e-12

Logged = tuple[str, float, float, float, float, float, float, float, float, float]


class Course(NamedTuple):
    """A straight to drive: m, m/s, m/s or None, and how often a lap has it."""

    length: float
    entry: float
    exit_speed: float | None
    laps: int = 1


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


def _steady_force_time(a: float, c: float, v0: float, v: float, dx: float) -> float:
    """Time from v₀ to v over `dx` in a phase with b = 0."""
    below = 2.0 * (a - c * v * v0)
    part = (v - v0) / below if below else 0.0
    square = 4.0 * a * c * part * part
    if square > 0.5:  # near the settled speed, of which v alone says too little
        settle = sqrt(a / c)
        return dx / settle + log((settle + v) / (settle + v0)) / (c * settle)
    return 2.0 * part * atanh_over(square) if part else dx / v


def _squares(c: float, d: float, w0: float, w: float, q: float, along: float) -> float:
    """∫w² dt in a phase under full throttle; `along` is ∫w dt."""
    u = c * q
    if not -0.02 < u < 0.02:
        return (w0 - w - d * along) / c
    phi = 0.0
    for n in range(9, 1, -1):
        phi = (n - 1) / n - phi * u
    return w0 * q / (1.0 + u) - d * q * q * phi


def _brake_point(
    settle: float, d: float, c: float, w0: float, reach: float, k: float, guess: float
) -> tuple[float, float, float, float]:
    """(t, v, ∫w dt, ∫w² dt) where x(t) + k·v² = reach under full throttle; `w0` = v₀ − settle."""
    low, high = 0.0, reach / settle + 2.0 / d
    t = guess
    if not low < t < high:
        # As if the first acceleration lasted.
        v = settle + w0
        f = -(d + c * w0) * w0
        rest = (reach - k * v * v) / (1.0 + 2.0 * k * f)
        root = v * v + 2.0 * f * rest
        t = 2.0 * rest / (v + sqrt(root)) if rest > 0.0 and root > 0.0 else high
    for _ in range(_MOST_STEPS):
        fade = expm1(-d * t)
        q = -w0 * fade / d
        u = c * q
        w = w0 * (1.0 + fade) / (1.0 + u)
        along = q * (log1p(u) / u) if u else q
        v = settle + w
        f = -(d + c * w) * w
        pull = 2.0 * k * f
        miss = settle * t + along + k * v * v - reach
        slope = v * (1.0 + pull)
        if miss > 0.0:
            high = t
        else:
            low = t
        step = 0.0
        if slope > 0.0:
            fall = d + 2.0 * c * w
            below = slope - 0.5 * miss * (f * (1.0 + pull) - v * pull * fall) / slope
            step = -miss / (below if below > 0.0 else slope)
            last = _LAST_STEP * t / (1.0 + d * t)
            if -last <= step <= last:
                break
            t += step
            if low < t < high:
                continue
            step = 0.0
        if high - low <= 1e-16 * high:
            break
        t = 0.5 * (low + high)
    # The last step by its Taylor series to second order, instead of a fresh evaluation.
    half = 0.5 * step * f
    return (
        t + step,
        v + 2.0 * half - half * step * (d + 2.0 * c * w),
        along + (w + half) * step,
        _squares(c, d, w0, w, q, along) + w * (w + 2.0 * half) * step,
    )


def drive(
    gear: Gear,
    courses: Sequence[Course],
    braking: float,
    guesses: list[float],
    log: list[Logged] | None = None,
) -> Driven:
    """Drive straights and add them up.

    `guesses` has one entry a course, 0 for none: about how long (s; or m where b = 0) the last
    phase before the brakes lasts. It is left with what was found, a start for a gear like this one.
    `log` receives each phase as (kind, times, places, speeds, a, b, c).
    """
    (
        a_motor, b_motor, c, settle_motor, a_overrun, b_overrun, settle_overrun, v_free,
        a_grip, v_grip, i_grip, a_coast, v_rev, cap, limited, grip_settles, emf,
        i_stall, i_fall, i_idle, resistance, motor_resistance, volts, *_,
    ) = gear  # fmt: skip
    total_time = total_charge = total_heat = limit_time = limit_distance = 0.0
    top = closing = out = 0.0
    for index, (length, entry, exit_speed, laps) in enumerate(courses):
        time = place = charge = heat = 0.0
        v = entry
        k, target = (0.0, 0.0) if exit_speed is None else (0.5 / braking, exit_speed)
        if target >= entry and target >= cap:
            k = target = 0.0  # never braked for
        target2 = target * target
        done = k > 0.0 and v > target and (v * v - target2) * k >= length
        guess = guesses[index]
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
                limit_time += laps * dt
                limit_distance += laps * stay
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
                        end = (
                            v_rev
                            if limited and v_rev < v_grip
                            else None
                            if grip_settles
                            else v_grip
                        )
                b = 0.0
                force = a - c * v * v
                dx = 0.0
                if end is None or force == 0.0:
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
                dt = _steady_force_time(a, c, v, end, dx)
                if kind == "grip":
                    charge += i_grip * (emf * dx + i_grip * resistance * dt) / volts
                    heat += i_grip * i_grip * motor_resistance * dt
                heat += i_idle * emf * dx
                time += dt
                place += dx
                v = end
            else:
                if v > v_free:
                    kind, a, b, settle, end = (
                        "overrun",
                        a_overrun,
                        b_overrun,
                        settle_overrun,
                        v_free,
                    )
                else:
                    kind, a, b, settle = "motor", a_motor, b_motor, settle_motor
                    if v < cap:
                        end = v_rev if limited else None
                    elif grip_settles:
                        end = v_grip
                d = b + 2.0 * c * settle
                w0 = v - settle
                done = True
                w = q = dt = along = 0.0
                if end is not None:
                    w = end - settle
                    q = (w0 - w) / (d + c * w)
                    gone = d * q / w0 if w0 else 1.0
                    if gone < 1.0:
                        dt = -log1p(-gone) / d
                        along = q * log1p_over(c * q)
                        over = (end * end - target2) * k
                        done = place + settle * dt + along + (over if over > 0.0 else 0.0) >= length
                squares = 0.0
                if not done:
                    assert end is not None
                    speed = end
                    squares = _squares(c, d, w0, w, q, along)
                else:
                    dt, speed, along, squares = _brake_point(settle, d, c, w0, reach, k, guess)
                    if k and speed < target:
                        dt, speed, along, squares = _brake_point(
                            settle, d, c, w0, length - place, 0.0, guess
                        )
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
            spare = v * v - target2 - 2.0 * braking * left
            out = target if spare <= _ROUNDING * v * v else sqrt(target2 + spare)
            dt = (v - out) / braking
            heat += i_idle * emf * left
            if log is not None:
                log.append(("brake", time, time + dt, place, length, v, out, -braking, 0.0, 0.0))
            time += dt
        guesses[index] = guess
        total_time += laps * time
        total_charge += laps * charge
        total_heat += laps * heat
        if entry > top:
            top = entry
        if closing > top:
            top = closing
    return Driven(
        total_time, top, closing, out, limit_time, limit_distance, total_charge, total_heat
    )
