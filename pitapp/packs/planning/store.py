"""Chargers and the plan of each meeting in the database."""

from __future__ import annotations

import json
import sqlite3
from datetime import datetime

from pitapp.db import records, to_db, undo
from pitapp.packs.models import ChargerRecord, DayPlan, PlanRecord

_PLAN = ", ".join(PlanRecord.model_fields)


def chargers(connection: sqlite3.Connection) -> list[ChargerRecord]:
    """Every charger that was not removed, in the order in which they were written down."""
    return records.listed(connection, ChargerRecord, "chargers", "id")


def chargers_along(connection: sqlite3.Connection) -> list[ChargerRecord]:
    """The chargers that are along."""
    return [each for each in chargers(connection) if not each.at_home]


def first_charger(connection: sqlite3.Connection) -> ChargerRecord | None:
    """The charger that was written down first: what the settings' form begins with. A plan takes `chargers_along`."""
    return next(iter(chargers(connection)), None)


def charger_of(connection: sqlite3.Connection, charger_id: int) -> ChargerRecord:
    """One charger.

    Raises:
        NotThere: there is no such charger.
    """
    missing = "There is no such charger."
    return records.by_id(
        connection, ChargerRecord, "chargers", charger_id, missing=missing, listed=True
    )


def save_charger(
    connection: sqlite3.Connection, item: ChargerRecord, now: datetime
) -> tuple[int, str]:
    """Add a charger (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    return records.save(connection, "chargers", item, f"charger {item.name}", now)


def remove_charger(connection: sqlite3.Connection, item: ChargerRecord, now: datetime) -> str:
    """Take a charger out; returns the undo token."""
    label = f"Removed charger {item.name}"
    return records.remove(connection, "chargers", item.id, label, now)


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
        save_plan_in(connection, item, save_in(connection, own, step), step)
    return step.token


def save_plan_in(
    connection: sqlite3.Connection, item: PlanRecord, charger_id: int, step: undo.Step
) -> None:
    """Keep a plan within the caller's step; `charger_id` is the first charger that it is for."""
    values = {
        "meeting_id": item.meeting_id,
        "charger_id": charger_id,
        "used_mah": item.used_mah,
        "most_full_min": item.most_full_min,
        "cooling_min": item.cooling_min,
        "margin_min": item.margin_min,
        "watched": item.watched,
        "walk_min": item.walk_min,
        "left_out": json.dumps(item.left_out),
        "made_at": to_db(item.made_at),
        "made_from": item.made_from,
        "plan": item.plan.model_dump_json() if item.plan else "",
    }
    stored = plan(connection, item.meeting_id)
    if stored is None:
        step.insert("charge_plans", values)
        return
    step.change("charge_plans", stored.id, values | {"sequence": stored.sequence + 1})


def save_in(connection: sqlite3.Connection, own: ChargerRecord, step: undo.Step) -> int:
    """Keep a charger within the caller's step, whatever it has become meanwhile; returns its id."""
    values = records.columns(own)
    if not own.id:
        return step.insert("chargers", values)
    step.change("chargers", own.id, values, new_version=True)
    return own.id


def _record(row: sqlite3.Row) -> PlanRecord:
    day_plan = DayPlan.model_validate_json(row["plan"]) if row["plan"] else None
    left_out = tuple(json.loads(row["left_out"]))
    return PlanRecord(**(dict(row) | {"plan": day_plan, "left_out": left_out}))
