"""A straight by numerical integration: scipy's DOP853 over each phase, with events at its end."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from pitapp.drive.models import Air, Car, Controller, Motor, Pack, Straight

Parts = tuple[Car, Motor, Pack, Controller, Air]
State = NDArray[np.float64]


@dataclass
class Reference:
    """What the integration found; `turned_as` is ∫|pack current|, the scale of the charge."""

    time_s: float = 0.0
    top_m_s: float = 0.0
    closing_m_s: float = 0.0
    closing_m: float = 0.0
    exit_m_s: float = 0.0
    limit_s: float = 0.0
    charge_as: float = 0.0
    turned_as: float = 0.0
    heat_j: float = 0.0
    kinds: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Law:
    """Forces and currents straight from the car's figures, with no closed form."""

    parts: Parts
    ratio: float

    def __post_init__(self) -> None:
        car, motor, pack, controller, air = self.parts
        k = self.ratio / (car.tyre_diameter_mm / 2000)
        put = object.__setattr__
        put(self, "k", k)
        put(self, "emf", k * 60 / (2 * pi * motor.kv_rpm_per_v))
        put(self, "ohm", motor.resistance_ohm + pack.resistance_ohm + controller.resistance_ohm)
        put(self, "inertia", car.mass_kg + motor.inertia_kg_m2 * k**2)
        weight = car.mass_kg * 9.80665
        put(self, "grip", car.grip * car.driven_weight_share * weight)
        put(self, "roll", car.rolling_resistance * weight)
        rho = air.pressure_pa / (287.05287 * (air.temperature_c + 273.15))
        put(self, "drag", 0.5 * rho * car.drag_area_m2)

    k: float = field(init=False)
    emf: float = field(init=False)
    ohm: float = field(init=False)
    inertia: float = field(init=False)
    grip: float = field(init=False)
    roll: float = field(init=False)
    drag: float = field(init=False)

    def full_amps(self, v: float) -> float:
        return (self.parts[2].voltage_v - self.emf * v) / self.ohm

    def full_force(self, v: float) -> float:
        useful = self.emf * (self.full_amps(v) - self.parts[1].no_load_current_a)
        eta = self.parts[0].drive_efficiency
        return useful * eta if useful > 0 else useful / eta

    def resist(self, v: float) -> float:
        return self.roll + self.drag * v * v

    def part_amps(self, force: float) -> float:
        useful = self.parts[0].drive_efficiency * self.emf
        return force / useful + self.parts[1].no_load_current_a

    def rates(self, kind: str, v: float) -> tuple[float, float, float]:
        """(acceleration, pack current, motor heat) in a phase."""
        car, motor, pack, _controller, _air = self.parts
        back, idle = self.emf * v, motor.no_load_current_a
        if kind in ("motor", "overrun"):
            amps = self.full_amps(v)
            force, drawn = self.full_force(v), amps
        elif kind in ("grip", "limit"):
            force = self.grip if kind == "grip" else self.resist(v)
            amps = self.part_amps(force)
            drawn = amps * (back + amps * self.ohm) / pack.voltage_v
        else:
            amps = drawn = 0.0
            force = -self.emf * idle / car.drive_efficiency
        pull = (force - self.resist(v)) / self.inertia
        if kind == "limit":
            pull = 0.0
        if kind == "brake":
            pull = -car.braking_m_s2
        return pull, drawn, amps**2 * motor.resistance_ohm + idle * back

    @property
    def v_rev(self) -> float:
        limit = self.parts[3].rev_limit_rpm
        return limit * 2 * pi / 60 / self.k if limit else float("inf")

    def kind_at(self, v: float) -> str:
        if v > self.v_rev * (1 + 1e-12):
            return "coast"
        if v >= self.v_rev * (1 - 1e-12):
            force = min(self.grip, self.full_force(v))
            if force >= self.resist(v):
                return "limit"
        return self.throttle_kind(v)

    def throttle_kind(self, v: float) -> str:
        if self.full_force(v) < 0:
            return "overrun"
        return "grip" if self.full_force(v) > self.grip else "motor"


