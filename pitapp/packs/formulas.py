"""Sums for packs, and the names of this room that others call.

The parts stand in `cell.py` (one cell), `care.py` (condition), `safety.py` (the check
before a charge, aircraft) and `plan.py` (the day).
"""

from __future__ import annotations

from pitapp.limits import number, whole
from pitapp.packs.care import (
    CareLimits,
    Verdict,
    age_verdict,
    cell_spread_v,
    pack_verdict,
    resistance_verdict,
    spread_verdict,
)
from pitapp.packs.cell import (
    MODEL_CELL_OHM_AH,
    ChargePhases,
    StorageStep,
    charge_phases,
    charge_time_s,
    open_circuit_cell_v,
    state_of_charge_percent,
    storage_step,
)
from pitapp.packs.conflicts import conflict_sentence
from pitapp.packs.day import (
    ChargePlan,
    Charger,
    Conflict,
    Heat,
    HeatPlan,
    PlanPack,
    PlanRules,
    Remedy,
    Step,
)
from pitapp.packs.plan import plan_charging
from pitapp.packs.safety import (
    AirTravel,
    Refusal,
    air_travel,
    charge_current_a,
    charge_refusals,
)

__all__ = [
    "MODEL_CELL_OHM_AH",
    "AirTravel",
    "CareLimits",
    "ChargePhases",
    "ChargePlan",
    "Charger",
    "Conflict",
    "Heat",
    "HeatPlan",
    "PlanPack",
    "PlanRules",
    "Refusal",
    "Remedy",
    "Step",
    "StorageStep",
    "Verdict",
    "age_verdict",
    "air_travel",
    "cell_spread_v",
    "charge_current_a",
    "charge_phases",
    "charge_refusals",
    "charge_time_s",
    "conflict_sentence",
    "cutoff_v",
    "open_circuit_cell_v",
    "pack_energy_wh",
    "pack_verdict",
    "plan_charging",
    "resistance_verdict",
    "spread_verdict",
    "state_of_charge_percent",
    "storage_step",
]


def pack_energy_wh(capacity_mah: float, nominal_v: float) -> float:
    """Energy on a pack's label: capacity in Ah × nominal voltage.

    Args:
        capacity_mah: 10 to 100 000 mAh.
        nominal_v: of the whole pack, 1 to 80 V.

    Returns:
        The energy in Wh.

    Raises:
        ValueError: a figure is out of range.

    Source: 49 CFR 171.8, "watt-hour": rated capacity in ampere-hours × nominal voltage.

    >>> round(pack_energy_wh(6000, 7.4), 1)
    44.4
    """
    capacity = number(capacity_mah, "capacity", 10, 100_000, unit="mAh")
    return capacity / 1000 * number(nominal_v, "nominal voltage", 1, 80, unit="V")


def cutoff_v(cells: int, per_cell_v: float = 3.2) -> float:
    """Voltage of a pack under load at which to stop: cells × volts per cell.

    Args:
        cells: in series, 1 to 16.
        per_cell_v: 3.0 to 4.0 V (3.2: common practice, no source).

    Returns:
        The voltage in V.

    Raises:
        ValueError: a figure is out of range.

    Source: common practice, no source.

    >>> cutoff_v(2)
    6.4
    """
    count = whole(cells, "number of cells", 1, 16)
    return count * number(per_cell_v, "cut-off per cell", 3.0, 4.0, unit="V")
