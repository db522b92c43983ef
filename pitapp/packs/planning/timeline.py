"""The plan as a list of things to do, in the order of time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Literal, NamedTuple

from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import Meeting
from pitapp.packs.models import DayPlan

Doing = Literal["charge", "heat", "storage"]


class Row(NamedTuple):
    """One line: when, what, which pack, and until when."""

    at: datetime
    clock: str
    doing: Doing
    pack_id: int | None
    title: str
    detail: str
    past: bool
    level: Literal["", "stop"] = ""


def timeline(plan: DayPlan, meeting: Meeting, now: datetime) -> Sequence[Row]:
    """Charges, heats and storage by their beginnings."""
    rows: list[Row] = []
    for step in plan.steps:
        put_away = step.kind == "storage" and step.amps == 0
        way = "charge" if step.amps > 0 else "discharge"
        amps = f"{abs(step.amps):.1f} A"
        output = f", output {step.output}" if step.output else ""
        until = clock_text(meeting, step.ends_at)
        if put_away:
            title, detail = "put away as it is", ""
        elif step.kind == "storage":
            title, detail = f"{way} to storage", f"{amps}{output}, about {until} off"
        else:
            title, detail = "charge", f"{amps}{output}, about {until} full"
        rows.append(
            Row(
                step.begins_at,
                clock_text(meeting, step.begins_at),
                "storage" if step.kind == "storage" else "charge",
                step.pack_id,
                title,
                detail,
                step.ends_at < now,
            )
        )
    for heat in plan.heats:
        detail = "full" if heat.full else f"about {heat.percent:.0f} %, {heat.cell_v:.2f} V a cell"
        rows.append(
            Row(
                heat.starts_at,
                clock_text(meeting, heat.starts_at),
                "heat",
                heat.pack_id,
                heat.title,
                detail if heat.pack_id else "",
                heat.starts_at < now,
                "" if heat.full else "stop",
            )
        )
    order = {"heat": 0, "charge": 1, "storage": 2}
    return sorted(rows, key=lambda row: (row.at, order[row.doing]))
