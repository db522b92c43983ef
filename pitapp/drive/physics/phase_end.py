"""End of a phase: the brake point and the integrals up to it, in plain floats."""

from __future__ import annotations

from math import atanh, expm1, log, log1p, sqrt

from pitapp.drive.physics.riccati import atanh_over

_LAST_STEP = 1e-4
_MOST_STEPS = 200


def brake_distance(
    c: float, force: float, speed: float, reach: float, k: float, guess: float
) -> tuple[float, float]:
    """Brake point over distance: (s, v) where s + k·v²(s) = reach, in a phase with b = 0.

    `force` is dv/dt at its start. v²(s) = v₀² + 2·force·(1 − e^(−2cs))/(2c). Newton's steps on the
    miss, held inside a bracket; where the miss does not rise, the bracket is halved.
    """
    v2 = speed * speed
    rise = 2.0 * force
    if not k:
        s = reach
        gone = -expm1(-2.0 * c * s) / (2.0 * c) if c else s
        return s, sqrt(max(0.0, v2 + rise * gone))
    low, high = 0.0, reach
    s = guess or (reach - k * v2) / (1.0 + k * rise)
    for _ in range(_MOST_STEPS):
        if not low <= s <= high:
            s = 0.5 * (low + high)
        fade = expm1(-2.0 * c * s)
        gone = -fade / (2.0 * c) if c else s
        square = v2 + rise * gone
        miss = s + k * square - reach
        slope = 1.0 + k * rise * (1.0 + fade)
        if miss > 0.0:
            high = s
        else:
            low = s
        if slope <= 0.0:
            s = -1.0
            continue
        step = -miss / slope
        s += step
        if -1e-7 * s <= step <= 1e-7 * s:
            square += rise * (1.0 + fade) * step
            break
    return s, sqrt(square) if square > 0.0 else 0.0


def steady_force_time(a: float, c: float, v0: float, v: float, dx: float) -> float:
    """Time from v₀ to v over `dx` in a phase with b = 0: artanh(z)/√(a·c), z = √(a·c)·(v − v₀)/(a − c·v·v₀).

    Near the settled speed √(a/c), v alone says too little of the time; there the distance gives it:
    rounding leaves a/(a − c·v·v₀) ulp of the one and 1/(c·dx) ulp of the other.
    """
    below = a - c * v * v0
    part = (v - v0) / below if below else 0.0
    square = a * c * part * part
    if square > 0.5 or abs(below) < a * c * dx:
        settle = sqrt(a / c)
        return dx / settle + log((settle + v) / (settle + v0)) / (c * settle)
    if square > 1e-7:
        z = sqrt(square)
        return part * atanh(z) / z
    return part * atanh_over(square) if part else dx / v


def squares_of(c: float, d: float, w0: float, w: float, along: float) -> float:
    """∫w² dt in a phase under full throttle from w₀ to w; `along` is ∫w dt.

    c·∫w² dt = w₀ − w − d·∫w dt; for small c that cancels, and a series in u = c·q takes over.
    """
    q = (w0 - w) / (d + c * w)
    u = c * q
    if not -0.005 < u < 0.005:
        return (w0 - w - d * along) / c
    phi = 1 / 2 - u * (2 / 3 - u * (3 / 4 - u * (4 / 5 - u * (5 / 6 - u * 6 / 7))))
    return w0 * q / (1.0 + u) - d * q * q * phi


def brake_point(
    settle: float, d: float, c: float, w0: float, reach: float, k: float, guess: float
) -> tuple[float, float, float]:
    """Brake point over time: (t, w, ∫w dt) where x(t) + k·v² = reach under full throttle.

    w = v − settle, dw/dt = f = −(d + c·w)·w. Halley's steps on miss(t) = x + k·v² − reach, whose
    slope is v·(1 + 2k·f) and whose curvature is f·(1 + 2k·f) − v·2k·f·(d + 2c·w), held inside a
    bracket; a step that leaves it, or a slope that is not positive, halves the bracket.
    """
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
        step = 0.0
        if slope > 0.0:
            fall = d + 2.0 * c * w
            below = slope - 0.5 * miss * (f * (1.0 + pull) - v * pull * fall) / slope
            step = -miss / (below if below > 0.0 else slope)
            last = _LAST_STEP * t / (1.0 + d * t)
            if -last <= step <= last:
                break
        if miss > 0.0:
            high = t
        else:
            low = t
        t += step
        if step and low < t < high:
            continue
        step = 0.0
        if high - low <= 1e-16 * high:
            break
        t = 0.5 * (low + high)
    # The last step by its Taylor series to second order, instead of a fresh evaluation.
    along += (w + 0.5 * step * f) * step
    w += f * step * (1.0 - 0.5 * step * (d + 2.0 * c * w))
    return t + step, w, along


def brake_squares(amps: float, fall: float, slow: float, fast: float) -> float:
    """∫I² dv from `slow` to `fast` with I = amps − fall·v², where that is positive."""
    if amps <= 0.0:
        return 0.0
    if fall:
        fast = min(fast, sqrt(amps / fall))
    if fast <= slow:
        return 0.0

    def upto(v: float) -> float:
        square = fall * v * v
        return v * (amps * amps - square * (2.0 * amps / 3.0 - square / 5.0))

    return upto(fast) - upto(slow)
