"""Drag and power from top speeds that were measured in runs.

Drag area, drive efficiency and the pack's voltage in a run are taken as e^x of what was believed of
each; the three x are fitted to the measured speeds together, with what is believed of them (a maximum
of the posterior, Gauss–Newton, Student-t errors). One gear alone says little of which of them it is:
the prior shares it out, and gears or tracks that differ tell them apart. At the rev limit a speed
tells of none, and changes nothing. A speed more than four spreads from what is believed (of the three
and of the speed itself) is another unit, gear or car, and is not learned from: Student-t errors alone
would follow if all were wrong alike.

Source: the drive model; iteratively reweighted least squares as in `learning.linear`; the spreads are
from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import exp, hypot, inf, log1p, sqrt
from typing import NamedTuple

from pitapp.drive.inputs.build_setup import with_changes
from pitapp.drive.learning.linear import Matrix, cholesky, inverse, solved, student_weight
from pitapp.drive.learning.logged_run import LoggedRun
from pitapp.drive.models import Setup, Track
from pitapp.drive.physics.lap import run_lap
from pitapp.record import Record

MOST_RUNS = 8
"""The newest runs with a top speed that count."""
UNKNOWN_SHARE = 0.02
"""The ± of a speed that was noted without one, as a part of it."""
RUN_SHARE = 0.008
"""What one run has of its own (grip, pack, line), as a part of the speed."""
MODEL_SHARE = 0.02
"""What the model may have wrong of one gear's speed on one track, as a part of it."""
MOST_SPREADS = 4.0
"""How far a speed may be from what is believed before any was measured; beyond lies 1 in 16 000."""
_FREEDOM = 4.0
_NUDGE = 0.02
_MOST_STEPS = 4
_LEAST_STEP = 0.2
_STARTS = (0.0, -1.0, 1.0, -2.0, 2.0)
_EFFICIENCY = (0.4, 0.98)


class TopSpeedPrior(Record):
    """How far drag area, drive efficiency and voltage may be out, as spreads of their logarithms.

    That of the voltage stands for Kv and for what turning costs as well.
    """

    drag_spread: float = 0.2
    efficiency_spread: float = 0.1
    voltage_spread: float = 0.03

    @property
    def pulls(self) -> tuple[float, float, float]:
        """The inverse squares of the three."""
        return self.drag_spread**-2, self.efficiency_spread**-2, self.voltage_spread**-2


class TopSpeedFit(NamedTuple):
    """Factors of drag area, drive efficiency and voltage, the ± of each, and of how many runs."""

    drag: float
    efficiency: float
    voltage: float
    spreads: tuple[float, float, float]
    runs: int


def taught(setup: Setup, fit: TopSpeedFit | None) -> Setup:
    """The set-up with drag area, efficiency and voltage as top speeds have taught them."""
    return setup if fit is None else _changed(setup, fit.drag, fit.efficiency, fit.voltage)


def _changed(setup: Setup, drag: float, efficiency: float, voltage: float) -> Setup:
    low, high = _EFFICIENCY
    believed = setup.car.drive_efficiency
    bounded = min(max(believed * efficiency, min(low, believed)), max(high, believed))
    car = with_changes(
        setup.car, drag_area_m2=setup.car.drag_area_m2 * drag, drive_efficiency=bounded
    )
    pack = with_changes(setup.pack, voltage_v=setup.pack.voltage_v * voltage)
    return setup.model_copy(update={"car": car, "pack": pack})


@lru_cache(maxsize=16)
def fit_top_speeds(
    runs: tuple[LoggedRun, ...], setup: Setup, prior: TopSpeedPrior
) -> TopSpeedFit | None:
    """What the top speeds of these runs teach of drag and power; None where there is none.

    Args:
        runs: of one motor in one car, newest first; those without a top speed are passed over.
        setup: the car as it is believed to be; its tyres, air and gear are replaced by each run's.
        prior: how far that may be out.
    """
    points = _split(runs, setup, prior)[0]
    if not points:
        return None
    # From the rev limit downhill is flat: the voltage that fits best is where the search begins.
    starts = ([0.0, 0.0, step * prior.voltage_spread] for step in _STARTS)
    logs = min(starts, key=lambda each: _cost(points, each, prior))
    covariance: Matrix = []
    for _ in range(_MOST_STEPS):
        try:
            lower, step = _step(points, logs, prior)
        except ValueError:  # the model's bounds
            break
        covariance = inverse(lower)
        before, share = _cost(points, logs, prior), 1.0
        while share > _LEAST_STEP and _cost(points, _moved(logs, step, share), prior) > before:
            share *= 0.5
        if share <= _LEAST_STEP:
            break
        logs = _moved(logs, step, share)
        if hypot(*step) < 1e-3:
            break
    if not covariance:
        return None
    spreads = sqrt(covariance[0][0]), sqrt(covariance[1][1]), sqrt(covariance[2][2])
    return TopSpeedFit(exp(logs[0]), exp(logs[1]), exp(logs[2]), spreads, len(points))


def unlikely_speeds(
    runs: tuple[LoggedRun, ...], setup: Setup, prior: TopSpeedPrior
) -> tuple[LoggedRun, ...]:
    """The runs whose top speed is not learned from, being more than four spreads off; newest first."""
    return _split(runs, setup, prior)[1]


