"""Checklists and their steps in the database."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from datetime import datetime

from pitapp.checks.models import Checklist, Step
from pitapp.db import records, undo
from pitapp.errors import NotThere

_LIST = tuple(Checklist.model_fields)
_STEP = tuple(Step.model_fields)


def checklists(connection: sqlite3.Connection) -> list[Checklist]:
    """The checklists that belong to no controller, in the racer's order."""
    rows = connection.execute(
        f"SELECT {', '.join(_LIST)} FROM checklists "  # noqa: S608
        "WHERE removed_at IS NULL AND controller_id IS NULL ORDER BY position, id"
    )
    return [Checklist(**row) for row in rows]


def checklist(connection: sqlite3.Connection, checklist_id: int) -> Checklist:
    """One checklist, also a removed one.

    Raises:
        NotThere: there is no such checklist.
    """
    missing = "There is no such checklist."
    return records.by_id(connection, Checklist, "checklists", checklist_id, missing=missing)


def settings_list(connection: sqlite3.Connection, controller_id: int) -> Checklist:
    """The checklist that holds a controller's settings.

    Raises:
        NotThere: there is no such controller.
    """
    row = connection.execute(
        f"SELECT {', '.join(_LIST)} FROM checklists WHERE controller_id = ?",  # noqa: S608
        (controller_id,),
    ).fetchone()
    if row is None:
        raise NotThere("There is no such controller.")
    return Checklist(**row)


def steps(
    connection: sqlite3.Connection, checklist_id: int, profile_id: int | None = None
) -> list[Step]:
    """A checklist's steps in their order, as that profile plans them; None: as they stand."""
    rows = connection.execute(
        f"SELECT {', '.join(_STEP)} FROM check_steps "  # noqa: S608
        "WHERE checklist_id = ? AND removed_at IS NULL ORDER BY position, id",
        (checklist_id,),
    )
    return _as_planned(connection, [_step(row) for row in rows], profile_id)


def steps_answered(
    connection: sqlite3.Connection, walk_id: int, profile_id: int | None = None
) -> list[Step]:
    """The steps that were answered in a run-through, also those removed since, as that profile plans them."""
    rows = connection.execute(
        f"SELECT {', '.join(f'check_steps.{name}' for name in _STEP)} FROM check_answers "  # noqa: S608
        "JOIN check_steps ON check_steps.id = check_answers.step_id "
        "WHERE walk_id = ? ORDER BY position, check_steps.id",
        (walk_id,),
    )
    return _as_planned(connection, [_step(row) for row in rows], profile_id)


def counts(connection: sqlite3.Connection) -> dict[int, int]:
    """How many steps each list has, by the list's id."""
    rows = connection.execute(
        "SELECT checklist_id, count(*) AS many FROM check_steps WHERE removed_at IS NULL "
        "GROUP BY checklist_id"
    )
    return {row["checklist_id"]: row["many"] for row in rows}


def step(connection: sqlite3.Connection, step_id: int, profile_id: int | None = None) -> Step:
    """One step, also a removed one, as that profile plans it.

    Raises:
        NotThere: there is no such step.
    """
    names, missing = ", ".join(_STEP), "There is no such step."
    row = records.row_by_id(connection, "check_steps", names, step_id, missing=missing)
    return _as_planned(connection, [_step(row)], profile_id)[0]


def _as_planned(
    connection: sqlite3.Connection, listed: list[Step], profile_id: int | None
) -> list[Step]:
    if profile_id is None:
        return listed
    rows = connection.execute(
        "SELECT step_id, planned FROM profile_plans WHERE profile_id = ?", (profile_id,)
    )
    planned = {row["step_id"]: row["planned"] for row in rows}
    return [each.model_copy(update={"planned": planned.get(each.id, "")}) for each in listed]


def add_checklist(
    connection: sqlite3.Connection, item: Checklist, its_steps: Iterable[Step], now: datetime
) -> tuple[int, str]:
    """Add a checklist with its steps in the given order; returns its id and the undo token."""
    with undo.step(connection, f"Added {item.name}", now) as recording:
        new_id = put_checklist(connection, item, its_steps, recording)
    return new_id, recording.token


def put_checklist(
    connection: sqlite3.Connection,
    item: Checklist,
    its_steps: Iterable[Step],
    recording: undo.Step,
) -> int:
    """Add a checklist with its steps within the caller's undo step; returns its id."""
    values = records.columns(item, "position")
    last = connection.execute("SELECT max(position) FROM checklists").fetchone()[0]
    new_id = recording.insert("checklists", values | {"position": (last or 0) + 1})
    for position, each in enumerate(its_steps, start=1):
        positioned = each.model_copy(update={"checklist_id": new_id, "position": position})
        recording.insert("check_steps", records.columns(positioned))
    return new_id