def integrate(parts: Parts, straight: Straight, ratio: float, rtol: float = 1e-12) -> Reference:
    """Drive one straight by integration."""
    law = Law(parts, ratio)
    length, target = straight.length_m, straight.exit_speed_m_s
    braking = parts[0].braking_m_s2
    out = Reference(top_m_s=straight.entry_speed_m_s)
    state = np.array([0.0, straight.entry_speed_m_s, 0.0, 0.0, 0.0])

    def over(_t: float, y: State) -> float:
        to_end = y[0] - length
        if target is None:
            return float(to_end)
        return float(max(to_end, to_end + (y[1] ** 2 - target**2) / (2 * braking)))

    def at_end(_t: float, y: State) -> float:
        return float(y[0] - length)

    def slow_enough(_t: float, y: State) -> float:
        return float(y[1] - (target or 0.0))

    max_step = 0.1 * length / max(1.0, straight.entry_speed_m_s)

    def go(kind: str, ends: list[Callable[[float, State], float]], signs: list[int]) -> int:
        nonlocal state

        def slopes(_t: float, y: State) -> list[float]:
            pull, drawn, heat = law.rates(kind, float(y[1]))
            return [float(y[1]), pull, drawn, heat, abs(drawn)]

        for end, sign in zip(ends, signs, strict=True):
            end.terminal, end.direction = True, sign  # type: ignore[attr-defined]
        run = solve_ivp(
            slopes,
            (0, 1e6),
            state,
            "DOP853",
            rtol=rtol,
            atol=rtol * 1e-2,
            events=ends,
            max_step=max_step,
        )
        assert run.status == 1, run.message
        which = next(i for i, times in enumerate(run.t_events) if len(times))
        state = run.y_events[which][0]
        seconds = float(run.t_events[which][0])
        out.time_s += seconds
        out.limit_s += seconds if kind == "limit" else 0.0
        if seconds > 1e-6:
            out.kinds.append(kind)
        return which

    kind = law.kind_at(straight.entry_speed_m_s)
    done = over(0.0, state) >= 0
    while not done:
        if kind == "limit":
            go(kind, [over], [1])
            break
        changes: list[tuple[Callable[[float, State], float], int, str]] = []

        def rev(_t: float, y: State) -> float:
            return float(y[1] - law.v_rev)

        def spin(_t: float, y: State) -> float:
            return law.full_force(float(y[1])) - law.grip

        def free(_t: float, y: State) -> float:
            return law.full_force(float(y[1]))

        if kind == "coast":
            changes = [(rev, -1, "under")]
        elif law.v_rev < float("inf"):
            changes = [(rev, 1, "limit")]
        if kind == "grip":
            changes.append((spin, -1, "motor"))
        elif kind == "motor":
            changes.append((spin, 1, "grip"))
        elif kind == "overrun":
            changes.append((free, 1, "motor"))
        which = go(kind, [over, *(c[0] for c in changes)], [1, *(c[1] for c in changes)])
        if which == 0:
            break
        kind = changes[which - 1][2]
        if kind == "under":
            v = float(state[1])
            pushed = min(law.grip, law.full_force(v)) >= law.resist(v)
            kind = "limit" if pushed else law.throttle_kind(v)
    out.closing_m_s, out.closing_m = float(state[1]), float(state[0])
    out.top_m_s = max(out.top_m_s, out.closing_m_s)
    if target is not None and state[1] > target * (1 + 1e-12) and state[0] < length:
        go("brake", [slow_enough, at_end], [-1, 1])
    out.exit_m_s = float(state[1])
    out.charge_as, out.heat_j, out.turned_as = (float(state[i]) for i in (2, 3, 4))
    return out


def random_case(rng: random.Random) -> tuple[Parts, Straight, float]:
    """A car that can move and a straight, drawn so that every order of phases comes up."""
    while True:
        drag = 0.0 if rng.random() < 0.1 else rng.uniform(0.002, 0.06)
        car = Car(
            mass_kg=rng.uniform(0.2, 6),
            tyre_diameter_mm=rng.uniform(40, 160),
            rolling_resistance=rng.choice([0.0, rng.uniform(0.005, 0.1)]) if drag else 0.02,
            drag_area_m2=drag,
            grip=rng.choice([rng.uniform(0.15, 0.5), rng.uniform(0.5, 3)]),
            driven_weight_share=rng.choice([1.0, 0.6]),
            braking_m_s2=rng.uniform(2, 20),
            drive_efficiency=rng.uniform(0.6, 1),
        )
        motor = Motor(
            kv_rpm_per_v=rng.uniform(800, 6000),
            resistance_ohm=rng.uniform(0.005, 0.15),
            no_load_current_a=rng.choice([0.0, rng.uniform(0.5, 6)]),
            inertia_kg_m2=rng.choice([0.0, rng.uniform(1e-6, 2e-5)]),
        )
        pack = Pack(voltage_v=rng.uniform(3, 16), resistance_ohm=rng.uniform(0, 0.02))
        limit = rng.choice([None, rng.uniform(4000, 40000)])
        controller = Controller(resistance_ohm=rng.uniform(0, 0.003), rev_limit_rpm=limit)
        air = Air(temperature_c=rng.uniform(-5, 40), pressure_pa=rng.uniform(80e3, 105e3))
        ratio = rng.uniform(1.5, 12)
        straight = Straight(
            length_m=rng.choice([rng.uniform(1, 20), rng.uniform(10, 120)]),
            entry_speed_m_s=rng.choice([0.0, rng.uniform(1, 12), rng.uniform(5, 40)]),
            exit_speed_m_s=rng.choice([None, 0.0, rng.uniform(1, 12), rng.uniform(5, 25)]),
        )
        parts = (car, motor, pack, controller, air)
        law = Law(parts, ratio)
        if min(law.grip, law.full_force(0.0)) > 1.05 * law.roll + 0.02 * car.mass_kg:
            return parts, straight, ratio
