"""From inputs to the drive model's set-up: units to SI, the motor warm as in a run."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from pitapp.drive.inputs.definitions import InputValue
from pitapp.drive.models import Air, Car, Controller, Motor, Pack, Setup

Model = TypeVar("Model", bound=BaseModel)
BRAKING_HEAT_SHARE = 0.8
"""How much of the heat of the braking current stays in the motor, from memory."""
COLD_C, BEST_LAP_WINDING_C, RUN_WINDING_C = 20.0, 55.0, 70.0
"""Where a motor's resistance is measured; its winding at the best lap, and in a run's mean. From memory."""
_COPPER_K = 234.5


def build_setup(inputs: Mapping[str, InputValue], fitted_ratio: float | None = None) -> Setup:
    """The set-up that known figures make, with nothing learned yet; the motor warm as in a run.

    Raises:
        ValueError: a figure that is missing or outside what the model knows, in a sentence.
    """
    value = {name: figure.value for name, figure in inputs.items()}

    def need(name: str) -> float:
        figure = value[name]
        if figure is None:
            raise ValueError(f"{inputs[name].input.label} is not known yet.")
        return figure

    return _validated(
        Setup,
        car=_validated(
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
        motor=_validated(
            Motor,
            **{name: need(name) for name in ("kv_rpm_per_v", "no_load_current_a")},
            resistance_ohm=warm_ohm(need("resistance_ohm"), RUN_WINDING_C),
            inertia_kg_m2=need("inertia_g_cm2") * 1e-7,
        ),
        pack=_validated(
            Pack,
            voltage_v=need("pack_v"),
            resistance_ohm=need("pack_resistance_mohm") / 1000.0,
            capacity_mah=need("capacity_mah"),
        ),
        controller=_validated(
            Controller,
            resistance_ohm=need("controller_resistance_mohm") / 1000.0,
            rev_limit_rpm=value["rev_limit_rpm"],
            braking_heat_share=BRAKING_HEAT_SHARE,
        ),
        air=_validated(
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


def _validated(model: type[Model], **values: object) -> Model:
    try:
        return model(**values)
    except ValidationError as error:
        raise ValueError(str(error.errors()[0]["msg"]).removeprefix("Value error, ")) from None


def with_changes(part: Model, **values: object) -> Model:
    """A model with some figures changed, checked as a new one.

    Raises:
        ValueError: a figure outside what the model knows, in a sentence.
    """
    return _validated(type(part), **(dict(part) | values))
