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
