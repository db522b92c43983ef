"""Pitch, revs and speed: where a motor's tone must lie, and what a moving one tells.

Sources: Doppler's formula for a moving source and a listener at rest; the speed of sound in air 343.2 m/s at 20 °C,
with the root of the absolute temperature (ISO 9613-1:1993).
"""

from __future__ import annotations

from math import isfinite, sqrt
from typing import Literal

KELVIN = 273.15
BELOW, ABOVE = 0.80, 1.17
"""How far free revs may lie from Kv times volts: Kv up to 10 % off, volts up to 5 %, and what running free costs."""
SPREADS = 2.0

Side = Literal["under", "over", "near"]


def _within(value: float, name: str, low: float, high: float, unit: str) -> float:
    if not isfinite(value) or not low <= value <= high:
        raise ValueError(
            f"The {name} must be from {low:g} to {high:g} {unit} ({value:g} was given)."
        )
    return value


def speed_of_sound_m_s(air_c: float) -> float:
    """The speed of sound in air in m/s: 343.2·√(T/293.15 K).

    Args:
        air_c: air temperature in °C, −40 to 60.

    Raises:
        ValueError: no such air temperature.

    >>> round(speed_of_sound_m_s(20), 1), round(speed_of_sound_m_s(0), 1)
    (343.2, 331.3)
    """
    return 343.2 * sqrt((_within(air_c, "air temperature", -40, 60, "°C") + KELVIN) / 293.15)


def doppler_hz(source_hz: float, speed_m_s: float, sound_m_s: float) -> float:
    """The pitch heard of a source that moves straight at the listener: f/(1 − v/c); a minus moves away.

    Args:
        source_hz: its own pitch.
        speed_m_s: its speed, slower than sound.
        sound_m_s: the speed of sound.

    Raises:
        ValueError: it is as fast as sound.

    >>> round(doppler_hz(1000, 30, 340), 2), round(doppler_hz(1000, -30, 340), 2)
    (1096.77, 918.92)
    """
    if not abs(speed_m_s) < sound_m_s:
        raise ValueError("Nothing here is as fast as sound.")
    return source_hz / (1 - speed_m_s / sound_m_s)


def passing_speed_m_s(before_hz: float, after_hz: float, sound_m_s: float) -> float:
    """The speed of a source from its far pitches before and after: c·(f₁ − f₂)/(f₁ + f₂).

    Args:
        before_hz: the pitch while it comes.
        after_hz: the pitch while it goes.
        sound_m_s: the speed of sound.

    Raises:
        ValueError: no pitch, or one that rises.

    >>> round(passing_speed_m_s(1096.774, 918.919, 340), 2)
    30.0
    """
    if not 0 < after_hz <= before_hz:
        raise ValueError("A car that passes sounds lower after than before.")
    return sound_m_s * (before_hz - after_hz) / (before_hz + after_hz)


def free_rpm_band(kv_rpm_per_v: float, volts: float) -> tuple[float, float]:
    """Where free revs can lie in rpm, with Kv up to 10 % and volts up to 5 % off.

    Args:
        kv_rpm_per_v: 50 to 20 000.
        volts: 0.1 to 60.

    Raises:
        ValueError: no such motor or voltage.

    >>> free_rpm_band(2000, 7.5)
    (12000.0, 17550.0)
    """
    free = _within(kv_rpm_per_v, "Kv", 50, 20_000, "rpm/V") * _within(
        volts, "voltage", 0.1, 60, "V"
    )
    return BELOW * free, ABOVE * free


def side_of_limit(rpm: float, spread_rpm: float, limit_rpm: float) -> Side:
    """On which side of a limit revs lie: "under" or "over" only beyond two spreads, else "near".

    Args:
        rpm: revs heard.
        spread_rpm: their spread, one standard deviation.
        limit_rpm: the limit.

    Raises:
        ValueError: a figure that is none.

    >>> side_of_limit(14_540, 15, 14_600), side_of_limit(14_590, 15, 14_600)
    ('under', 'near')
    """
    for value in (rpm, spread_rpm, limit_rpm):
        _within(value, "revs", 0, 300_000, "rpm")
    if abs(rpm - limit_rpm) <= SPREADS * spread_rpm:
        return "near"
    return "under" if rpm < limit_rpm else "over"


def percent_off(heard: float, instrument: float) -> float:
    """How far what was heard is off an instrument, in %; minus is lower.

    Raises:
        ValueError: the instrument shows nothing.

    >>> round(percent_off(17_560, 17_610), 2)
    -0.28
    """
    if not instrument > 0:
        raise ValueError("The instrument's figure must be more than 0.")
    return 100 * (heard / instrument - 1)