def rename(connection: sqlite3.Connection, item: Checklist, now: datetime) -> str:
    """Change a checklist's name and occasion; returns the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    with undo.step(connection, f"Changed {item.name}", now) as recording:
        values = {"name": item.name, "occasion": item.occasion}
        recording.save("checklists", item.id, item.version, values)
    return recording.token


def save_step(
    connection: sqlite3.Connection, item: Step, now: datetime, profile_id: int | None = None
) -> tuple[int, str]:
    """Add the step (id 0) at the end of its list, or change it; returns its id and the undo token.

    What it plans is that profile's; None: it stands at the step.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    verb = "Changed" if item.id else "Added"
    with undo.step(connection, f"{verb} {item.name}", now) as recording:
        if not item.id:
            last = connection.execute(
                "SELECT max(position) FROM check_steps WHERE checklist_id = ?",
                (item.checklist_id,),
            ).fetchone()[0]
            positioned = item.model_copy(update={"position": (last or 0) + 1})
            values = records.columns(positioned)
            if profile_id is not None:
                values["planned"] = ""
            new_id = recording.insert("check_steps", values)
            if profile_id is not None:
                _put_plan(connection, recording, profile_id, new_id, item.planned)
            return new_id, recording.token
        values = records.columns(item, "position", "checklist_id")
        if profile_id is not None:
            del values["planned"]
            _put_plan(connection, recording, profile_id, item.id, item.planned)
        recording.save("check_steps", item.id, item.version, values)
    return item.id, recording.token


def save_plan(
    connection: sqlite3.Connection,
    plan: Mapping[int, str],
    now: datetime,
    profile_id: int | None = None,
) -> str:
    """Save what is planned at each step, by the step's id, in that profile; returns the undo token."""
    with undo.step(connection, "Changed the plan", now) as recording:
        for step_id, planned in plan.items():
            if profile_id is not None:
                _put_plan(connection, recording, profile_id, step_id, planned)
                continue
            recording.record_before("check_steps", step_id)
            connection.execute(
                "UPDATE check_steps SET planned = ?, version = version + 1 "
                "WHERE id = ? AND planned <> ?",
                (planned, step_id, planned),
            )
    return recording.token


def _put_plan(
    connection: sqlite3.Connection,
    recording: undo.Step,
    profile_id: int,
    step_id: int,
    planned: str,
) -> None:
    row = connection.execute(
        "SELECT id, planned FROM profile_plans WHERE profile_id = ? AND step_id = ?",
        (profile_id, step_id),
    ).fetchone()
    if row is not None and row["planned"] != planned:
        recording.change("profile_plans", row["id"], {"planned": planned})
    elif row is None and planned:
        values = {"profile_id": profile_id, "step_id": step_id, "planned": planned}
        recording.insert("profile_plans", values)


def save_defaults(connection: sqlite3.Connection, read: Mapping[int, str], now: datetime) -> str:
    """Note what the maker sets at each step, by the step's id; returns the undo token."""
    with undo.step(connection, "Noted the maker's defaults", now) as recording:
        for step_id, default in read.items():
            values = {"maker_default": default}
            recording.change("check_steps", step_id, values, new_version=True)
    return recording.token


def place(connection: sqlite3.Connection, item: Step) -> int:
    """The place of a step in its list, from 1; 0 where it is in it no more."""
    order = [each.id for each in steps(connection, item.checklist_id)]
    return order.index(item.id) + 1 if item.id in order else 0


def move_step(connection: sqlite3.Connection, step_id: int, by: int, now: datetime) -> str:
    """Move a step up (−1) or down (+1) in its list; returns the undo token.

    Raises:
        NotThere: there is no such step.
    """
    moved = step(connection, step_id)
    order = [each.id for each in steps(connection, moved.checklist_id)]
    if step_id not in order:
        raise NotThere("There is no such step.")
    place = order.index(step_id)
    order.insert(min(max(place + by, 0), len(order) - 1), order.pop(place))
    with undo.step(connection, f"Moved {moved.name}", now) as recording:
        for position, each_id in enumerate(order, start=1):
            recording.change("check_steps", each_id, {"position": position})
    return recording.token


def remove_step(connection: sqlite3.Connection, step_id: int, now: datetime) -> str:
    """Take a step out of its list; what was answered there stays. Returns the undo token.

    Raises:
        NotThere: there is no such step.
    """
    name = step(connection, step_id).name
    return records.remove(connection, "check_steps", step_id, f"Removed {name}", now)


def remove_checklist(connection: sqlite3.Connection, checklist_id: int, now: datetime) -> str:
    """Take a checklist away; its run-throughs stay on record. Returns the undo token.

    Raises:
        NotThere: there is no such checklist.
    """
    name = checklist(connection, checklist_id).name
    return records.remove(connection, "checklists", checklist_id, f"Removed {name}", now)


def _step(row: sqlite3.Row) -> Step:
    return Step(**dict(row) | {"choices": json.loads(row["choices"])})
