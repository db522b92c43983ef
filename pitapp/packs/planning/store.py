"""Chargers and the plan of each meeting in the database."""

from __future__ import annotations

import json
import sqlite3
from datetime import datetime

from pitapp.db import to_db, undo
from pitapp.packs.models import ChargerRecord, DayPlan, PlanRecord
from pitapp.packs.store import insert

_CHARGER = ", ".join(ChargerRecord.model_fields)
_PLAN = ", ".join(PlanRecord.model_fields)


def charger(connection: sqlite3.Connection) -> ChargerRecord | None:
    """The charger that is along: the one that was written down last."""
    row = connection.execute(
        f"SELECT {_CHARGER} FROM chargers WHERE removed_at IS NULL ORDER BY id DESC LIMIT 1"  # noqa: S608
    ).fetchone()
    return None if row is None else ChargerRecord(**row)


def plan(connection: sqlite3.Connection, meeting_id: int) -> PlanRecord | None:
    """The plan of that meeting, if one was made."""
    row = connection.execute(
        f"SELECT {_PLAN} FROM charge_plans WHERE meeting_id = ?",  # noqa: S608
        (meeting_id,),
    ).fetchone()
    return None if row is None else _record(row)


def last_plan(connection: sqlite3.Connection) -> PlanRecord | None:
    """The plan made last, of whichever meeting: what to begin the next one with."""
    row = connection.execute(
        f"SELECT {_PLAN} FROM charge_plans ORDER BY made_at DESC, id DESC LIMIT 1"  # noqa: S608
    ).fetchone()
    return None if row is None else _record(row)


def save(
    connection: sqlite3.Connection, item: PlanRecord, own: ChargerRecord, label: str, now: datetime
) -> str:
    """Keep a plan and the charger that it is for; returns the undo token."""
    with undo.step(connection, label, now) as step:
        _save(connection, item, own, step)
    return step.token


def _save(
    connection: sqlite3.Connection, item: PlanRecord, own: ChargerRecord, step: undo.Step
) -> None:
    charger_id = _save_charger(connection, own, step)
    values = {
        "meeting_id": item.meeting_id,
        "charger_id": charger_id,
        "used_mah": item.used_mah,
        "most_full_min": item.most_full_min,
        "cooling_min": item.cooling_min,
        "margin_min": item.margin_min,
        "left_out": json.dumps(item.left_out),
        "made_at": to_db(item.made_at),
        "made_from": item.made_from,
        "plan": item.plan.model_dump_json() if item.plan else "",
    }
    stored = plan(connection, item.meeting_id)
    if stored is None:
        step.record_insert("charge_plans", insert(connection, "charge_plans", values))
        return
    step.record_before("charge_plans", stored.id)
    connection.execute(
        f"UPDATE charge_plans SET {', '.join(f'{name} = ?' for name in values)} WHERE id = ?",  # noqa: S608
        [*values.values(), stored.id],
    )


def _save_charger(connection: sqlite3.Connection, own: ChargerRecord, step: undo.Step) -> int:
    values = own.model_dump(exclude={"id", "version"})
    if not own.id:
        charger_id = insert(connection, "chargers", values)
        step.record_insert("chargers", charger_id)
        return charger_id
    step.record_before("chargers", own.id)
    connection.execute(
        f"UPDATE chargers SET {', '.join(f'{name} = ?' for name in values)}, "  # noqa: S608
        "version = version + 1 WHERE id = ?",
        [*values.values(), own.id],
    )
    return own.id


def _record(row: sqlite3.Row) -> PlanRecord:
    day_plan = DayPlan.model_validate_json(row["plan"]) if row["plan"] else None
    left_out = tuple(json.loads(row["left_out"]))
    return PlanRecord(**(dict(row) | {"plan": day_plan, "left_out": left_out}))
