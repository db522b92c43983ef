"""Leads in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import records
from pitapp.kit.leads.models import Lead


def leads(connection: sqlite3.Connection, car_id: int) -> list[Lead]:
    """A car's leads, in the order they were added."""
    return records.listed(connection, Lead, "leads", "id", car_id=car_id)


def lead(connection: sqlite3.Connection, lead_id: int) -> Lead:
    """One entry.

    Raises:
        NotThere: there is no such entry, or it was removed.
    """
    missing = "Those leads are not on the list."
    return records.by_id(connection, Lead, "leads", lead_id, missing=missing, listed=True)


def save_lead(connection: sqlite3.Connection, item: Lead, now: datetime) -> tuple[int, str]:
    """Add the leads (id 0) or change them; returns their id and the undo token.

    Raises:
        ChangedMeanwhile: they were changed since the form was opened.
    """
    return records.save(connection, "leads", item, item.name, now)


def remove_lead(connection: sqlite3.Connection, lead_id: int, now: datetime) -> str:
    """Take leads off the list; returns the undo token.

    Raises:
        NotThere: there is no such entry.
    """
    label = f"Removed {lead(connection, lead_id).name}"
    return records.remove(connection, "leads", lead_id, label, now)
