"""Which of the forecast's figures stand in Kit, in the class, on a pack or in the last run."""

from __future__ import annotations

from collections.abc import Mapping

from pitapp.drive.inputs import BY_NAME, Known, Source
from pitapp.kit.models import Car, Motor
from pitapp.meetings.models import RaceClass
from pitapp.packs.models import Pack, Reading

Figures = Mapping[str, float | None]
Told = tuple[Source, str, Figures]
SAME_PACK_V = 0.5


def told_by_kit(car: Car, motor: Motor | None) -> list[Told]:
    """What Kit says of the car and its motor."""
    names = ("mass_g", "tyre_diameter_mm", "pack_v", "rev_limit_rpm")
    told: list[Told] = [("from Kit", car.name, {name: getattr(car, name) for name in names})]
    return [*told, ("from Kit", motor.name, motor_figures(motor))] if motor else told


def told_by_class(rules: RaceClass) -> Told:
    """What the rules ask for that the forecast reckons with."""
    asked = {"rev_limit_rpm": rules.rev_limit_rpm, "run_length_s": rules.run_length_s}
    return "from the class", rules.name, asked


def told_by_pack(pack: Pack, reading: Reading | None) -> Told:
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
        "pack_v": pack.shown_nominal_v,
        "capacity_mah": pack.capacity_mah,
        "pack_resistance_mohm": None if total is None else total * 1000.0,
    }


def suits(pack: Pack, car: Car) -> bool:
    """Whether a pack has the voltage that Kit has for the car."""
    return car.pack_v is None or abs(pack.shown_nominal_v - car.pack_v) <= SAME_PACK_V


def swapped(known: Mapping[str, Known], values: Figures) -> dict[str, Known]:
    """Known figures with others in their place; those not given fall back to the typical ones."""
    return dict(known) | {
        name: Known(BY_NAME[name], BY_NAME[name].typical if value is None else value, "from Kit")
        for name, value in values.items()
    }