@lru_cache(maxsize=16)
def _split(
    runs: tuple[LoggedRun, ...], setup: Setup, prior: TopSpeedPrior
) -> tuple[tuple[_Point, ...], tuple[LoggedRun, ...]]:
    """The newest speeds to learn from, and the runs before the last of them with an unlikely one."""
    points: list[_Point] = []
    unlikely: list[LoggedRun] = []
    for run in runs:
        point = _point(run, setup)
        if point is None:
            continue
        try:
            low, high = point.likely(prior)
        except ValueError:  # so near the model's bounds that it cannot be driven over four spreads
            continue
        if low <= point.speed <= high:
            points.append(point)
        else:
            unlikely.append(run)
        if len(points) == MOST_RUNS:
            break
    return tuple(points), tuple(unlikely)


def _moved(logs: list[float], step: list[float], share: float) -> list[float]:
    return [each + share * change for each, change in zip(logs, step, strict=True)]


def _cost(points: Sequence[_Point], logs: list[float], prior: TopSpeedPrior) -> float:
    """Minus twice the log posterior, shifted; infinite where the model cannot be driven."""
    believed = sum(pull * each * each for pull, each in zip(prior.pulls, logs, strict=True))
    try:
        return believed + sum(point.cost(point.speed - point.top(logs)) for point in points)
    except ValueError:
        return inf


def _step(
    points: Sequence[_Point], logs: list[float], prior: TopSpeedPrior
) -> tuple[Matrix, list[float]]:
    """The normal equations' lower triangle, and the step of Gauss and Newton."""
    normal: Matrix = [[0.0] * 3 for _ in range(3)]
    right = [-pull * each for pull, each in zip(prior.pulls, logs, strict=True)]
    for i, pull in enumerate(prior.pulls):
        normal[i][i] = pull
    for point in points:
        top, slopes = point.modelled(logs)
        residual = point.speed - top
        weight = student_weight(residual, point.slip, _FREEDOM) / point.own**2
        for i in range(3):
            right[i] += weight * slopes[i] * residual
            for j in range(3):
                normal[i][j] += weight * slopes[i] * slopes[j]
    lower = cholesky(normal)
    return lower, solved(lower, right)


class _Point(NamedTuple):
    """A run's measured speed in m/s, how far it may be out as a part of it, and the run as set up."""

    speed: float
    share: float
    setup: Setup
    track: Track
    ratio: float

    @property
    def own(self) -> float:
        """How far the speed may be out, in m/s."""
        return self.share * self.speed

    @property
    def slip(self) -> float:
        """How far it may be from the model's before it looks mistyped, in m/s."""
        return hypot(self.share, MODEL_SHARE) * self.speed

    def cost(self, residual: float) -> float:
        """Minus twice the log likelihood of a residual in m/s, by which `student_weight` weighs."""
        part = residual / self.slip
        return (_FREEDOM + 1) * (self.slip / self.own) ** 2 * log1p(part * part / _FREEDOM)

    def likely(self, prior: TopSpeedPrior) -> tuple[float, float]:
        """From what to what speed is within four spreads of what is believed.

        Down and up along the direction that counts most with no rev limit: at the limit itself the
        model's slopes say nothing of a car that is too weak for it.
        """
        free = with_changes(self.setup.controller, rev_limit_rpm=None)
        limitless = self._replace(setup=self.setup.model_copy(update={"controller": free}))
        spreads = prior.drag_spread, prior.efficiency_spread, prior.voltage_spread
        slopes = limitless.modelled([0.0, 0.0, 0.0])[1]
        effects = [slope * spread for slope, spread in zip(slopes, spreads, strict=True)]
        whole = hypot(*effects) or 1.0
        logs = [
            MOST_SPREADS * spread * effect / whole
            for spread, effect in zip(spreads, effects, strict=True)
        ]
        top, own = self.top([0.0, 0.0, 0.0]), MOST_SPREADS * self.slip
        low, high = self.top([-each for each in logs]), self.top(logs)
        return top - hypot(top - low, own), top + hypot(high - top, own)

    def modelled(self, logs: list[float]) -> tuple[float, list[float]]:
        """The model's top speed, and its slopes over the three logarithms."""
        top = self.top(logs)
        slopes = []
        for i in range(3):
            moved = list(logs)
            moved[i] -= _NUDGE
            slopes.append((top - self.top(moved)) / _NUDGE)
        return top, slopes

    def top(self, logs: list[float]) -> float:
        """The model's top speed."""
        setup = _changed(self.setup, *(exp(each) for each in logs))
        return run_lap(
            setup.car,
            setup.motor,
            setup.pack,
            setup.controller,
            setup.air,
            self.track,
            self.ratio,
        ).top_speed_m_s


def _point(run: LoggedRun, setup: Setup) -> _Point | None:
    """A run to learn from; None without a top speed, or where the model cannot drive it."""
    if run.top_speed_kmh is None or run.track is None:
        return None
    spread = run.top_speed_spread_kmh
    share = hypot(RUN_SHARE, UNKNOWN_SHARE if spread is None else spread / run.top_speed_kmh)
    weight = {} if run.mass_g is None else {"mass_kg": run.mass_g / 1000.0}
    air, controller = setup.air, setup.controller
    if run.air_c is not None:
        air = with_changes(air, temperature_c=run.air_c)
    if run.rev_limit_rpm is not None:
        limit = None if run.rev_limit_rpm == inf else run.rev_limit_rpm
        controller = with_changes(controller, rev_limit_rpm=limit)
    try:
        car = with_changes(setup.car, tyre_diameter_mm=run.tyre_diameter_mm, **weight)
        own = setup.model_copy(update={"car": car, "air": air, "controller": controller})
        point = _Point(run.top_speed_kmh / 3.6, share, own, run.track, run.ratio)
        point.modelled([0.0, 0.0, 0.0])
    except ValueError:
        return None
    return point
