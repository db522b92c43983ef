"""Inputs taken from Kit, the class, a pack's label or its last reading."""

from __future__ import annotations

from collections.abc import Mapping

from pitapp.drive.inputs.definitions import BY_NAME, InputValue, Source
from pitapp.kit.models import Car, Motor
from pitapp.meetings.models import RaceClass
from pitapp.motor.formulas import lower_limit
from pitapp.packs.cell import open_circuit_cell_v
from pitapp.packs.models import Pack, Reading

Figures = Mapping[str, float | None]
SourcedInputs = tuple[Source, str, Figures]
SAME_PACK_V = 0.5
HALF_WAY_PERCENT = 80.0
"""Charge left half way through a run, from memory: a run takes about two fifths of a full pack."""
_LABEL_CELL_V = (3.6, 3.85)


def resting_v(cells: int) -> float:
    """Resting voltage of so many charged cells in series half way through a run.

    >>> round(resting_v(2), 2)
    7.99
    """
    return cells * open_circuit_cell_v(HALF_WAY_PERCENT)


def resting_v_of_label(label_v: float) -> float:
    """The same from the voltage on a label; a voltage that no label has is taken as measured.

    >>> round(resting_v_of_label(7.4), 2), resting_v_of_label(8.1)
    (7.99, 8.1)
    """
    cells = max(1, round(label_v / 3.7))
    low, high = _LABEL_CELL_V
    return resting_v(cells) if low <= label_v / cells <= high else label_v


def kit_inputs(car: Car, motor: Motor | None) -> list[SourcedInputs]:
    """What Kit says of the car and its motor."""
    names = ("mass_g", "tyre_diameter_mm", "pack_v", "rev_limit_rpm")
    figures: dict[str, float | None] = {name: getattr(car, name) for name in names}
    if car.pack_v is not None:
        figures["pack_v"] = resting_v_of_label(car.pack_v)
    inputs: list[SourcedInputs] = [("from Kit", car.name, figures)]
    return [*inputs, ("from Kit", motor.name, motor_figures(motor))] if motor else inputs


def class_inputs(rules: RaceClass, car: Car | None = None) -> SourcedInputs:
    """What the rules ask for that the forecast reckons with; a lower rev limit of the car's own holds."""
    limit = rules.rev_limit_rpm
    if limit != lower_limit(limit, car.rev_limit_rpm if car else None):
        limit = None
    asked = {"rev_limit_rpm": limit, "run_length_s": rules.run_length_s}
    return "from the class", rules.name, asked


def class_car_inputs(rules: RaceClass) -> SourcedInputs:
    """What the rules say of a car that has no weight or voltage of its own."""
    cells = rules.cells_series
    volts = None if cells is None else resting_v(cells)
    return "from the class", rules.name, {"mass_g": rules.least_mass_g, "pack_v": volts}


def pack_inputs(pack: Pack, reading: Reading | None) -> SourcedInputs:
    """What the pack's label says, and its resistance as it was last read."""
    return "from the pack", pack.mark, pack_figures(pack, reading)


def motor_figures(motor: Motor) -> Figures:
    """A motor's figures."""
    names = ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a")
    return {name: getattr(motor, name) for name in names}


def pack_figures(pack: Pack, reading: Reading | None) -> Figures:
    """A pack's figures; its resistance is that of its cells in series, by a reading or when new."""
    total = None
    if reading and len(reading.cell_ohm) == pack.cells_series:
        total = sum(reading.cell_ohm)
    elif pack.resistance_new_ohm is not None:
        total = pack.resistance_new_ohm * pack.cells_series
    return {
        "pack_v": resting_v(pack.cells_series),
        "capacity_mah": pack.capacity_mah,
        "pack_resistance_mohm": None if total is None else total * 1000.0,
    }


def suits(pack: Pack, car: Car) -> bool:
    """Whether a pack has the voltage that Kit has for the car."""
    return car.pack_v is None or abs(pack.shown_nominal_v - car.pack_v) <= SAME_PACK_V


def override(inputs: Mapping[str, InputValue], values: Figures) -> dict[str, InputValue]:
    """Known figures with others in their place; those not given fall back to the typical ones."""
    return dict(inputs) | {
        name: InputValue(
            BY_NAME[name], BY_NAME[name].typical if value is None else value, "from Kit"
        )
        for name, value in values.items()
    }
