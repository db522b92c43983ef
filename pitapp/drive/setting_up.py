"""From known figures to the drive model's set-up, and to what it says of many gears."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple, TypeVar

from pydantic import BaseModel, ValidationError

from pitapp.drive.forecast import GearForecast
from pitapp.drive.gear import fixed_figures, gear_figures
from pitapp.drive.inputs import Known
from pitapp.drive.models import Air, Car, Controller, Motor, Pack, Setup, Track
from pitapp.drive.rank import rank_gears
from pitapp.gearing.models import GearOption

Model = TypeVar("Model", bound=BaseModel)
LEAST_RATIO, MOST_RATIO = 0.5, 50.0
CURVE_POINTS = 25
BRAKING_HEAT_SHARE = 0.8
"""How much of the heat of the braking current stays in the motor, from memory."""
COLD_C, BEST_LAP_WINDING_C, RUN_WINDING_C = 20.0, 55.0, 70.0
"""Where a motor's resistance is measured; its winding at the best lap, and in a run's mean. From memory."""
_COPPER_K = 234.5


class Ranked(NamedTuple):
    """Gears in their order, those that the model cannot drive, and why."""

    gears: list[GearForecast]
    left_out: tuple[GearOption, ...]
    reason: str


def setup_of(known: Mapping[str, Known], fitted_ratio: float | None = None) -> Setup:
    """The set-up that known figures make, with nothing learned yet; the motor warm as in a run.

    Raises:
        ValueError: a figure that is missing or outside what the model knows, in a sentence.
    """
    value = {name: figure.value for name, figure in known.items()}

    def need(name: str) -> float:
        figure = value[name]
        if figure is None:
            raise ValueError(f"{known[name].input.label} is not known yet.")
        return figure

    return _made(
        Setup,
        car=_made(
            Car,
            mass_kg=need("mass_g") / 1000.0,
            **{
                name: need(name)
                for name in (
                    "tyre_diameter_mm", "rolling_resistance", "drag_area_m2", "grip",
                    "driven_weight_share", "braking_m_s2", "drive_efficiency",
                )
            },
        ),
        motor=_made(
            Motor,
            **{name: need(name) for name in ("kv_rpm_per_v", "no_load_current_a")},
            resistance_ohm=warm_ohm(need("resistance_ohm"), RUN_WINDING_C),
            inertia_kg_m2=need("inertia_g_cm2") * 1e-7,
        ),
        pack=_made(
            Pack,
            voltage_v=need("pack_v"),
            resistance_ohm=need("pack_resistance_mohm") / 1000.0,
            capacity_mah=need("capacity_mah"),
        ),
        controller=_made(
            Controller,
            resistance_ohm=need("controller_resistance_mohm") / 1000.0,
            rev_limit_rpm=value["rev_limit_rpm"],
            braking_heat_share=BRAKING_HEAT_SHARE,
        ),
        air=_made(
            Air, temperature_c=need("air_c"), pressure_pa=need("pressure_hpa") * 100.0
        ),
        run_length_s=need("run_length_s"),
        start_temperature_c=value["start_c"],
        can_limit_c=need("can_limit_c"),
        fitted_ratio=fitted_ratio,
    )  # fmt: skip


def warm_ohm(cold_ohm: float, winding_c: float) -> float:
    """A motor's resistance with its winding at a temperature, from that at 20 °C.

    Source: copper, R ∝ 234.5 + t (UL; IEEE 112).

    >>> round(warm_ohm(0.020, 70.0), 4)
    0.0239
    """
    return cold_ohm * (_COPPER_K + winding_c) / (_COPPER_K + COLD_C)


def _made(model: type[Model], **values: object) -> Model:
    try:
        return model(**values)
    except ValidationError as error:
        raise ValueError(str(error.errors()[0]["msg"]).removeprefix("Value error, ")) from None


def with_changes(part: Model, **values: object) -> Model:
    """A model with some figures changed, checked as a new one.

    Raises:
        ValueError: a figure outside what the model knows, in a sentence.
    """
    return _made(type(part), **(dict(part) | values))


def drivable(setup: Setup) -> Callable[[float], str]:
    """A function from a ratio to why the model cannot drive it; empty where it can."""
    fixed = fixed_figures(setup.car, setup.motor, setup.pack, setup.controller, setup.air)

    def why_not(ratio: float) -> str:
        try:
            gear_figures(fixed, ratio)
        except ValueError as error:
            return str(error)
        return ""

    return why_not


def ranked(options: Iterable[GearOption], track: Track, setup: Setup) -> Ranked:
    """Every gear ranked; those that the model cannot drive are left out and named.

    Raises:
        ValueError: there are no gears, or the model can drive none of them.
    """
    gears = list(options)
    try:
        return Ranked(rank_gears(gears, track, setup), (), "")
    except ValueError:
        why_not = drivable(setup)
    if setup.fitted_ratio is not None and why_not(setup.fitted_ratio):
        setup = setup.model_copy(update={"fitted_ratio": None})
    lost = {gear: reason for gear in gears if (reason := why_not(gear.final_drive_ratio))}
    if gears and len(lost) == len(gears):
        raise ValueError(lost[gears[0]])
    able = [gear for gear in gears if gear not in lost]
    return Ranked(rank_gears(able, track, setup), tuple(lost), next(iter(lost.values()), ""))


def curve(
    low: float, high: float, track: Track, setup: Setup, points: int = CURVE_POINTS
) -> list[GearForecast]:
    """Forecasts at evenly spaced ratios, longest first, as far as the model can drive them.

    Uncertainties are those of the fit alone.
    """
    low, high = max(low, LEAST_RATIO), min(high, MOST_RATIO)
    step = (high - low) / (points - 1)
    options = [GearOption(0, 0, low + i * step) for i in range(points)]
    try:
        gears = ranked(options, track, setup.model_copy(update={"logged_ratios": ()})).gears
    except ValueError:
        return []
    return sorted(gears, key=lambda each: each.final_drive_ratio)
