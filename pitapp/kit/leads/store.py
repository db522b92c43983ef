"""Leads in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import stamp, undo
from pitapp.errors import ChangedMeanwhile, NotThere
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
    row = connection.execute(
        f"SELECT {_LEAD} FROM leads WHERE id = ? AND removed_at IS NULL",  # noqa: S608
        (lead_id,),
    ).fetchone()
    if row is None:
        raise NotThere("Those leads are not on the list.")
    return Lead(**row)


def save_lead(connection: sqlite3.Connection, item: Lead, now: datetime) -> tuple[int, str]:
    """Add the leads (id 0) or change them; returns their id and the undo token.

    Raises:
        ChangedMeanwhile: they were changed since the form was opened.
    """
    values = item.model_dump(exclude={"id", "version"})
    with undo.step(connection, f"{'Changed' if item.id else 'Added'} {item.name}", now) as step:
        if not item.id:
            made = connection.execute(
                f"INSERT INTO leads ({', '.join(values)}) "  # noqa: S608
                f"VALUES ({', '.join('?' * len(values))})",
                list(values.values()),
            )
            new_id = int(made.lastrowid or 0)
            step.made("leads", new_id)
            return new_id, step.token
        step.touch("leads", item.id)
        changed = connection.execute(
            f"UPDATE leads SET {', '.join(f'{name} = ?' for name in values)}, "  # noqa: S608
            "version = version + 1 WHERE id = ? AND version = ? AND removed_at IS NULL",
            [*values.values(), item.id, item.version],
        )
        if not changed.rowcount:
            raise ChangedMeanwhile(
                "This was changed on another screen since you opened it. Your entries are still "
                "here: compare, then save again."
            )
        return item.id, step.token


def remove_lead(connection: sqlite3.Connection, lead_id: int, now: datetime) -> str:
    """Take leads off the list; returns the undo token.

    Raises:
        NotThere: there is no such entry.
    """
    label = f"Removed {lead(connection, lead_id).name}"
    with undo.step(connection, label, now) as step:
        step.touch("leads", lead_id)
        connection.execute("UPDATE leads SET removed_at = ? WHERE id = ?", (stamp(now), lead_id))
    return step.token
