"""Run-throughs and their answers in the database.

The checklists themselves are kept in `lists.store`, the controllers in `controllers.store`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from pitapp.checks.models import Answer, ChecklistRun, Scope, Step
from pitapp.db import records, to_db, undo
from pitapp.db.pages import newest
from pitapp.errors import NotThere

MOST_IN_PART = 50
"""Run-throughs of some of the settings that are looked back on, where the whole list never was."""
_WALK = ", ".join(f"check_walks.{name}" for name in ChecklistRun.model_fields)
_ANSWER = ", ".join(f"check_answers.{name}" for name in Answer.model_fields)


def checklist_run(connection: sqlite3.Connection, uuid: str) -> ChecklistRun:
    """The run-through with that uuid.

    Raises:
        NotThere: there is none, or it was taken away.
    """
    match = find_run(connection, uuid)
    if match is None:
        raise NotThere("There is no such run-through. It may have been removed.")
    return match


def find_run(connection: sqlite3.Connection, uuid: str) -> ChecklistRun | None:
    """The run-through with that uuid, if it was begun and not taken away."""
    row = connection.execute(
        f"SELECT {_WALK} FROM check_walks WHERE uuid = ? AND removed_at IS NULL",  # noqa: S608
        (uuid,),
    ).fetchone()
    return None if row is None else ChecklistRun(**row)


def begin(connection: sqlite3.Connection, new: ChecklistRun) -> ChecklistRun:
    """Begin the run-through, or return it as it is if its uuid was begun before.

    Raises:
        NotThere: it was begun once and taken away.
    """
    values = records.columns(new)
    connection.execute(
        f"INSERT INTO check_walks ({', '.join(values)}) "  # noqa: S608
        f"VALUES ({', '.join('?' * len(values))}) ON CONFLICT (uuid) DO NOTHING",
        list(values.values()),
    )
    return checklist_run(connection, new.uuid)


def open_run(
    connection: sqlite3.Connection,
    checklist_id: int,
    *,
    car_id: int | None,
    since: datetime,
    scope: Scope | None = None,
) -> ChecklistRun | None:
    """The newest run-through of that list for that car that was left half-way; None: of any scope."""
    row = connection.execute(
        f"SELECT {_WALK} FROM check_walks WHERE checklist_id = ?1 AND started_at >= ?2 "  # noqa: S608
        "AND car_id IS ?3 AND (?4 IS NULL OR scope = ?4) AND ended_at IS NULL AND removed_at IS NULL "
        "ORDER BY started_at DESC, id DESC LIMIT 1",
        (checklist_id, to_db(since), car_id, scope),
    ).fetchone()
    return None if row is None else ChecklistRun(**row)


def settings_runs(connection: sqlite3.Connection, car_id: int) -> list[ChecklistRun]:
    """The ended run-throughs of a controller's settings in this car, newest first, back to the last of
    the whole list; those of another controller or profile than the newest are left out."""
    ended = (
        "FROM check_walks WHERE car_id = ?1 AND controller_id IS NOT NULL "
        "AND ended_at IS NOT NULL AND removed_at IS NULL"
    )
    rows = connection.execute(
        f"SELECT {_WALK} {ended} AND started_at >= coalesce("
        f"(SELECT max(started_at) {ended} AND scope = 'all'), '') "
        "ORDER BY started_at DESC, id DESC LIMIT ?2",
        (car_id, MOST_IN_PART),
    )
    walks = [ChecklistRun(**row) for row in rows]
    return [
        each
        for each in walks
        if (each.controller_id, each.profile_id) == (walks[0].controller_id, walks[0].profile_id)
    ]


def latest_runs(
    connection: sqlite3.Connection, checklist_ids: Iterable[int], car_id: int | None
) -> dict[int, ChecklistRun]:
    """The newest run-through of each list for that car, ended or not."""
    ids = list(checklist_ids)
    rows = connection.execute(
        f"SELECT {_WALK} FROM checklists JOIN check_walks ON check_walks.id = "  # noqa: S608
        "(SELECT id FROM check_walks AS newest WHERE newest.checklist_id = checklists.id "
        "AND newest.car_id IS ? AND newest.removed_at IS NULL "
        "ORDER BY newest.started_at DESC, newest.id DESC LIMIT 1) "
        f"WHERE checklists.id IN ({', '.join('?' * len(ids))})",
        (car_id, *ids),
    )
    return {each.checklist_id: each for each in (ChecklistRun(**row) for row in rows)}


def past(
    connection: sqlite3.Connection,
    checklist_id: int,
    *,
    limit: int = 50,
    before_id: int | None = None,
) -> list[ChecklistRun]:
    """A page of a list's run-throughs, newest first, older than the one `before_id` if given."""
    return newest(
        connection,
        ChecklistRun,
        "check_walks",
        "started_at",
        checklist_id=checklist_id,
        limit=limit,
        before=before_id,
    )


