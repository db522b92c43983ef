"""What the phone's signal work is checked with: the same questions answered by SciPy, in another way.

Revs: the greatest sum of the periodogram's logarithm over the motor's orders, by a bounded search about a guess.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, signal

from tests.sounds import RATE

Samples = NDArray[np.float64]


def spectrum(samples: Samples) -> Samples:
    """The one-sided power of a stretch through a Hann window."""
    power: Samples = signal.periodogram(
        samples, RATE, window="hann", detrend=False, scaling="spectrum"
    )[1]
    return power


def revs(samples: Samples, orders: Sequence[int], guess_rpm: float) -> float:
    """Revs near a guess, in rpm, from the whole stretch at once."""
    hz, power = signal.periodogram(samples, RATE, window="hann", nfft=4 * len(samples))
    loud = np.log(power + 1e-18)

    def lack(rpm: float) -> float:
        return -float(np.sum(np.interp(np.array(orders) * rpm / 60, hz, loud)))

    grid = guess_rpm * np.linspace(0.998, 1.002, 401)
    best = float(grid[np.argmin([lack(rpm) for rpm in grid])])
    step = float(grid[1] - grid[0])
    found = optimize.minimize_scalar(lack, bounds=(best - step, best + step), method="bounded")
    return float(found.x)


def heard_ratio(
    at_s: float, speed: float, distance: float, gain: float, time_s: float, c: float
) -> float:
    """Pitch heard over own pitch beside the phone, by bracketing the retarded time (Brent's method).

    The source is at x = v·s + a·s²/2 along a line `distance` away, s counted from its closest point at `at_s`; its
    revs follow its speed.
    """

    def place(s: float) -> tuple[float, float]:
        x = speed * s + gain * s**2 / 2
        return x, float(np.hypot(x, distance))

    def lateness(s: float) -> float:
        return at_s + s + place(s)[1] / c - time_s

    sent = float(optimize.brentq(lateness, time_s - at_s - 2, time_s - at_s, xtol=1e-14))
    x, r = place(sent)
    v = speed + gain * sent
    return v / speed / (1 + x * v / (r * c))


def passing_fit(
    tones: Sequence[tuple[float, float, float]], start: Sequence[float], c: float
) -> Samples:
    """At, speed, distance, gain and pitch of a pass by SciPy's least squares, without any prior.

    `tones` are (time in s, pitch heard, relative width), `start` is a guess of the five.
    """

    def lack(figures: Samples) -> Samples:
        at_s, speed, distance, gain, hz = figures
        return np.array(
            [
                (np.log(heard) - np.log(hz * heard_ratio(at_s, speed, distance, gain, time_s, c)))
                / width
                for time_s, heard, width in tones
            ]
        )

    bounds = (-1.0, 1.0, 0.1, -20.0, 1.0), (1.0, 60.0, 30.0, 20.0, 1e4)
    found = optimize.least_squares(
        lack, start, bounds=bounds, x_scale=np.maximum(np.abs(start), 0.1)
    )
    fitted: Samples = found.x
    return fitted
