"""The closed forms of dv/dt = a − b·v − c·v², the law of a car at full throttle.

With D = √(b² + 4ac) and the terminal speed u = 2a/(b + D), the distance from it, w = v − u, obeys
dw/dt = −D·w − c·w², so that with e = exp(−D·t) and q = w₀·(1 − e)/D

    v(t) = u + w₀·e / (1 + c·q)          x(t) = u·t + ln(1 + c·q) / c

the same as the tanh forms in textbooks, but finite for c → 0 and for very long times. Where D·t
is so small that u and w would cancel, a Taylor series in t takes over.

Source: the Riccati equation in any text on differential equations; derived here.
"""

from __future__ import annotations

from math import atan, atanh, exp, expm1, hypot, log1p, sqrt

from pitapp.limits import number

_LARGEST = 1e6
_SERIES_BELOW = 0.02
_SERIES_TERMS = 9


def log1p_over(y: float) -> float:
    """ln(1 + y)/y, with its limit 1 at y = 0."""
    return log1p(y) / y if y else 1.0


def atanh_over(square: float) -> float:
    """artanh(z)/z for z² = `square`; arctan(z)/z for z² = −`square`; 1 at 0."""
    if square > 1e-7:
        z = sqrt(square)
        return atanh(z) / z
    if square < -1e-7:
        z = sqrt(-square)
        return atan(z) / z
    return 1.0 + square * (1.0 / 3.0 + square * 0.2)


def _d(a: float, b: float, c: float) -> float:
    return hypot(b, 2.0 * sqrt(a) * sqrt(c))


def terminal_speed(a: float, b: float, c: float) -> float:
    """Speed at which a − b·v − c·v² is zero; infinite with neither b nor c."""
    if a == 0.0:
        return 0.0
    below = b + _d(a, b, c)
    return 2.0 * a / below if below else float("inf")


def _checked(a: float, b: float, c: float, v0: float) -> tuple[float, float, float, float]:
    return (
        number(a, "push at standstill", 0, _LARGEST, unit="m/s²"),
        number(b, "fall of push with speed", 0, _LARGEST, unit="1/s"),
        number(c, "air drag figure", 0, _LARGEST, unit="1/m"),
        number(v0, "speed at the start", 0, _LARGEST, unit="m/s"),
    )


def _short(a: float, b: float, c: float, v0: float, t: float) -> tuple[float, float]:
    terms = [v0]
    speed, distance, power = v0, v0 * t, t
    for n in range(_SERIES_TERMS):
        square = sum(terms[i] * terms[n - i] for i in range(n + 1))
        term = ((a if n == 0 else 0.0) - b * terms[n] - c * square) / (n + 1)
        terms.append(term)
        speed += term * power
        power *= t
        distance += term * power / (n + 2)
    return speed, distance


def speed_and_distance(a: float, b: float, c: float, v0: float, t: float) -> tuple[float, float]:
    """v(t) and x(t) for figures that are known to be sound."""
    d = _d(a, b, c)
    if max(d, b + 2.0 * c * v0) * t < _SERIES_BELOW:
        return _short(a, b, c, v0, t)
    terminal = terminal_speed(a, b, c)
    w0 = v0 - terminal
    q = w0 * (-expm1(-d * t) / d if d else t)
    speed = terminal + w0 * exp(-d * t) / (1.0 + c * q)
    return speed, terminal * t + q * log1p_over(c * q)


def speed_after(a: float, b: float, c: float, v0: float, seconds: float) -> float:
    """Speed after a time under dv/dt = a − b·v − c·v².

    v = [v₀·(D − b·tanh h) + 2a·tanh h] / [D + (b + 2c·v₀)·tanh h], D = √(b² + 4ac), h = D·t/2.

    Args:
        a: push at standstill less rolling resistance, per mass, 0 to 10⁶ m/s².
        b: fall of the push with speed, 0 to 10⁶ 1/s.
        c: air drag per mass, 0 to 10⁶ 1/m.
        v0: speed at the start, 0 to 10⁶ m/s.
        seconds: time, 0 to 10⁹ s.

    Returns:
        m/s.

    Raises:
        ValueError: a negative, missing or absurd figure.

    Source: Chapra & Canale, *Numerical Methods for Engineers*, Ex. 1.1, for the case c = 0.

    >>> round(speed_after(9.8, 12.5 / 68.1, 0.0, 0.0, 2.0), 2)
    16.4
    """
    time = number(seconds, "time", 0, 1e9, unit="s")
    return speed_and_distance(*_checked(a, b, c, v0), time)[0]


def distance_after(a: float, b: float, c: float, v0: float, seconds: float) -> float:
    """Distance after a time under dv/dt = a − b·v − c·v².

    x = [ln cosh h + ln(1 + (b + 2c·v₀)/D · tanh h) − b·t/2] / c, D = √(b² + 4ac), h = D·t/2.

    Args:
        a: push at standstill less rolling resistance, per mass, 0 to 10⁶ m/s².
        b: fall of the push with speed, 0 to 10⁶ 1/s.
        c: air drag per mass, 0 to 10⁶ 1/m.
        v0: speed at the start, 0 to 10⁶ m/s.
        seconds: time, 0 to 10⁹ s.

    Returns:
        m.

    Raises:
        ValueError: a negative, missing or absurd figure.

    Source: Chapra & Canale, *Numerical Methods for Engineers*, Ex. 21.3, for the case c = 0.

    >>> round(distance_after(9.8, 12.5 / 68.1, 0.0, 0.0, 10.0), 3)
    289.435
    """
    time = number(seconds, "time", 0, 1e9, unit="s")
    return speed_and_distance(*_checked(a, b, c, v0), time)[1]


def time_to_speed(a: float, b: float, c: float, v0: float, speed: float) -> float:
    """Time from one speed to another under dv/dt = a − b·v − c·v².

    t = (2/D)·artanh(D·(v − v₀) / (2a − b·(v + v₀) − 2c·v·v₀)), D = √(b² + 4ac).

    Args:
        a: push at standstill less rolling resistance, per mass, 0 to 10⁶ m/s².
        b: fall of the push with speed, 0 to 10⁶ 1/s.
        c: air drag per mass, 0 to 10⁶ 1/m.
        v0: speed at the start, 0 to 10⁶ m/s.
        speed: speed wanted, 0 to 10⁶ m/s, between `v0` and the terminal speed.

    Returns:
        s.

    Raises:
        ValueError: a negative, missing or absurd figure, or a speed that is never reached.

    Source: the inverse of `speed_after`; derived here.

    >>> round(time_to_speed(9.81, 0.0, 0.25 / 68.1, 0.0, 18.7292), 3)
    2.0
    """
    a, b, c, v0 = _checked(a, b, c, v0)
    v = number(speed, "speed wanted", 0, _LARGEST, unit="m/s")
    if v == v0:
        return 0.0
    terminal = terminal_speed(a, b, c)
    if not (v0 < v < terminal or terminal < v < v0):
        raise ValueError(
            f"The car never gets from {v0:g} to {v:g} m/s: it settles at {terminal:g} m/s."
        )
    below = 2.0 * a - b * (v + v0) - 2.0 * c * v * v0
    square = (_d(a, b, c) * (v - v0) / below) ** 2 if below else 1.0
    if square >= 1.0:
        raise ValueError(f"{v:g} m/s is too close to the speed at which the car settles.")
    return 2.0 * (v - v0) / below * atanh_over(square)
