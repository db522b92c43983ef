"""Runs in the database."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from datetime import datetime, timedelta
from hashlib import blake2b
from typing import Any, Literal

from pitapp.db import from_db, records, to_db, undo
from pitapp.errors import NotThere
from pitapp.meetings.timetable.store import LATE
from pitapp.packs import store as packs
from pitapp.packs.charging import store as charging
from pitapp.runs.models import Run, RunLine, Snapshot

PAGE = 30
MOST_LATE = timedelta(minutes=30)
"""How long after its time a heat begins at most: our choice."""
KEPT_APART = {"setup", "controller"}
_COLUMNS = tuple(name for name in Run.model_fields if name != "snapshot")
_READ = f"SELECT {', '.join(f'runs.{name}' for name in _COLUMNS)}, runs.snapshot, "
_SELECT = (
    f"{_READ}run_setups.body AS setup "
    "FROM runs LEFT JOIN run_setups ON run_setups.id = runs.setup_id "
)
_WITHOUT_LISTS = f"{_READ}NULL AS setup FROM runs "

_NAMED = {
    "car_name": "coalesce(json_extract(runs.snapshot, '$.car.name'), '')",
    "pack_mark": "json_extract(runs.snapshot, '$.pack.mark')",
    "tyres_name": "json_extract(runs.snapshot, '$.tyres.name')",
    "track_name": "tracks.name",
    "meeting_name": "meetings.name",
    "heat_kind": "heats.kind",
    "heat_number": "heats.number",
}
_LINE_COLUMNS = ", ".join(
    f"{_NAMED[name]} AS {name}" if name in _NAMED else f"runs.{name}"
    for name in RunLine.model_fields
)
_LINES = (
    f"SELECT {_LINE_COLUMNS} FROM runs LEFT JOIN tracks ON tracks.id = runs.track_id "  # noqa: S608
    "LEFT JOIN meetings ON meetings.id = runs.meeting_id "
    "LEFT JOIN heats ON heats.id = runs.heat_id "
)
Filter = Literal[
    "car_id",
    "track_id",
    "race_class_id",
    "meeting_id",
    "heat_id",
    "motor_id",
    "pack_id",
    "tyre_set_id",
]


def runs(
    connection: sqlite3.Connection,
    *,
    car_id: int | None = None,
    track_id: int | None = None,
    race_class_id: int | None = None,
    meeting_id: int | None = None,
    heat_id: int | None = None,
    motor_id: int | None = None,
    pack_id: int | None = None,
    tyre_set_id: int | None = None,
    limit: int = PAGE,
    before: int | None = None,
    with_lists: bool = True,
) -> list[Run]:
    """Runs that match all that is given, newest first, older than the run `before` if given.

    Without the lists of settings (of set-up and controller), which are most of a run, they are read
    in less than half the time; such a run is not to be saved again.
    """
    filters: dict[Filter, int | None] = {
        "car_id": car_id,
        "track_id": track_id,
        "race_class_id": race_class_id,
        "meeting_id": meeting_id,
        "heat_id": heat_id,
        "motor_id": motor_id,
        "pack_id": pack_id,
        "tyre_set_id": tyre_set_id,
    }
    select = _SELECT if with_lists else _WITHOUT_LISTS
    return [_run(row) for row in _page(connection, select, filters, limit, before)]


def last_driven(
    connection: sqlite3.Connection, car_id: int, since: datetime, now: datetime
) -> datetime | None:
    """The latest moment from `since` to now at which the car may have gone out; None: it was not out.

    By its runs, and by the heats of its meetings that no car's run was logged of: those marked done,
    and those overdue. A run that has its start from the timetable may have begun as late as its
    length before it was logged, and a heat half an hour after its time.
    """
    rows = connection.execute(
        "SELECT runs.started_at, runs.run_s, heats.starts_at, heats.done_at "
        "FROM runs LEFT JOIN heats ON heats.id = runs.heat_id "
        "WHERE runs.car_id = ?1 AND runs.removed_at IS NULL "
        "AND min(runs.started_at, coalesce(heats.done_at, runs.started_at)) BETWEEN ?2 AND ?3 "
        "UNION ALL SELECT NULL, NULL, heats.starts_at, heats.done_at "
        "FROM heats JOIN meetings ON meetings.id = heats.meeting_id "
        "WHERE coalesce(meetings.car_id, ?1) = ?1 AND meetings.removed_at IS NULL "
        "AND heats.removed_at IS NULL AND heats.kind <> 'marshal' "
        "AND NOT EXISTS (SELECT 1 FROM runs WHERE heat_id = heats.id AND removed_at IS NULL) "
        "AND (heats.done_at BETWEEN ?2 AND ?3 "
        "OR (heats.done_at IS NULL AND heats.starts_at BETWEEN ?2 AND ?4))",
        (car_id, to_db(since), to_db(now), to_db(now - LATE)),
    )
    return max((_out_at(*row) for row in rows), default=None)


def _out_at(
    started_text: str | None, run_s: float | None, starts_text: str | None, done_text: str | None
) -> datetime:
    if starts_text is None or done_text is None or started_text not in (None, starts_text):
        return from_db(started_text or starts_text or "")
    starts_at, done_at = from_db(starts_text), from_db(done_text)
    latest = min(done_at - timedelta(seconds=run_s or 0), starts_at + MOST_LATE)
    return latest if started_text is None else max(latest, min(starts_at, done_at))


def lines(
    connection: sqlite3.Connection,
    filters: Mapping[Filter, int | None],
    *,
    limit: int = PAGE,
    before: int | None = None,
) -> list[RunLine]:
    """A page of the log: runs that match all of `filters`, newest first, older than `before`."""
    return [RunLine(**row) for row in _page(connection, _LINES, filters, limit, before)]


def line(connection: sqlite3.Connection, run_id: int) -> RunLine:
    """One run as a line of the log.

    Raises:
        NotThere: there is no such run, or it was removed.
    """
    row = connection.execute(
        f"{_LINES} WHERE runs.id = ? AND runs.removed_at IS NULL", (run_id,)
    ).fetchone()
    if row is None:
        raise NotThere("There is no such run in the log.")
    return RunLine(**row)


def _page(
    connection: sqlite3.Connection,
    select: str,
    filters: Mapping[Filter, int | None],
    limit: int,
    before: int | None,
) -> sqlite3.Cursor:
    active = {name: value for name, value in filters.items() if value is not None}
    conditions = ["runs.removed_at IS NULL", *(f"runs.{name} = ?" for name in active)]
    values = list(active.values())
    if before is not None:
        conditions.append(
            "(runs.started_at, runs.id) < (SELECT started_at, id FROM runs WHERE id = ?)"
        )
        values.append(before)
    return connection.execute(
        f"{select} WHERE {' AND '.join(conditions)} "
        "ORDER BY runs.started_at DESC, runs.id DESC LIMIT ?",
        [*values, limit],
    )


def run(connection: sqlite3.Connection, run_id: int) -> Run:
    """One run of the log.

    Raises:
        NotThere: there is no such run, or it was removed.
    """
    row = connection.execute(
        f"{_SELECT} WHERE runs.id = ? AND runs.removed_at IS NULL", (run_id,)
    ).fetchone()
    if row is None:
        raise NotThere("There is no such run in the log.")
    return _run(row)


def run_before(connection: sqlite3.Connection, item: Run) -> Run | None:
    """The run of the same car before this one, or None if it is the car's first."""
    row = connection.execute(
        f"{_SELECT} WHERE runs.removed_at IS NULL AND runs.car_id = ? "
        "AND (runs.started_at, runs.id) < (?, ?) "
        "ORDER BY runs.started_at DESC, runs.id DESC LIMIT 1",
        (item.car_id, to_db(item.started_at), item.id),
    ).fetchone()
    return None if row is None else _run(row)


