"""First-order heating of the can, and cooling once the car stands."""

from __future__ import annotations

from math import exp, expm1, log

from pitapp.heat.fit import fit_heating, forecast_temperature
from pitapp.heat.models import TwoPointRise
from pitapp.heat.two_node import can_after_flag_c, two_node_temperatures_c
from pitapp.limits import number

__all__ = [
    "can_after_flag_c",
    "end_of_run_temperature_c",
    "fit_heating",
    "forecast_temperature",
    "temperature_when_stopped_c",
    "two_node_temperatures_c",
    "two_point_rise",
]

_LEAST_PACE = 1e-6


def end_of_run_temperature_c(
    air_c: float,
    start_c: float,
    power_w: float,
    thermal_resistance_k_per_w: float,
    time_constant_s: float,
    run_s: float,
) -> float:
    """Can temperature when the run ends.

    T = T_air + P·Rth·(1 − e^(−t/τ)) + (T_start − T_air)·e^(−t/τ).

    Args:
        air_c: air temperature, -60 to 80 °C.
        start_c: can temperature at the start, -60 to 400 °C.
        power_w: mean heat put into the motor, 0 to 100 000 W.
        thermal_resistance_k_per_w: steady rise of the can per watt, 0 to 10 000 K/W.
        time_constant_s: time to 63 % of the final rise, more than 0, to 10⁶ s.
        run_s: run length, 0 to 10⁹ s.

    Returns:
        °C.

    Raises:
        ValueError: an impossible or absurd figure.

    Source: Gupta & Singhal, *Electric Drives*, heating of a homogeneous body.

    >>> round(end_of_run_temperature_c(20.0, 20.0, 20.0, 2.5, 300.0, 300.0), 1)
    51.6
    """
    air = number(air_c, "air temperature", -60, 80, unit="°C")
    start = number(start_c, "can temperature at the start", -60, 400, unit="°C")
    power = number(power_w, "motor heat", 0, 100_000, unit="W")
    rth = number(thermal_resistance_k_per_w, "thermal resistance", 0, 10_000, unit="K/W")
    tau = number(time_constant_s, "time constant", 0, 1e6, above=True, unit="s")
    seconds = number(run_s, "run length", 0, 1e9, unit="s")
    turns = -seconds / tau
    return air - power * rth * expm1(turns) + (start - air) * exp(turns)


def temperature_when_stopped_c(
    reading_c: float, seconds_after_stop: float, air_c: float, cooling_tau_s: float
) -> float:
    """What the can was at the flag, from a reading taken later.

    T_flag = T_air + (T_reading − T_air)·e^(s/τ). The standing car cools more slowly than the
    moving one, so `cooling_tau_s` is not the time constant of a run.

    Args:
        reading_c: can temperature read, -60 to 400 °C.
        seconds_after_stop: how long after the flag, 0 to 86 400 s, at most 3 time constants.
        air_c: air temperature, -60 to 80 °C.
        cooling_tau_s: time constant of the standing car, more than 0, to 10⁶ s.

    Returns:
        °C.

    Raises:
        ValueError: an impossible figure, or a reading too late to say anything about the flag.

    Source: Newton's law of cooling.

    >>> round(temperature_when_stopped_c(60.0, 120.0, 20.0, 600.0), 1)
    68.9
    """
    reading = number(reading_c, "temperature read", -60, 400, unit="°C")
    seconds = number(seconds_after_stop, "time since the flag", 0, 86_400, unit="s")
    air = number(air_c, "air temperature", -60, 80, unit="°C")
    tau = number(cooling_tau_s, "cooling time constant", 0, 1e6, above=True, unit="s")
    if seconds > 3.0 * tau:
        raise ValueError("This reading was taken too late to tell the temperature at the flag.")
    return air + (reading - air) * exp(seconds / tau)


def two_point_rise(t1_s: float, rise1_k: float, t2_s: float, rise2_k: float) -> TwoPointRise:
    """Time constant and final rise from two readings, the second after twice the time.

    τ = t₁ / ln(r₁/(r₂ − r₁)), final rise = r₁² / (2r₁ − r₂).

    Args:
        t1_s: time of the first reading from the start, more than 0, to 10⁶ s.
        rise1_k: rise over the start (at air temperature) then, more than 0, to 1000 K.
        t2_s: time of the second reading: 2·t₁ (to 0.1 %).
        rise2_k: rise then, between r₁ and 2·r₁.

    Returns:
        time constant in s and final rise in K.

    Raises:
        ValueError: impossible figures, times that are not 1 : 2, rises that no warming body shows.

    Source: Gupta & Singhal, *Electric Drives*, Ex. 4.1.

    >>> found = two_point_rise(40 * 60, 30, 80 * 60, 45)
    >>> round(found.time_constant_s / 60, 2), round(found.final_rise_k, 6)
    (57.71, 60.0)
    """
    first = number(t1_s, "time of the first reading", 0, 1e6, above=True, unit="s")
    second = number(t2_s, "time of the second reading", 0, 2.1e6, above=True, unit="s")
    rise1 = number(rise1_k, "first rise", 0, 1000, above=True, unit="K")
    rise2 = number(rise2_k, "second rise", 0, 2000, above=True, unit="K")
    if abs(second - 2.0 * first) > 0.002 * first:
        raise ValueError("Take the second reading after twice the time of the first.")
    if not rise1 < rise2 < 2.0 * rise1:
        raise ValueError("The second rise must lie between the first and twice the first.")
    pace = log(rise1 / (rise2 - rise1))
    if pace < _LEAST_PACE:
        raise ValueError("The two rises are too nearly in step with time to tell where they end.")
    return TwoPointRise(
        time_constant_s=first / pace, final_rise_k=rise1 * rise1 / (2.0 * rise1 - rise2)
    )
