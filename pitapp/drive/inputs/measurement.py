"""Inputs from measurements with tape, watch and thermometer: drag, rolling, grip, braking, cooling."""

from __future__ import annotations

from math import log
from typing import NamedTuple

from pitapp.drive.physics.gear_coefficients import GRAVITY_M_S2
from pitapp.limits import number


class CoastDown(NamedTuple):
    """What a coast-down tells: drag area in m² and rolling resistance."""

    drag_area_m2: float
    rolling_resistance: float


def coast_down(
    fast_from_m_s: float,
    fast_to_m_s: float,
    fast_s: float,
    slow_from_m_s: float,
    slow_to_m_s: float,
    slow_s: float,
    mass_kg: float,
    air_density_kg_m3: float,
) -> CoastDown:
    """Drag area and rolling resistance from two stretches of a coast-down, one fast and one slow.

    With a the mean deceleration and v the mean speed of each stretch:
    CdA = 2·m·(a₁ − a₂) / (ρ·(v₁² − v₂²)), Crr = (a₂·v₁² − a₁·v₂²) / (g·(v₁² − v₂²)).

    Args:
        fast_from_m_s, fast_to_m_s: speeds at the ends of the fast stretch, 0 to 100 m/s, falling.
        fast_s: its time, 0.01 to 600 s.
        slow_from_m_s, slow_to_m_s, slow_s: the same for the slow stretch.
        mass_kg: 0.1 to 5000 kg.
        air_density_kg_m3: 0.3 to 2 kg/m³.

    Returns:
        drag area in m² and rolling resistance (no unit).

    Raises:
        ValueError: an impossible figure, or two stretches that no coasting car shows.

    Source: the two-speed coast-down of the Bosch *Automotive Handbook* (its worked example from
    memory; checked against an integrator).

    >>> measured = coast_down(60 / 3.6, 55 / 3.6, 6.5, 15 / 3.6, 10 / 3.6, 10.5, 1450, 1.2)
    >>> round(measured.drag_area_m2 / 2.2, 2), round(measured.rolling_resistance, 3)
    (0.37, 0.013)
    """
    mass = number(mass_kg, "car's mass", 0.1, 5000, unit="kg")
    density = number(air_density_kg_m3, "air density", 0.3, 2, unit="kg/m³")
    fast, fast_slowing = _stretch("fast", fast_from_m_s, fast_to_m_s, fast_s)
    slow, slow_slowing = _stretch("slow", slow_from_m_s, slow_to_m_s, slow_s)
    squares = fast * fast - slow * slow
    if squares <= 0.05 * fast * fast:
        raise ValueError("The fast stretch must be clearly faster than the slow one.")
    drag = 2.0 * mass * (fast_slowing - slow_slowing) / (density * squares)
    rolling = (slow_slowing * fast * fast - fast_slowing * slow * slow) / (GRAVITY_M_S2 * squares)
    if drag < 0.0 or rolling < 0.0:
        raise ValueError(
            "No coasting car slows like this: the fast stretch must slow it harder than the slow "
            "one, but not by more than air drag can. Measure both again, each way."
        )
    return CoastDown(drag, rolling)


def _stretch(name: str, start_m_s: float, end_m_s: float, seconds: float) -> tuple[float, float]:
    start = number(start_m_s, f"speed at the start of the {name} stretch", 0, 100, unit="m/s")
    end = number(end_m_s, f"speed at the end of the {name} stretch", 0, 100, unit="m/s")
    time = number(seconds, f"time of the {name} stretch", 0.01, 600, unit="s")
    if start <= end:
        raise ValueError(f"In the {name} stretch the car must slow down.")
    return (start + end) / 2.0, (start - end) / time


def grip_from_start(distance_m: float, seconds: float, rolling_resistance: float) -> float:
    """Grip from a timed standing start at full throttle: μ = 2·d / (g·t²) + Crr.

    Exact while the tyres are at their limit all the way, so keep it short; a car that is too weak
    for that has at least this grip.

    Args:
        distance_m: from rest, 0.01 to 100 m.
        seconds: 0.01 to 60 s.
        rolling_resistance: 0 to 0.5.

    Returns:
        grip (no unit), of a car with all its weight on driven wheels.

    Raises:
        ValueError: an impossible figure.

    Source: uniform acceleration from rest.

    >>> round(grip_from_start(6.0, 1.0, 0.03), 2)
    1.25
    """
    distance = number(distance_m, "distance", 0.01, 100, unit="m")
    time = number(seconds, "time", 0.01, 60, unit="s")
    rolling = number(rolling_resistance, "rolling resistance", 0, 0.5)
    return 2.0 * distance / (GRAVITY_M_S2 * time * time) + rolling


def braking_from_stop(speed_m_s: float, distance_m: float) -> float:
    """Mean braking from a stop: v² / (2·d).

    Args:
        speed_m_s: when the brakes go on, 0.01 to 100 m/s.
        distance_m: to standstill, 0.01 to 1000 m.

    Returns:
        m/s².

    Raises:
        ValueError: an impossible figure.

    Source: uniform deceleration.

    >>> braking_from_stop(12.0, 9.0)
    8.0
    """
    speed = number(speed_m_s, "speed", 0.01, 100, unit="m/s")
    distance = number(distance_m, "distance", 0.01, 1000, unit="m")
    return speed * speed / (2.0 * distance)


def cooling_time_constant(first_c: float, second_c: float, seconds: float, air_c: float) -> float:
    """Time constant of a standing car's can from two readings: t / ln((T₁ − T_air)/(T₂ − T_air)).

    Args:
        first_c, second_c: can temperatures, -30 to 250 °C, falling and above the air.
        seconds: between the readings, 0.01 to 36 000 s.
        air_c: air temperature, -30 to 60 °C.

    Returns:
        s.

    Raises:
        ValueError: an impossible figure, or readings that do not fall towards the air.

    Source: Newton's law of cooling.

    >>> round(cooling_time_constant(70.0, 50.0, 340.0, 20.0))
    666
    """
    first = number(first_c, "first reading", -30, 250, unit="°C")
    second = number(second_c, "second reading", -30, 250, unit="°C")
    time = number(seconds, "time between the readings", 0.01, 36_000, unit="s")
    air = number(air_c, "air temperature", -30, 60, unit="°C")
    if not first - 0.5 > second > air + 0.5:
        raise ValueError("The can must cool between the readings and still be warmer than the air.")
    return time / log((first - air) / (second - air))
