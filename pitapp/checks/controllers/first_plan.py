"""The settings that a new controller's form asks for: the six that rules and driving touch most."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pitapp.checks.class_limits import class_limits
from pitapp.checks.lists.plan import PlanField
from pitapp.checks.models import Step
from pitapp.checks.starting_list import NO_ADVANCE, STARTING_LIST
from pitapp.meetings.models import RaceClass

FIRST = {
    "Rev limit": "plan_rev_limit",
    NO_ADVANCE: "plan_no_advance",
    "Throttle response": "plan_throttle_response",
    "Drag brake": "plan_drag_brake",
    "Where braking starts": "plan_brake_start",
    "Brake strength": "plan_brake_strength",
}
"""By the step's name, the name of its field."""


def plan_fields(
    race_class: RaceClass | None, sent: Mapping[str, str] | None = None
) -> list[PlanField]:
    """The fields of these settings, as sent; else with what the class says already."""
    limits = class_limits(race_class)
    fields = []
    for step in STARTING_LIST:
        if step.name not in FIRST:
            continue
        most = limits[step.topic].most if step.topic in limits else None
        known = f"{most:.10g}" if most is not None and step.kind == "number" else ""
        if step.name == NO_ADVANCE and "timing" in limits:
            known = "yes"
        known_step = step.model_copy(update={"planned": known}) if sent is None else step
        fields.append(PlanField(known_step, sent, FIRST[step.name]))
    return fields


def with_plan(fields: Sequence[PlanField]) -> list[Step]:
    """The starting list with what these fields plan."""
    planned = {field.step.name: field.value for field in fields}
    return [
        step.model_copy(update={"planned": planned.get(step.name, "")}) for step in STARTING_LIST
    ]
