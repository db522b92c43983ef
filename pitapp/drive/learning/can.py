"""How the can warms with the gear, learned from readings as they were read, when they were read.

The can read `after_s` after the flag is taken as

    T = T_air + w·P·R·e^(αx + βx²)·K + D·(T_start − T_air),   x = ln(FDR / reference)

with P the model's mean heat in the gear, K and D the two-node response (`heat.two_node`) of a run
and the wait after it, and w = 1 + 0.0028·(T_air − 20) for copper whose resistance rises with the
air. R, the three time constants, α and β are fitted together by `can_fit`; α and β take up what
the model has wrong of how heat goes with the gear.

Source: the two-node motor; the law of propagation of JCGM
100 (GUM) for the uncertainty. w: copper at 234.5 + t (UL, IEEE 112) is 0.39 % a kelvin, four
fifths of the heat are copper's and the winding is some 45 K over the can's start (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log, sqrt
from typing import NamedTuple

from pitapp.drive.learning.linear import quadratic
from pitapp.heat.two_node import run_response
from pitapp.record import Record

AIR_PER_K = 0.0028
SIZE = 6
"""Learned figures: lnR, lnτ, lnτ_winding, lnτ_standing, α and β."""
NUDGE = 1e-3
"""A step of a logarithm, for slopes."""


class CanReading(NamedTuple):
    """A reading: mean heat by the model in W, FDR, s, °C, °C, °C, s after the flag.

    `spread_k` is what is uncertain of this reading beside the others, as for another track.
    """

    power_w: float
    ratio: float
    run_s: float
    start_c: float
    air_c: float
    read_c: float
    after_s: float
    spread_k: float = 0.0


class CanPrior(Record):
    """Prior for any motor: medians, and the spread of their natural logarithms.

    Time constants: winding 10 to 120 s, housing 200 to 1100 s, as makers' data sheets in public
    code have them; the rest is from memory. `exponent_spread` and `bend_spread` are the spreads of
    α and β.
    """

    resistance_k_per_w: float = 2.5
    resistance_spread: float = 0.6
    tau_s: float = 470.0
    tau_spread: float = 0.45
    winding_tau_s: float = 35.0
    winding_spread: float = 0.6
    standing_tau_s: float = 600.0
    standing_spread: float = 0.4
    exponent_spread: float = 0.4
    bend_spread: float = 1.0
    reading_sd_k: float = 2.0
    prior_runs: float = 5.0


class CanFit(Record):
    """The can's figures (lnR, lnτ, lnτ_winding, lnτ_standing, α, β), their covariance and scatter.

    `noise_k` is the scatter of readings about the fit; `weights` says how far each one counts.
    """

    theta: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    reference_ratio: float
    mean_air_c: float
    noise_k: float
    runs: int
    weights: tuple[float, ...] = ()

    @property
    def resistance_k_per_w(self) -> float:
        """Steady rise of the can per watt of the model's heat."""
        return exp(self.theta[0])

    @property
    def tau_s(self) -> float:
        """Time constant of the whole motor in the moving car."""
        return exp(self.theta[1])

    @property
    def winding_tau_s(self) -> float:
        """Time constant of the winding against the can."""
        return exp(self.theta[2])

    @property
    def standing_tau_s(self) -> float:
        """Time constant of the whole motor in the standing car."""
        return exp(self.theta[3])

    @property
    def exponent_se(self) -> float:
        """Standard error of α."""
        return sqrt(self.covariance[4][4])

    def spread(self, index: int) -> float:
        """The factor by which one of the first four figures may be out, either way."""
        return exp(sqrt(self.covariance[index][index]))

    def warming(self, run_s: float, after_s: float = 0.0) -> Warming:
        """The can in runs of this length, read so long after the flag."""
        return Warming(self, run_s, after_s)


class Warming:
    """The can in runs of one length, for many gears at once.

    Args:
        fit: what was learned.
        run_s: run length in s.
        after_s: time of the reading after the flag in s.
    """

    def __init__(self, fit: CanFit, run_s: float, after_s: float = 0.0) -> None:
        self.fit = fit
        taus = fit.theta[1:4]
        self.k, self.d = response(taus, run_s, after_s)
        self.slopes = []
        for index in range(3):
            moved = list(taus)
            moved[index] += NUDGE
            k, d = response(tuple(moved), run_s, after_s)
            self.slopes.append(((k - self.k) / NUDGE, (d - self.d) / NUDGE))

    def gradient(self, power_w: float, ratio: float, start_c: float, air_c: float) -> list[float]:
        """How the can changes with each learned figure; the first entry is the rise by the run."""
        x = log(ratio / self.fit.reference_ratio)
        theta = self.fit.theta
        heat = power_w * exp(theta[0] + theta[4] * x + theta[5] * x * x) * warmth(air_c)
        over = start_c - air_c
        rise = heat * self.k
        (k1, d1), (k2, d2), (k3, d3) = self.slopes
        return [
            rise,
            heat * k1 + over * d1,
            heat * k2 + over * d2,
            heat * k3 + over * d3,
            rise * x,
            rise * x * x,
        ]

    def can(
        self, power_w: float, ratio: float, start_c: float, air_c: float
    ) -> tuple[float, float, float]:
        """(can in °C, what the fit leaves uncertain of it in K, rise by the run in K)."""
        slopes = self.gradient(power_w, ratio, start_c, air_c)
        can = air_c + slopes[0] + self.d * (start_c - air_c)
        return can, sqrt(max(0.0, quadratic(self.fit.covariance, slopes))), slopes[0]

    def covariance(self, one: Sequence[float], other: Sequence[float]) -> float:
        """Of the errors of two cans, by their gradients."""
        return sum(
            one[i] * sum(row[j] * other[j] for j in range(SIZE))
            for i, row in enumerate(self.fit.covariance)
        )


def warmth(air_c: float) -> float:
    """What warm copper adds to the heat: its resistance in this air over that at 20 °C."""
    return 1.0 + AIR_PER_K * (air_c - 20.0)


def response(taus: tuple[float, ...], run_s: float, after_s: float) -> tuple[float, float]:
    """(K, D) of `heat.two_node.run_response` by lnτ, lnτ_winding and lnτ_standing."""
    return run_response(run_s, after_s, exp(taus[1]), exp(taus[0]), exp(taus[2]))
