"""Logged heat points and what is learned from them."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field

from pitapp.limits import number
from pitapp.record import Record


def _within(name: str, low: float, high: float, unit: str = "") -> BeforeValidator:
    def check(value: float) -> float:
        return number(value, name, low, high, unit=unit)

    return BeforeValidator(check)


class HeatingPoint(Record):
    """One run: mean heat by the drive model, length, temperatures at the start and the flag."""

    power_w: Annotated[float, _within("motor heat", 1e-6, 100_000, "W")]
    run_s: Annotated[float, _within("run length", 0.001, 1e6, "s")]
    start_c: Annotated[float, _within("can temperature at the start", -60, 400, "°C")]
    air_c: Annotated[float, _within("air temperature", -60, 80, "°C")]
    flag_c: Annotated[float, _within("can temperature at the flag", -60, 1000, "°C")]


class HeatingPrior(Record):
    """Prior before any run: medians, and the spread of their natural logarithms.

    The figures are from memory, for a small can motor in a moving car: change them freely.
    """

    thermal_resistance_k_per_w: Annotated[float, _within("thermal resistance", 0.01, 1e4)] = 2.5
    time_constant_s: Annotated[float, _within("time constant", 1, 1e6, "s")] = 300.0
    resistance_spread: Annotated[float, _within("spread of the prior", 0.01, 3)] = 0.5
    time_constant_spread: Annotated[float, _within("spread of the prior", 0.01, 3)] = 0.4
    reading_sd_k: Annotated[float, _within("spread of a reading", 0.01, 50, "K")] = 2.0


class HeatingFit(Record):
    """Thermal resistance and time constant of can to air, with standard errors.

    `correlation` is that of the two figures' errors; `residual_k` the scatter of the runs about
    the fit; `noise_k` the scatter to expect of one more run. `rough` says that the runs alone do
    not settle both figures, so that what was believed before them still counts.
    """

    thermal_resistance_k_per_w: float = Field(gt=0)
    time_constant_s: float = Field(gt=0)
    resistance_se_k_per_w: float = Field(ge=0)
    time_constant_se_s: float = Field(ge=0)
    correlation: float = Field(ge=-1, le=1)
    residual_k: float = Field(ge=0)
    noise_k: float = Field(ge=0)
    runs: int = Field(ge=0)
    rough: bool
    note: str = ""


class TwoPointRise(Record):
    """Time constant and final rise by two readings of one run."""

    time_constant_s: float
    final_rise_k: float


class Temperature(Record):
    """A forecast temperature with its standard uncertainty."""

    temperature_c: float
    se_c: float
