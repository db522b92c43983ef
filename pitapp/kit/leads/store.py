"""Leads in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import undo
from pitapp.db.by_id import by_id
from pitapp.kit.leads.models import Lead

_LEAD = ", ".join(Lead.model_fields)


def leads(connection: sqlite3.Connection, car_id: int) -> list[Lead]:
    """A car's leads, in the order they were added."""
    rows = connection.execute(
        f"SELECT {_LEAD} FROM leads WHERE car_id = ? AND removed_at IS NULL ORDER BY id",  # noqa: S608
        (car_id,),
    )
    return [Lead(**row) for row in rows]


def lead(connection: sqlite3.Connection, lead_id: int) -> Lead:
    """One entry.

    Raises:
        NotThere: there is no such entry, or it was removed.
    """
    row = by_id(
        connection, "leads", _LEAD, lead_id, missing="Those leads are not on the list.", listed=True
    )
    return Lead(**row)


def save_lead(connection: sqlite3.Connection, item: Lead, now: datetime) -> tuple[int, str]:
    """Add the leads (id 0) or change them; returns their id and the undo token.

    Raises:
        ChangedMeanwhile: they were changed since the form was opened.
    """
    values = item.model_dump(exclude={"id", "version"})
    with undo.step(connection, f"{'Changed' if item.id else 'Added'} {item.name}", now) as step:
        return step.save("leads", item.id, item.version, values), step.token


def remove_lead(connection: sqlite3.Connection, lead_id: int, now: datetime) -> str:
    """Take leads off the list; returns the undo token.

    Raises:
        NotThere: there is no such entry.
    """
    label = f"Removed {lead(connection, lead_id).name}"
    with undo.step(connection, label, now) as step:
        step.remove("leads", lead_id, now)
    return step.token
