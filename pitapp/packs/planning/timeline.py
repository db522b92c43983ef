"""The plan as a list of things to do, in the order of time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Literal, NamedTuple

from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import Meeting
from pitapp.packs.late_text import late_text
from pitapp.packs.models import DayPlan, PlannedHeat, PlannedStep
from pitapp.packs.planning.lateness import LatePack

Doing = Literal["charge", "heat", "storage", "stop"]


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
    purpose: Literal["full", "storage"] = "full"


def timeline(
    plan: DayPlan,
    meeting: Meeting,
    now: datetime,
    marks: Mapping[int, str],
    late_packs: Mapping[int, LatePack],
    chargers: Mapping[int, str],
) -> Sequence[Row]:
    """Charges, heats and storage by their beginnings.

    Args:
        plan: what is to be done.
        meeting: whose clock tells the times.
        now: the moment.
        marks: by pack.
        late_packs: by heat.
        chargers: the names of those that are along.
    """
    rows: list[Row] = []
    for step in plan.steps:
        rows.append(_on(step, meeting, now, chargers))
        if step.piece < step.pieces:
            rows.append(_stop(step.ends_at, step, meeting, now))
    for step in plan.running:
        if step.piece > 1 or step.begins_at > now:
            rows.append(_on(step, meeting, now, chargers))
        if step.piece < step.pieces:
            rows.append(_stop(step.ends_at, step, meeting, now))
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
    order = {"stop": 0, "heat": 1, "charge": 2, "storage": 3}
    return sorted(rows, key=lambda row: (row.at, order[row.doing]))


def _on(step: PlannedStep, meeting: Meeting, now: datetime, chargers: Mapping[int, str]) -> Row:
    """A pack goes on a charger, or is put away as it is."""
    where = []
    if len(chargers) > 1 and step.charger_id and (name := chargers.get(step.charger_id)):
        where.append(name)
    if step.output:
        where.append(f"output {step.output}")
    until = clock_text(meeting, step.ends_at)
    way = "charge" if step.amps > 0 else "discharge"
    again = step.piece > 1
    if step.kind == "storage" and step.amps == 0:
        title, detail = "put away as it is", ""
    else:
        to_storage = step.kind == "storage"
        title = f"{way} to storage" if to_storage else "charge"
        title = f"on again: {title}" if again else title
        last = step.piece == step.pieces
        until = f"until {until}" if not last else f"about {until} {'off' if to_storage else 'full'}"
        detail = ", ".join([f"{abs(step.amps):.1f} A", *where, until])
    return Row(
        step.begins_at,
        clock_text(meeting, step.begins_at),
        "storage" if step.kind == "storage" else "charge",
        step.pack_id,
        title,
        detail,
        step.ends_at < now,
        purpose="storage" if step.kind == "storage" else "full",
    )


def _stop(at: datetime, step: PlannedStep, meeting: Meeting, now: datetime) -> Row:
    """A charge is stopped because nobody watches."""
    return Row(
        at,
        clock_text(meeting, at),
        "stop",
        step.pack_id,
        "off: nobody watches",
        "stop the charge, take it off",
        at < now,
        purpose="storage" if step.kind == "storage" else "full",
    )


def _heat_detail(
    heat: PlannedHeat, meeting: Meeting, marks: Mapping[int, str], late_pack: LatePack | None
) -> str:
    """How full the heat's pack will be; where none can be full in time, which could be first."""
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
        when = clock_text(meeting, heat.first_full_at)
        parts.append(f"{mark} full at {when} at the earliest, {after}")
    return "; ".join(parts)


def late_sentence(late_pack: LatePack, meeting: Meeting) -> str:
    """What keeps a heat's pack, in a sentence."""
    return f"{late_pack.heat.title}: {late_pack.mark} {_late_text(late_pack, meeting)}."


def _late_text(late_pack: LatePack, meeting: Meeting) -> str:
    if late_pack.full_at is None:
        return late_pack.why
    when = clock_text(meeting, late_pack.full_at)
    when += "" if late_pack.on_it else " at the earliest"
    return f"{late_pack.why}: full at {when}, {late_pack.after}"
