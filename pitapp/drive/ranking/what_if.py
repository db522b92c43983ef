"""What if: one thing changed against today, in the gear now fitted, and which gear is best then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from pitapp.drive.inputs.build_setup import with_changes
from pitapp.drive.models import Motor, Pack, Setup, Track
from pitapp.drive.ranking.drivable import rank_drivable
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.gearing.models import GearOption

Change = float | Motor | Pack


class WhatIf(NamedTuple):
    """A change's effect on the fitted gear (changes are new minus today), or why there is none."""

    names: tuple[str, ...]
    lap_change_s: float = 0.0
    top_change_m_s: float = 0.0
    can_change_c: float = 0.0
    charge_change_mah: float = 0.0
    now: GearForecast | None = None
    best: GearForecast | None = None
    refused: str = ""


def today(setup: Setup) -> dict[str, float | None]:
    """The figures that can be changed, as they are.

    >>> from pitapp.drive.models import Car, Pack
    >>> setup = Setup(car=Car(mass_kg=1.35, tyre_diameter_mm=63), pack=Pack(voltage_v=7.4),
    ...     motor=Motor(kv_rpm_per_v=2380, resistance_ohm=0.02))
    >>> today(setup)["mass_g"]
    1350.0
    """
    return {
        "kv_rpm_per_v": setup.motor.kv_rpm_per_v,
        "pack_v": setup.pack.voltage_v,
        "tyre_diameter_mm": setup.car.tyre_diameter_mm,
        "air_c": setup.air.temperature_c,
        "rev_limit_rpm": setup.controller.rev_limit_rpm,
        "mass_g": round(setup.car.mass_kg * 1000.0, 6),
    }


def suggested(setup: Setup) -> dict[str, float]:
    """A change of each figure to look at first."""
    now = {name: value for name, value in today(setup).items() if value is not None}
    steps = {
        "kv_rpm_per_v": 100.0,
        "pack_v": -0.2,
        "tyre_diameter_mm": -1.0,
        "air_c": 5.0,
        "rev_limit_rpm": 500.0,
        "mass_g": 50.0,
    }
    return {name: round(value + steps[name], 6) for name, value in now.items()}


def changed(setup: Setup, changes: Mapping[str, Change]) -> Setup:
    """The set-up with these figures (or another `motor` or `pack`) in the place of today's.

    A motor of another Kv is taken as the same motor wound otherwise: resistance falls as Kv²
    rises, no-load current grows with Kv (common practice, no source).

    Raises:
        ValueError: a figure outside what the model knows, in a sentence.

    >>> from pitapp.drive.models import Car, Pack
    >>> setup = Setup(car=Car(mass_kg=1.35, tyre_diameter_mm=63), pack=Pack(voltage_v=7.4),
    ...     motor=Motor(kv_rpm_per_v=2000, resistance_ohm=0.02, no_load_current_a=2))
    >>> then = changed(setup, {"kv_rpm_per_v": 4000}).motor
    >>> then.resistance_ohm, then.no_load_current_a
    (0.005, 4.0)
    """
    car, motor, pack, controller, air = (
        setup.car, setup.motor, setup.pack, setup.controller, setup.air,
    )  # fmt: skip
    for name, value in changes.items():
        if isinstance(value, Motor):
            motor = value
        elif isinstance(value, Pack):
            pack = value
        elif name == "kv_rpm_per_v":
            motor = _rewound(motor, value)
        elif name == "pack_v":
            pack = with_changes(pack, voltage_v=value)
        elif name == "tyre_diameter_mm":
            car = with_changes(car, tyre_diameter_mm=value)
        elif name == "air_c":
            air = with_changes(air, temperature_c=value)
        elif name == "rev_limit_rpm":
            controller = with_changes(controller, rev_limit_rpm=value)
        elif name == "mass_g":
            car = with_changes(car, mass_kg=value / 1000.0)
    return setup.model_copy(
        update={"car": car, "motor": motor, "pack": pack, "controller": controller, "air": air}
    )


def _rewound(motor: Motor, kv: float) -> Motor:
    new = with_changes(motor, kv_rpm_per_v=kv)
    part = new.kv_rpm_per_v / motor.kv_rpm_per_v
    return with_changes(
        new,
        resistance_ohm=motor.resistance_ohm / part**2,
        no_load_current_a=motor.no_load_current_a * part,
    )


def compare_changes(
    changes: Mapping[str, Change], options: Sequence[GearOption], track: Track, setup: Setup
) -> list[WhatIf]:
    """Each change by itself, then all together if there are several, in the fitted gear."""
    fitted = GearOption(0, 0, _fitted(setup, options, track))
    base = rank_drivable([fitted], track, setup).gears[0]
    sets = [{name: value} for name, value in changes.items()]
    if len(sets) > 1:
        sets.append(dict(changes))
    return [_effect(each, fitted, base, options, track, setup) for each in sets]


def _fitted(setup: Setup, options: Sequence[GearOption], track: Track) -> float:
    if setup.fitted_ratio is not None:
        return setup.fitted_ratio
    return rank_drivable(options, track, setup).gears[0].final_drive_ratio


def _effect(
    changes: Mapping[str, Change],
    fitted: GearOption,
    base: GearForecast,
    options: Sequence[GearOption],
    track: Track,
    setup: Setup,
) -> WhatIf:
    names = tuple(changes)
    try:
        then = changed(setup, changes)
        now = rank_drivable([fitted], track, then).gears[0]
        best = rank_drivable(options, track, then).gears[0] if options else None
    except ValueError as error:
        return WhatIf(names, refused=str(error))
    return WhatIf(
        names,
        lap_change_s=now.lap_s - base.lap_s,
        top_change_m_s=now.top_speed_m_s - base.top_speed_m_s,
        can_change_c=now.flag_temperature_c - base.flag_temperature_c,
        charge_change_mah=now.charge_mah - base.charge_mah,
        now=now,
        best=best,
    )
