"""Winding and can as two nodes: the can goes on warming for a while after the flag.

C₁·T₁′ = P − G₁₂·(T₁ − T₂), C₂·T₂′ = G₁₂·(T₁ − T₂) − G₂·(T₂ − T_air). With constant P this is
linear: temperatures over the air are a steady part and two exponentials, whose rates λ are the
roots of λ² + (a + b + c)·λ + a·c = 0 with a = G₁₂/C₁, b = G₁₂/C₂, c = G₂/C₂. Both are real and
negative; the slow one is taken as a·c over the fast one, so that nothing cancels.

Source: the lumped two-node motor in Trujillo & Cutkosky, "Thermally constrained motor operation
for a climbing robot"; the closed form is that of any linear system of two equations. Readings
taken after stopping are brought back to the moment of stopping in IEC 60034-1 as well.
"""

from __future__ import annotations

from math import exp, sqrt

from pitapp.limits import number

WINDING_SHARE = 0.28
"""The winding's part of the motor's heat capacity, from memory; of second order in what is read."""

Propagator = tuple[float, float, float, float]


def propagator(a: float, b: float, c: float, seconds: float) -> Propagator:
    """exp(M·t) of M = [[−a, a], [b, −(b + c)]], row by row, for a > 0, b ≥ 0, c ≥ 0, t ≥ 0."""
    half = 0.5 * (a - b - c)
    fast = -0.5 * (a + b + c) - sqrt(half * half + a * b)
    slow = a * c / fast
    apart = slow - fast
    e_slow, e_fast = exp(slow * seconds), exp(fast * seconds)
    mix = (e_slow - e_fast) / apart
    keep = (slow * e_fast - fast * e_slow) / apart
    return keep - a * mix, a * mix, b * mix, keep - (b + c) * mix


def two_node_temperatures_c(
    winding_c: float,
    can_c: float,
    air_c: float,
    power_w: float,
    winding_j_per_k: float,
    can_j_per_k: float,
    inner_w_per_k: float,
    outer_w_per_k: float,
    seconds: float,
) -> tuple[float, float]:
    """Winding and can after a time at constant heat; with no heat, a motor left to cool.

    Args:
        winding_c, can_c: temperatures at the start, -60 to 1000 °C.
        air_c: air temperature, -60 to 80 °C.
        power_w: heat put into the winding, 0 to 100 000 W.
        winding_j_per_k, can_j_per_k: heat capacities, more than 0, to 10⁶ J/K.
        inner_w_per_k: conductance winding to can, more than 0, to 10⁹ W/K.
        outer_w_per_k: conductance can to air, more than 0, to 10⁶ W/K.
        seconds: 0 to 10⁹ s.

    Returns:
        (winding, can) in °C.

    Raises:
        ValueError: an impossible or absurd figure.

    Source: see the module; checked against `scipy.integrate.solve_ivp`.

    >>> found = two_node_temperatures_c(85, 65, 20, 0, 30, 85, 0.8, 0.2, 60)
    >>> [round(each, 1) for each in found]
    [69.1, 64.2]
    """
    winding = number(winding_c, "winding temperature", -60, 1000, unit="°C")
    can = number(can_c, "can temperature", -60, 1000, unit="°C")
    air = number(air_c, "air temperature", -60, 80, unit="°C")
    power = number(power_w, "motor heat", 0, 100_000, unit="W")
    c1 = number(winding_j_per_k, "winding's heat capacity", 0, 1e6, above=True, unit="J/K")
    c2 = number(can_j_per_k, "can's heat capacity", 0, 1e6, above=True, unit="J/K")
    inner = number(inner_w_per_k, "conductance to the can", 0, 1e9, above=True, unit="W/K")
    outer = number(outer_w_per_k, "conductance to the air", 0, 1e6, above=True, unit="W/K")
    time = number(seconds, "time", 0, 1e9, unit="s")
    p11, p12, p21, p22 = propagator(inner / c1, inner / c2, outer / c2, time)
    steady2 = power / outer
    steady1 = steady2 + power / inner
    from1, from2 = winding - air - steady1, can - air - steady2
    return (
        air + steady1 + p11 * from1 + p12 * from2,
        air + steady2 + p21 * from1 + p22 * from2,
    )


def can_after_flag_c(
    winding_c: float,
    can_c: float,
    air_c: float,
    seconds_after_stop: float,
    winding_tau_s: float,
    standing_tau_s: float,
    winding_share: float = WINDING_SHARE,
) -> float:
    """The can some time after the flag: first it may rise, fed by the winding, then it cools.

    Args:
        winding_c, can_c: at the flag, -60 to 1000 °C.
        air_c: air temperature, -60 to 80 °C.
        seconds_after_stop: 0 to 86 400 s.
        winding_tau_s: the winding's heat capacity over its conductance to the can, 0.1 to 10⁵ s.
        standing_tau_s: heat capacity of the whole motor over the standing can's conductance to the
            air, 1 to 10⁶ s.
        winding_share: the winding's part of the heat capacity, 0.01 to 0.99.

    Returns:
        °C.

    Raises:
        ValueError: an impossible or absurd figure.

    Source: see the module. That the can first rises is common practice, without a source.

    >>> [round(can_after_flag_c(85, 65, 20, s, 40, 700)) for s in (0, 60, 300)]
    [65, 65, 53]
    """
    winding = number(winding_c, "winding temperature", -60, 1000, unit="°C")
    can = number(can_c, "can temperature", -60, 1000, unit="°C")
    air = number(air_c, "air temperature", -60, 80, unit="°C")
    time = number(seconds_after_stop, "time since the flag", 0, 86_400, unit="s")
    tau1 = number(winding_tau_s, "winding's time constant", 0.1, 1e5, unit="s")
    tau = number(standing_tau_s, "cooling time constant", 1, 1e6, unit="s")
    share = number(winding_share, "winding's share", 0.01, 0.99)
    _, _, p21, p22 = propagator(*rates(tau1, tau, share), time)
    return air + p21 * (winding - air) + p22 * (can - air)


def rates(
    winding_tau: float, tau: float, share: float = WINDING_SHARE
) -> tuple[float, float, float]:
    """(a, b, c) of a motor by its two time constants and the winding's share of heat capacity."""
    a = 1.0 / winding_tau
    return a, a * share / (1.0 - share), 1.0 / (tau * (1.0 - share))


def run_response(
    run_s: float, after_s: float, winding_tau: float, tau: float, standing_tau: float
) -> tuple[float, float]:
    """(K, D): the can over the air is Rth·P·K + D·(what it was over the air at the start).

    A run of `run_s` at heat P, then `after_s` at rest. K tends to 1 in a long run read at once.
    """
    a, b, c = rates(winding_tau, tau)
    p11, p12, p21, p22 = propagator(a, b, c, run_s)
    # Steady state at Rth·P = 1: can 1, winding 1 + G₂/G₁₂.
    steady1 = 1.0 + winding_tau / (tau * WINDING_SHARE)
    k1, k2 = steady1 - p11 * steady1 - p12, 1.0 - p21 * steady1 - p22
    d1, d2 = p11 + p12, p21 + p22
    if after_s > 0.0:
        _, _, q21, q22 = propagator(*rates(winding_tau, standing_tau), after_s)
        return q21 * k1 + q22 * k2, q21 * d1 + q22 * d2
    return k2, d2
