"""Charges in the database: prepared, answered step by step, started, ended."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta

from pitapp.db import from_db, records, to_db, undo
from pitapp.errors import NotThere, Refused
from pitapp.packs.models import Charge, Outcome, Purpose
from pitapp.packs.store import pack

_CHARGE = ", ".join(Charge.model_fields)
GOOD_FOR = timedelta(minutes=30)
"""An answer about a pack holds no longer: our choice."""


def charge(connection: sqlite3.Connection, uuid: str) -> Charge:
    """One charge by its uuid, also a removed one.

    Raises:
        NotThere: there is no such charge.
    """
    match = find(connection, uuid)
    if match is None:
        raise NotThere("There is no such charge.")
    return match


def find(connection: sqlite3.Connection, uuid: str) -> Charge | None:
    """The charge of that uuid, or None."""
    row = connection.execute(
        f"SELECT {_CHARGE} FROM pack_charges WHERE uuid = ?",  # noqa: S608
        (uuid,),
    ).fetchone()
    return None if row is None else Charge(**row)


def prepared(
    connection: sqlite3.Connection, pack_id: int, purpose: Purpose, now: datetime
) -> Charge | None:
    """The charge of that pack that is being prepared and was begun a short while ago."""
    row = connection.execute(
        f"SELECT {_CHARGE} FROM pack_charges WHERE pack_id = ? AND purpose = ? "  # noqa: S608
        "AND started_at IS NULL AND removed_at IS NULL AND prepared_at > ? ORDER BY id DESC LIMIT 1",
        (pack_id, purpose, to_db(now - GOOD_FOR)),
    ).fetchone()
    return None if row is None else Charge(**row)


def prepare(
    connection: sqlite3.Connection, uuid: str, pack_id: int, purpose: Purpose, now: datetime
) -> Charge:
    """The charge of that uuid, made if it is not there yet.

    Raises:
        Refused: it is another pack's.
    """
    match = find(connection, uuid)
    if match is None:
        connection.execute(
            "INSERT INTO pack_charges (uuid, pack_id, purpose, prepared_at) VALUES (?, ?, ?, ?)",
            (uuid, pack(connection, pack_id).id, purpose, to_db(now)),
        )
        return charge(connection, uuid)
    if match.pack_id != pack_id:
        raise Refused("That charge is another pack's. Go back to the pack and begin again.")
    return match


def answers(connection: sqlite3.Connection, charge_id: int) -> dict[str, str]:
    """What was answered, by step."""
    rows = connection.execute(
        "SELECT step, shown FROM pack_charge_answers WHERE charge_id = ? ORDER BY id", (charge_id,)
    )
    return {row["step"]: row["shown"] for row in rows}


def oldest_answer(connection: sqlite3.Connection, charge_id: int) -> datetime | None:
    """When the oldest of a charge's answers was given."""
    row = connection.execute(
        "SELECT min(answered_at) FROM pack_charge_answers WHERE charge_id = ?", (charge_id,)
    ).fetchone()
    return from_db(row[0]) if row[0] else None


def answer(
    connection: sqlite3.Connection, item: Charge, step: str, value: str, now: datetime
) -> None:
    """Keep the answer at a step, in place of an earlier one.

    Raises:
        Refused: the charge was started already.
    """
    if item.started_at:
        raise Refused("This charge was started already.")
    connection.execute(
        "INSERT INTO pack_charge_answers (charge_id, step, shown, answered_at) "
        "VALUES (?, ?, ?, ?) ON CONFLICT (charge_id, step) DO UPDATE SET "
        "shown = excluded.shown, answered_at = excluded.answered_at",
        (item.id, step, value, to_db(now)),
    )


def start(connection: sqlite3.Connection, item: Charge, label: str, now: datetime) -> str:
    """Put the charge on record as running, with its figures and due time; returns the undo token."""
    with undo.step(connection, label, now) as step:
        step.record_before("pack_charges", item.id)
        connection.execute(
            "UPDATE pack_charges SET cells_set = ?, current_a = ?, discharging = ?, "
            "start_percent = ?, started_at = ?, due_at = ?, charger_id = ?, "
            "pack_version = (SELECT version FROM packs WHERE packs.id = pack_id) WHERE id = ?",
            (
                item.cells_set,
                item.current_a,
                item.discharging,
                item.start_percent,
                to_db(now),
                to_db(item.due_at or now),
                item.charger_id,
                item.id,
            ),
        )
    return step.token


def extend(connection: sqlite3.Connection, item: Charge, due_at: datetime, now: datetime) -> str:
    """Move the time at which to look again; returns the undo token."""
    with undo.step(connection, "Moved the countdown", now) as step:
        step.change("pack_charges", item.id, {"due_at": to_db(due_at)}, new_version=True)
    return step.token


