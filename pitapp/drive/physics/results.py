"""Results of the drive model: a phase, a straight, a lap, a learned lap slope."""

from __future__ import annotations

from math import expm1, sqrt
from typing import Literal

from pitapp.drive.physics.riccati import speed_and_distance
from pitapp.record import Record

PhaseKind = Literal["grip", "motor", "limit", "overrun", "coast", "brake"]
Level = Literal["good", "look", "stop"]
_PLOT_STEPS = 12


class Phase(Record):
    """A stretch of a straight under one law, dv/dt = a − b·v − c·v², with its start and end."""

    kind: PhaseKind
    start_s: float
    end_s: float
    start_m: float
    end_m: float
    start_m_s: float
    end_m_s: float
    a_m_s2: float
    b_per_s: float
    c_per_m: float

    def at(self, part: float) -> tuple[float, float]:
        """(metres, m/s) at a part, 0 to 1, of this phase: of its time, or of its way if b = 0."""
        v0, a, b, c = self.start_m_s, self.a_m_s2, self.b_per_s, self.c_per_m
        if b:
            seconds = part * (self.end_s - self.start_s)
            speed, metres = speed_and_distance(a, b, c, v0, seconds)
            return self.start_m + metres, speed
        metres = part * (self.end_m - self.start_m)
        reach = -expm1(-2.0 * c * metres) / c if c else 2.0 * metres
        return self.start_m + metres, sqrt(max(0.0, v0 * v0 + (a - c * v0 * v0) * reach))


class StraightResult(Record):
    """One straight in one gear. `closing_rpm` is the motor's speed when the throttle closes."""

    time_s: float
    top_speed_m_s: float
    exit_speed_m_s: float
    closing_rpm: float
    rev_limit_s: float
    rev_limit_m: float
    charge_mah: float
    motor_heat_j: float
    phases: tuple[Phase, ...]
    notes: tuple[str, ...] = ()

    @property
    def points(self) -> tuple[tuple[float, float], ...]:
        """(metres, m/s) along the straight for a plot: twelve steps in every curve, exact ends."""
        points = []
        for phase in self.phases:
            points.append((phase.start_m, phase.start_m_s))
            if phase.kind != "limit":
                points += [phase.at(i / _PLOT_STEPS) for i in range(1, _PLOT_STEPS)]
        last = self.phases[-1]
        return (*points, (last.end_m, last.end_m_s))


class LapResult(Record):
    """One lap in one gear, corners counted in; heat and charge are for the lap."""

    lap_s: float
    top_speed_m_s: float
    top_rpm: float
    rev_limit_s: float
    rev_limit_m: float
    charge_mah: float
    motor_heat_j: float
    straights: tuple[StraightResult, ...]
    notes: tuple[str, ...] = ()

    @property
    def motor_power_w(self) -> float:
        """Mean heat put into the motor, W."""
        return self.motor_heat_j / self.lap_s


class LapSlope(Record):
    """How much the lap time changes with FDR beyond what the model says, learned from best laps."""

    slope_s_per_ratio: float
    slope_se_s_per_ratio: float
    residual_s: float
    runs: int
    rough: bool