def answers(connection: sqlite3.Connection, walk_id: int) -> list[Answer]:
    """Everything answered in a run-through."""
    rows = connection.execute(
        f"SELECT {_ANSWER} FROM check_answers WHERE walk_id = ? ORDER BY id",  # noqa: S608
        (walk_id,),
    )
    return [Answer(**row) for row in rows]


def last_shown(connection: sqlite3.Connection, of: ChecklistRun, step: Step) -> Answer | None:
    """The last reading at this step, of the same controller and profile, else of the same car."""
    row = connection.execute(
        f"SELECT {_ANSWER} FROM check_answers "  # noqa: S608
        "JOIN check_walks ON check_walks.id = check_answers.walk_id "
        "WHERE step_id = ?1 AND walk_id <> ?2 AND NOT skipped AND answered_at IS NOT NULL "
        "AND check_walks.removed_at IS NULL AND check_walks.controller_id IS ?3 "
        "AND (?3 IS NOT NULL OR check_walks.car_id IS ?4) AND check_walks.profile_id IS ?5 "
        "ORDER BY answered_at DESC, check_answers.id DESC LIMIT 1",
        (step.id, of.id, of.controller_id, of.car_id, of.profile_id),
    ).fetchone()
    return None if row is None else Answer(**row)


def put_answer(
    connection: sqlite3.Connection, item: Answer, ended_at: datetime | None, now: datetime
) -> str | None:
    """Save the answer at its step, and when the run-through was ended by it (None: it goes on).

    Returns:
        The undo token where an earlier answer was replaced, else None.
    """
    stored = connection.execute(
        "SELECT id, answered_at FROM check_answers WHERE walk_id = ? AND step_id = ?",
        (item.walk_id, item.step_id),
    ).fetchone()
    if stored is None or stored["answered_at"] is None:
        _put(connection, item, ended_at)
        return None
    with undo.step(connection, "Changed what was read", now) as recording:
        recording.record_before("check_walks", item.walk_id)
        recording.record_before("check_answers", stored["id"])
        _put(connection, item, ended_at)
    return recording.token


def _put(connection: sqlite3.Connection, item: Answer, ended_at: datetime | None) -> None:
    values = records.columns(item)
    connection.execute(
        f"INSERT INTO check_answers ({', '.join(values)}) "  # noqa: S608
        f"VALUES ({', '.join('?' * len(values))}) ON CONFLICT (walk_id, step_id) DO UPDATE SET "
        f"{', '.join(f'{name} = excluded.{name}' for name in values)}",
        list(values.values()),
    )
    connection.execute(
        "UPDATE check_walks SET ended_at = ? WHERE id = ?",
        (to_db(ended_at) if ended_at else None, item.walk_id),
    )


def ended(now: datetime) -> dict[str, str]:
    """The columns of a run-through that is over."""
    return {"ended_at": to_db(now)}


def open_after_heat(
    connection: sqlite3.Connection, car_id: int, since: datetime
) -> ChecklistRun | None:
    """The newest open run-through of this car by a list for straight after a heat."""
    row = connection.execute(
        f"SELECT {_WALK} FROM check_walks "  # noqa: S608
        "JOIN checklists ON checklists.id = check_walks.checklist_id "
        "WHERE checklists.occasion = 'after' AND check_walks.car_id = ? "
        "AND check_walks.started_at >= ? AND check_walks.ended_at IS NULL "
        "AND check_walks.removed_at IS NULL "
        "ORDER BY check_walks.started_at DESC, check_walks.id DESC LIMIT 1",
        (car_id, to_db(since)),
    ).fetchone()
    return None if row is None else ChecklistRun(**row)