def finish(
    connection: sqlite3.Connection,
    item: Charge,
    outcome: Outcome,
    moved_mah: float | None,
    now: datetime,
) -> str:
    """End a running charge; one to storage that went well puts the pack away. Returns the undo token."""
    with undo.step(connection, "Ended the charge", now) as step:
        ended = {"ended_at": to_db(now), "outcome": outcome, "moved_mah": moved_mah}
        step.change("pack_charges", item.id, ended)
        if item.purpose == "storage" and outcome == "done":
            step.insert("pack_storages", {"pack_id": item.pack_id, "stored_at": to_db(now)})
    return step.token


def end_by_run(
    connection: sqlite3.Connection, step: undo.Step, pack_id: int, started_at: datetime
) -> None:
    """End, within the caller's step, a charge that a run of its pack shows to be over."""
    for item in running(connection):
        if item.pack_id != pack_id or not item.started_at or item.started_at > started_at:
            continue
        in_time = item.due_at is not None and item.due_at <= started_at
        outcome = "done" if in_time and item.purpose == "full" else "stopped"
        step.change("pack_charges", item.id, {"ended_at": to_db(started_at), "outcome": outcome})


def remove(connection: sqlite3.Connection, item: Charge, now: datetime) -> str:
    """Take a charge out of the history; returns the undo token."""
    return records.remove(connection, "pack_charges", item.id, "Removed a charge", now)


def running(connection: sqlite3.Connection) -> list[Charge]:
    """Every charge that was started and not ended, the next due first."""
    rows = connection.execute(
        f"SELECT {_CHARGE} FROM pack_charges WHERE started_at IS NOT NULL AND ended_at IS NULL "  # noqa: S608
        "AND removed_at IS NULL ORDER BY due_at, id"
    )
    return [Charge(**row) for row in rows]


def charges(
    connection: sqlite3.Connection, pack_id: int, *, limit: int = 50, before: int | None = None
) -> list[Charge]:
    """A pack's started charges, newest first, older than the charge `before` if given."""
    rows = connection.execute(
        f"SELECT {_CHARGE} FROM pack_charges WHERE pack_id = ?1 AND removed_at IS NULL "  # noqa: S608
        "AND started_at IS NOT NULL AND (?2 IS NULL OR (started_at, id) < "
        "(SELECT started_at, id FROM pack_charges WHERE id = ?2)) "
        "ORDER BY started_at DESC, id DESC LIMIT ?3",
        (pack_id, before, limit),
    )
    return [Charge(**row) for row in rows]


def latest_charges(connection: sqlite3.Connection) -> dict[int, Charge]:
    """By pack: the newest charge that was started."""
    columns = ", ".join(f"newest.{name}" for name in Charge.model_fields)
    rows = connection.execute(
        f"SELECT {columns} FROM packs JOIN pack_charges AS newest ON newest.id = ("  # noqa: S608
        "SELECT id FROM pack_charges WHERE pack_id = packs.id AND removed_at IS NULL "
        "AND started_at IS NOT NULL ORDER BY started_at DESC, id DESC LIMIT 1) "
        "WHERE packs.removed_at IS NULL"
    )
    return {row["pack_id"]: Charge(**row) for row in rows}


def last_full(connection: sqlite3.Connection, pack_id: int) -> Charge | None:
    """A pack's newest charge to full that was started and has ended."""
    row = connection.execute(
        f"SELECT {_CHARGE} FROM pack_charges WHERE pack_id = ? AND purpose = 'full' "  # noqa: S608
        "AND started_at IS NOT NULL AND ended_at IS NOT NULL AND removed_at IS NULL "
        "ORDER BY started_at DESC, id DESC LIMIT 1",
        (pack_id,),
    ).fetchone()
    return None if row is None else Charge(**row)


def wrong_at(connection: sqlite3.Connection, pack_id: int) -> datetime | None:
    """When it was last said before a charge that a pack looks or feels wrong, also of a dropped one."""
    row = connection.execute(
        "SELECT max(answered_at) FROM pack_charge_answers "
        "JOIN pack_charges ON pack_charges.id = charge_id "
        "WHERE pack_id = ? AND step IN ('look', 'feel') AND shown = 'no'",
        (pack_id,),
    ).fetchone()
    return from_db(row[0]) if row[0] else None


def full_charges(connection: sqlite3.Connection) -> dict[int, tuple[int, float | None]]:
    """By pack: how many charges to full it had, and what they took on average in mAh."""
    rows = connection.execute(
        "SELECT pack_id, count(*) AS many, avg(moved_mah) AS usual FROM pack_charges "
        "WHERE outcome = 'done' AND purpose = 'full' AND removed_at IS NULL GROUP BY pack_id"
    )
    return {row["pack_id"]: (row["many"], row["usual"]) for row in rows}
