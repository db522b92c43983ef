"""The ± of cans and laps: what runs have taught, and how far the back-test makes them wider.

What a fit leaves open comes from `learning` (`change_se`) and `heat.fit`, and where there is none from `rank`.

All are standard uncertainties (two runs in three inside), joined by the law of propagation (JCGM
100, GUM, section 5). The shares stand for what no fit of a few runs shows; they are from memory,
and the back-test is what judges them.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot, sqrt
from typing import NamedTuple

CAN_MODEL_SHARE = 0.010
"""Of the rise: what two nodes and one mean heat leave out."""
CAN_AIR_SHARE_PER_K = 0.0012
"""Of the rise, for each kelvin that the air is from that of the logged runs."""
TRACK_SHARE = 0.12
"""Of the rise: what another track tells this one less well."""
LAP_GAIN = 0.17
"""By what part a usual car's lap gets shorter, for one in ln of the pack's voltage; by the model."""
LAP_SLOPE_SHARES = (0.005, 0.085)
"""Of the lap, for one in ln FDR, before any lap was logged: at least, and for one of the gain."""
LAP_MODEL_SHARES = (0.006, 0.08)
"""The same of what no laps settle: best laps are logged, a race is driven on an emptier pack."""
NO_DELAY_SHARE = 0.04
"""Of the rise: a reading whose time after the flag was not noted."""
SECOND_READING_SPREAD_K = 1.2
"""Of a run's second reading: what it shares with the first (driving, air) is not seen anew."""
_BACK_TEST_RUNS = 8.0
_WIDEST = 3.0
_FARTHEST = 4.0


class Widening(NamedTuple):
    """How much wider the back-test makes the ± of cans and of laps, 1 or more."""

    can: float = 1.0
    lap: float = 1.0


def can_se_k(
    fit_se_k: float, rise_k: float, air_c: float, mean_air_c: float, widening: float = 1.0
) -> float:
    """The ± of a can at the flag.

    Args:
        fit_se_k: what the fit of logged readings leaves uncertain.
        rise_k: how much the run warms the can.
        air_c, mean_air_c: air now, and in the logged runs.
        widening: from the back-test.

    >>> round(can_se_k(1.2, 50.0, 25.0, 20.0), 2)
    1.33
    """
    model = CAN_MODEL_SHARE * rise_k
    air = CAN_AIR_SHARE_PER_K * abs(air_c - mean_air_c) * rise_k
    return widening * sqrt(fit_se_k**2 + model**2 + air**2)


def reading_se_k(can_se: float, noise_k: float) -> float:
    """The ± of one reading of a can whose own ± is given."""
    return hypot(can_se, noise_k)


def lap_slope_share(gain: float = LAP_GAIN) -> float:
    """What is uncertain of the lap's slope over ln FDR before laps are logged, as a part of the lap.

    A gear matters where the motor limits the car, not in corners nor where tyres or the rev limit
    hold it; just there volts matter too. So what is wrong of the slope goes with the gain by volts.

    >>> round(lap_slope_share(0.0), 3), round(lap_slope_share(0.17), 4)
    (0.005, 0.0153)
    """
    return hypot(LAP_SLOPE_SHARES[0], LAP_SLOPE_SHARES[1] * gain)


def lap_model_share(gain: float = LAP_GAIN) -> float:
    """What no logged laps settle of the slope over ln FDR, as a part of the lap."""
    return hypot(LAP_MODEL_SHARES[0], LAP_MODEL_SHARES[1] * gain)


def lap_se_s(
    fit_se_s: float, lap_s: float, step: float, widening: float = 1.0, gain: float = LAP_GAIN
) -> float:
    """The ± of the difference of two gears' laps; `step` is how far they are apart in ln FDR."""
    return widening * hypot(fit_se_s, lap_model_share(gain) * lap_s * step)


def widened(parts: Sequence[float]) -> float:
    """How much wider a ± has to be, by back-tested misses as parts of their own ±.

    The root mean square of the parts, as if eight more runs had been just right, where it is over
    1; a part over 4 (a slip) counts as 4, and nothing is made wider than threefold.

    >>> widened([]), widened([0.5, -0.8]), round(widened([2.0, -2.0, 2.0, 2.0] * 4), 2)
    (1.0, 1.0, 1.73)
    """
    squares = sum(min(abs(part), _FARTHEST) ** 2 for part in parts)
    mean = (_BACK_TEST_RUNS + squares) / (_BACK_TEST_RUNS + len(parts))
    return min(_WIDEST, max(1.0, sqrt(mean)))
