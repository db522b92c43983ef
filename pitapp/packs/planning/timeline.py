"""The plan as a list of things to do, in the order of time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Literal, NamedTuple

from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import Meeting
from pitapp.packs.models import DayPlan, PlannedHeat
from pitapp.packs.planning.lateness import LatePack
from pitapp.packs.solver.conflicts import late_text

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


def timeline(
    plan: DayPlan,
    meeting: Meeting,
    now: datetime,
    marks: Mapping[int, str],
    late_packs: Mapping[int, LatePack],
) -> Sequence[Row]:
    """Charges, heats and storage by their beginnings; `late_packs` by heat, `marks` by pack."""
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
        rows.append(
            Row(
                heat.starts_at,
                clock_text(meeting, heat.starts_at),
                "heat",
                heat.pack_id,
                heat.title,
                _heat_detail(heat, meeting, marks, late_packs.get(heat.heat_id)),
                heat.starts_at < now,
                "" if heat.full and heat.heat_id not in late_packs else "stop",
            )
        )
    order = {"heat": 0, "charge": 1, "storage": 2}
    return sorted(rows, key=lambda row: (row.at, order[row.doing]))


def _heat_detail(
    heat: PlannedHeat, meeting: Meeting, marks: Mapping[int, str], late_pack: LatePack | None
) -> str:
    """How full the heat's pack will be; where none is full in time, which could be first."""
    if late_pack:
        return _late_text(late_pack, meeting)
    if heat.full:
        return "full"
    parts = []
    if heat.pack_id:
        parts.append(f"about {heat.percent:.0f}\u00a0%, {heat.cell_v:.2f} V a cell")
    if heat.first_full_pack_id and heat.first_full_at:
        mark = marks.get(heat.first_full_pack_id, "?")
        after = late_text((heat.first_full_at - heat.starts_at).total_seconds() / 60)
        parts.append(f"{mark} full at {clock_text(meeting, heat.first_full_at)}, {after}")
    return "; ".join(parts)


def late_sentence(late_pack: LatePack, meeting: Meeting) -> str:
    """What keeps a heat's pack, in a sentence."""
    return f"{late_pack.heat.title}: {late_pack.mark} {_late_text(late_pack, meeting)}."


def _late_text(late_pack: LatePack, meeting: Meeting) -> str:
    if late_pack.full_at is None:
        return late_pack.why
    return f"{late_pack.why}: full at {clock_text(meeting, late_pack.full_at)}, {late_pack.after}"