def readings_after_heat(
    connection: sqlite3.Connection, car_id: int, keys: Iterable[str], since: datetime
) -> dict[str, Answer]:
    """The newest readings of this car by lists for straight after a heat, by their key."""
    wanted_keys = list(keys)
    rows = connection.execute(
        f"SELECT {_ANSWER} FROM check_answers "  # noqa: S608
        "JOIN check_walks ON check_walks.id = check_answers.walk_id "
        "JOIN checklists ON checklists.id = check_walks.checklist_id "
        "WHERE checklists.occasion = 'after' AND check_walks.car_id = ? "
        "AND check_walks.started_at >= ? AND check_walks.removed_at IS NULL "
        f"AND check_answers.key IN ({', '.join('?' * len(wanted_keys))}) "
        "AND NOT check_answers.skipped AND check_answers.answered_at IS NOT NULL "
        "ORDER BY check_answers.answered_at, check_answers.id",
        (car_id, to_db(since), *wanted_keys),
    )
    return {each.key: each for each in (Answer(**row) for row in rows)}


def answers_alike(
    connection: sqlite3.Connection, walk: ChecklistRun, since: datetime
) -> dict[int, Answer]:
    """What was read since then with all in the car as in this run-through, the newest by step id.

    Nothing from before a reset (in whichever profile: it clears them all), or from before a
    run-through of the list was dropped.
    """
    alike = (
        "check_walks.checklist_id = :checklist_id AND check_walks.car_id IS :car_id "
        "AND check_walks.controller_id IS :controller_id AND check_walks.profile_id IS :profile_id"
    )
    rows = connection.execute(
        f"SELECT {_ANSWER} FROM check_answers "  # noqa: S608
        "JOIN check_walks ON check_walks.id = check_answers.walk_id "
        f"WHERE {alike} AND check_walks.motor_id IS :motor_id "
        "AND check_walks.race_class_id IS :race_class_id AND check_walks.firmware = :firmware "
        "AND check_walks.id <> :id AND check_walks.removed_at IS NULL AND NOT skipped "
        "AND answered_at >= max(:since, coalesce((SELECT max(coalesce(removed_at, started_at)) "
        "FROM check_walks WHERE (checklist_id = :checklist_id AND scope = 'reset') "
        f"OR ({alike} AND removed_at IS NOT NULL)), '')) "
        "ORDER BY answered_at, check_answers.id",
        walk.model_dump(exclude={"started_at", "ended_at"}) | {"since": to_db(since)},
    )
    return {each.step_id: each for each in (Answer(**row) for row in rows)}


def remove_run(connection: sqlite3.Connection, item: ChecklistRun, now: datetime) -> str:
    """Take a run-through off the record; returns the undo token."""
    return records.remove(connection, "check_walks", item.id, "Removed the run-through", now)


def latest_readings(
    connection: sqlite3.Connection,
    car_id: int,
    keys: Iterable[str],
    controller_id: int | None,
    motor_id: int | None,
    profile_id: int | None = None,
) -> dict[str, Answer]:
    """The newest reading of this car under each key, from whichever list it was taken by.

    Settings count only when read off this controller in this profile, and a motor's timing off this
    motor.
    """
    wanted_keys: list[Any] = list(keys)
    if not wanted_keys:
        return {}
    rows = connection.execute(
        f"WITH wanted (key) AS (VALUES {', '.join(['(?)'] * len(wanted_keys))}) "  # noqa: S608
        f"SELECT {_ANSWER} FROM wanted JOIN check_answers ON check_answers.id = "
        "(SELECT newest.id FROM check_answers AS newest "
        "JOIN check_walks ON check_walks.id = newest.walk_id WHERE newest.key = wanted.key "
        "AND check_walks.car_id = ? AND check_walks.removed_at IS NULL "
        "AND (check_walks.controller_id IS NULL "
        "OR (check_walks.controller_id IS ? AND check_walks.profile_id IS ?)) "
        "AND (newest.key <> 'motor_timing' OR check_walks.motor_id IS ?) "
        "AND NOT newest.skipped AND newest.answered_at IS NOT NULL "
        "ORDER BY newest.answered_at DESC, newest.id DESC LIMIT 1)",
        [*wanted_keys, car_id, controller_id, profile_id, motor_id],
    )
    return {each.key: each for each in (Answer(**row) for row in rows)}