def best_run(connection: sqlite3.Connection, item: Run) -> Run | None:
    """The quickest other run at the same track in the same class, or None without one."""
    if item.track_id is None:
        return None
    row = connection.execute(
        f"{_SELECT} WHERE runs.removed_at IS NULL AND runs.track_id = ? "
        "AND runs.race_class_id IS ? AND runs.best_lap_s IS NOT NULL AND runs.id != ? "
        "ORDER BY runs.best_lap_s LIMIT 1",
        (item.track_id, item.race_class_id, item.id),
    ).fetchone()
    return None if row is None else _run(row)


def save_run(
    connection: sqlite3.Connection, item: Run, now: datetime, step: undo.Step | None = None
) -> tuple[int, str]:
    """Add the run (id 0) or change it, with the undo step given or one of its own.

    Returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such run.
    """
    if step is not None:
        return _save(connection, item, step), step.token
    with undo.step(connection, "Changed the run" if item.id else "Logged the run", now) as own:
        return _save(connection, item, own), own.token


def _save(connection: sqlite3.Connection, item: Run, step: undo.Step) -> int:
    if item.id:
        run(connection, item.id)
    run_id = step.save("runs", item.id, item.version, _values(connection, item))
    packs.note_run(connection, step, item.car_id, item.pack_id, item.started_at)
    if item.pack_id is not None:
        charging.end_by_run(connection, step, item.pack_id, item.started_at)
    return run_id


def remove_run(connection: sqlite3.Connection, run_id: int, now: datetime) -> str:
    """Take a run out of the log; returns the undo token.

    Raises:
        NotThere: there is no such run, or it was taken out already.
    """
    run(connection, run_id)
    return records.remove(connection, "runs", run_id, "Removed the run", now)


def _values(connection: sqlite3.Connection, item: Run) -> dict[str, Any]:
    lists = _packed(item.snapshot)
    return records.columns(item, "snapshot") | {
        "snapshot": item.snapshot.model_dump_json(exclude=KEPT_APART, exclude_defaults=True),
        "setup_id": _setup_id(connection, lists) if lists else None,
    }


def _packed(snapshot: Snapshot) -> str:
    """Set-up and controller as JSON, or an empty text where there is neither."""
    lists: dict[str, Any] = {}
    if snapshot.setup:
        lists["setup"] = [each.packed for each in snapshot.setup]
    if snapshot.controller:
        lists["controller"] = snapshot.controller.model_dump(exclude_defaults=True)
        lists["controller"]["settings"] = [each.packed for each in snapshot.controller.settings]
    return json.dumps(lists, ensure_ascii=False, separators=(",", ":")) if lists else ""


def _setup_id(connection: sqlite3.Connection, body: str) -> int:
    digest = blake2b(body.encode(), digest_size=16).hexdigest()
    connection.execute(
        "INSERT INTO run_setups (digest, body) VALUES (?, ?) ON CONFLICT DO NOTHING", (digest, body)
    )
    row = connection.execute("SELECT id FROM run_setups WHERE digest = ?", (digest,)).fetchone()
    return int(row["id"])


def _run(row: sqlite3.Row) -> Run:
    values = dict(row)
    lists = values.pop("setup")
    snapshot = json.loads(values.pop("snapshot"))
    if lists:
        snapshot |= json.loads(lists)
    return Run(**values, snapshot=Snapshot(**snapshot))
