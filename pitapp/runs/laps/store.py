"""The laps of runs in the database: one column of the run, beside what the run itself has."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from datetime import datetime

from pitapp.db import undo
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.runs import store as runs
from pitapp.runs.laps.formulas import packed_laps, unpacked_laps
from pitapp.runs.models import Run


def packed(connection: sqlite3.Connection, run_id: int) -> str:
    """The column of a run's laps as it is; empty without laps.

    Raises:
        NotThere: there is no such run, or it was removed.
    """
    row = connection.execute(
        "SELECT lap_times FROM runs WHERE id = ? AND removed_at IS NULL", (run_id,)
    ).fetchone()
    if row is None:
        raise NotThere("There is no such run in the log.")
    return str(row["lap_times"] or "")


def laps(connection: sqlite3.Connection, run_id: int) -> tuple[float, ...]:
    """A run's laps in s, in driven order; none where there are none on record.

    Raises:
        NotThere: there is no such run, or it was removed.
    """
    text = packed(connection, run_id)
    return unpacked_laps(text) if text else ()


def laps_by_run(
    connection: sqlite3.Connection, run_ids: Iterable[int]
) -> dict[int, tuple[float, ...]]:
    """The laps in s of those of the runs that have any."""
    rows = connection.execute(
        "SELECT id, lap_times FROM runs WHERE lap_times IS NOT NULL AND removed_at IS NULL "
        "AND id IN (SELECT value FROM json_each(?))",
        (json.dumps(list(run_ids)),),
    )
    return {row["id"]: unpacked_laps(row["lap_times"]) for row in rows}


def save_laps(
    connection: sqlite3.Connection,
    run_id: int,
    laps_s: Sequence[float],
    now: datetime,
    *,
    earlier: str = "",
) -> str:
    """Keep the laps with the run, and fill its best lap and number of laps where they are empty.

    Args:
        earlier: the column as it is to be replaced; empty where the run had no laps yet.

    Returns:
        The undo token.

    Raises:
        ChangedMeanwhile: the run has other laps by now.
        NotThere: there is no such run.
        ValueError: no laps, too many, or an impossible time.
    """
    item, text = runs.run(connection, run_id), packed_laps(laps_s)
    if packed(connection, run_id) not in (earlier, text):
        raise ChangedMeanwhile("This run has other laps by now. Save again to replace them.")
    with undo.step(connection, "Saved the laps", now) as step:
        step.save("runs", run_id, item.version, _values(item, laps_s))
    return step.token


def add_laps(
    connection: sqlite3.Connection, step: undo.Step, run_id: int, laps_s: Sequence[float]
) -> None:
    """Give laps to a run that was made in the same step.

    Raises:
        NotThere: there is no such run.
        ValueError: no laps, too many, or an impossible time.
    """
    step.change("runs", run_id, _values(runs.run(connection, run_id), laps_s))


def _values(item: Run, laps_s: Sequence[float]) -> dict[str, str | float | int]:
    values: dict[str, str | float | int] = {"lap_times": packed_laps(laps_s)}
    if item.best_lap_s is None:
        values["best_lap_s"] = min(laps_s)
    if item.laps is None:
        values["laps"] = len(laps_s)
    return values


def remove_laps(connection: sqlite3.Connection, run_id: int, now: datetime) -> str:
    """Take the laps away; the run's best lap and number of laps stay. Returns the undo token.

    Raises:
        NotThere: there is no such run.
    """
    item = runs.run(connection, run_id)
    with undo.step(connection, "Removed the laps", now) as step:
        step.save("runs", run_id, item.version, {"lap_times": None})
    return step.token


def runs_with_laps(
    connection: sqlite3.Connection, *, limit: int = runs.PAGE, track_id: int | None = None
) -> list[Run]:
    """The newest runs that have laps, at that track where one is given."""
    rows = connection.execute(
        "SELECT id FROM runs WHERE removed_at IS NULL AND lap_times IS NOT NULL "
        "AND (? IS NULL OR track_id = ?) ORDER BY started_at DESC, id DESC LIMIT ?",
        (track_id, track_id, limit),
    )
    return [runs.run(connection, row["id"]) for row in rows]
