"""Sums for packs, and the names of this room that others call.

The parts stand in `cell.py` (one cell), `label.py` (what the label comes to), `health/condition.py`
(condition), `safety.py` (the check before a charge, aircraft) and `solver/plan.py` (the day). The room
itself imports from these, so that the planner is loaded when a plan is made and not before.
"""

from __future__ import annotations

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
from pitapp.packs.health.condition import (
    CareLimits,
    Verdict,
    age_verdict,
    cell_spread_v,
    pack_verdict,
    resistance_verdict,
    spread_verdict,
)
from pitapp.packs.label import cutoff_v, pack_energy_wh
from pitapp.packs.safety import (
    AirTravel,
    Refusal,
    air_travel,
    charge_current_a,
    charge_refusals,
)
from pitapp.packs.solver.conflicts import conflict_sentence
from pitapp.packs.solver.plan import plan_charging
from pitapp.packs.solver.plan_types import (
    ChargePlan,
    Charger,
    Conflict,
    Heat,
    HeatPlan,
    PlanPack,
    PlanRules,
    Remedy,
    Running,
    Step,
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
    "Running",
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
