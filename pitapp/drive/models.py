"""Inputs of the drive model: car, motor, pack, controller, air, track and the whole set-up.

The results stand in `physics.results` and can be imported from here as well.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Annotated, Self

from pydantic import BeforeValidator, Field, model_validator

from pitapp.drive.inputs.definitions import CAN_LIMIT_C
from pitapp.drive.learning.can import CanFit
from pitapp.drive.learning.laps import LapFit
from pitapp.drive.physics.air import density_of
from pitapp.drive.physics.results import LapResult, LapSlope, Phase, StraightResult
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.uncertainty import Widening
from pitapp.heat.models import HeatingFit
from pitapp.limits import number
from pitapp.record import Record

__all__ = [
    "Air",
    "Car",
    "Controller",
    "GearForecast",
    "LapResult",
    "LapSlope",
    "Motor",
    "Pack",
    "Phase",
    "Setup",
    "Straight",
    "StraightResult",
    "Track",
]


def _within(
    name: str, low: float, high: float, unit: str = "", *, optional: bool = False
) -> BeforeValidator:
    def check(value: float | None) -> float | None:
        if value is None and optional:
            return None
        return number(value if value is not None else math.nan, name, low, high, unit=unit)

    guard: Callable[[float | None], float | None] = check
    return BeforeValidator(guard)


class Car(Record):
    """A car ready to run; with four-wheel drive all its weight is on driven wheels.

    The defaults are from memory, for a touring car of about 1:10 on a grippy surface. The tyres
    hold grip · share · weight under power; weight transfer is left out.

    >>> Car(mass_kg=1.4, tyre_diameter_mm=63).driven_weight_share
    1.0
    """

    mass_kg: Annotated[float, _within("car's mass", 0.1, 50, "kg")]
    tyre_diameter_mm: Annotated[float, _within("tyre diameter", 20, 300, "mm")]
    rolling_resistance: Annotated[float, _within("rolling resistance", 0, 0.5)] = 0.03
    drag_area_m2: Annotated[float, _within("drag area", 0, 1, "m²")] = 0.009
    grip: Annotated[float, _within("grip", 0.05, 5)] = 1.2
    driven_weight_share: Annotated[float, _within("share of weight on driven wheels", 0.05, 1)] = (
        1.0
    )
    braking_m_s2: Annotated[float, _within("braking", 0.5, 60, "m/s²")] = 8.0
    drive_efficiency: Annotated[float, _within("drive efficiency", 0.3, 1)] = 0.9


class Motor(Record):
    """A motor. The inertia is that of the rotor and of all that turns at motor speed.

    Its resistance is taken as constant, at the temperature at which it was measured; the defaults
    are from memory.
    """

    kv_rpm_per_v: Annotated[float, _within("Kv", 50, 30_000, "rpm/V")]
    resistance_ohm: Annotated[float, _within("motor resistance", 0.0005, 5, "Ω")]
    no_load_current_a: Annotated[float, _within("no-load current", 0, 60, "A")] = 2.0
    inertia_kg_m2: Annotated[float, _within("rotor inertia", 0, 0.01, "kg·m²")] = 4e-6


class Pack(Record):
    """A pack, at its open-circuit voltage in the middle of a run. Defaults are from memory."""

    voltage_v: Annotated[float, _within("pack voltage", 1, 100, "V")]
    resistance_ohm: Annotated[float, _within("pack resistance", 0, 2, "Ω")] = 0.006
    capacity_mah: Annotated[float, _within("pack capacity", 50, 100_000, "mAh")] = 6000.0


class Controller(Record):
    """The electronic speed controller, with a rev limit if the class asks for one.

    `braking_heat_share` is how much of the braking current's I²·R stays in the motor; none by
    default, as controllers differ.
    """

    resistance_ohm: Annotated[float, _within("controller resistance", 0, 1, "Ω")] = 0.001
    braking_heat_share: Annotated[float, _within("share of braking heat", 0, 1)] = 0.0
    rev_limit_rpm: Annotated[
        float | None, _within("rev limit", 500, 300_000, "rpm", optional=True)
    ] = None


class Air(Record):
    """The air at the track."""

    temperature_c: Annotated[float, _within("air temperature", -40, 60, "°C")] = 20.0
    pressure_pa: Annotated[float, _within("air pressure", 50_000, 110_000, "Pa")] = 101_325.0

    @property
    def density_kg_m3(self) -> float:
        """Density of this air, as dry air."""
        return density_of(self.temperature_c, self.pressure_pa)


class Straight(Record):
    """A straight and the corner behind it.

    The car brakes to `exit_speed_m_s`, then drives the corner at that speed for `corner_s`. With no
    exit speed it runs to the end at full throttle.
    """

    length_m: Annotated[float, _within("straight's length", 0.01, 10_000, "m")]
    entry_speed_m_s: Annotated[float, _within("entry speed", 0, 100, "m/s")]
    exit_speed_m_s: Annotated[float | None, _within("exit speed", 0, 100, "m/s", optional=True)] = (
        None
    )
    corner_s: Annotated[float, _within("corner time", 0, 600, "s")] = 0.0

    @model_validator(mode="after")
    def _corner_has_a_speed(self) -> Self:
        if self.corner_s and not self.exit_speed_m_s:
            raise ValueError("A corner needs an exit speed: the speed it is driven at.")
        return self


class Track(Record):
    """The straights of a lap in driving order, each with the corner behind it."""

    straights: tuple[Straight, ...]

    @model_validator(mode="after")
    def _has_straights(self) -> Self:
        if not self.straights:
            raise ValueError("This track has no straights yet: give at least the longest one.")
        return self


class Setup(Record):
    """All that the ranking of gears needs beside the gears and the track.

    Without a start temperature the can starts at air temperature. The can limit of 80 °C is
    that of magnets of grade N (`inputs.CAN_LIMIT_C`): the motor maker's figure comes first.
    `can_fit` and `lap_fit` are what logged runs have taught; they stand before `heating` and
    `lap_slope`, which are for figures known otherwise.
    """

    car: Car
    motor: Motor
    pack: Pack
    controller: Controller = Field(default_factory=Controller)
    air: Air = Field(default_factory=Air)
    run_length_s: Annotated[float, _within("run length", 10, 36_000, "s")] = 300.0
    start_temperature_c: Annotated[
        float | None, _within("can temperature at the start", -40, 150, "°C", optional=True)
    ] = None
    can_limit_c: Annotated[float, _within("can limit", 30, 200, "°C")] = CAN_LIMIT_C
    fitted_ratio: Annotated[float | None, _within("final drive ratio", 0.5, 50, optional=True)] = (
        None
    )
    logged_ratios: tuple[Annotated[float, _within("final drive ratio", 0.5, 50)], ...] = ()
    heating: HeatingFit | None = None
    lap_slope: LapSlope | None = None
    can_fit: CanFit | None = None
    lap_fit: LapFit | None = None
    widening: Widening = Widening()
    charge_factor: Annotated[float, _within("charge factor", 0.05, 20)] = 1.0
