"""Classes and their limits in the database."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import date, datetime

from pitapp.db import records, undo
from pitapp.meetings.models import ClassLimit, Meeting, RaceClass

_COLUMNS = [name for name in RaceClass.model_fields if name != "limits"]
_CLASS = ", ".join(_COLUMNS)
_LIMIT = ", ".join(ClassLimit.model_fields)


def race_classes(connection: sqlite3.Connection) -> list[RaceClass]:
    """Every class that was not removed, by name."""
    rows = connection.execute(
        f"SELECT {_CLASS} FROM race_classes WHERE removed_at IS NULL "  # noqa: S608
        "ORDER BY name COLLATE NOCASE, id"
    ).fetchall()
    limits: dict[int, list[ClassLimit]] = {}
    for row in connection.execute(
        f"SELECT race_class_id, {_LIMIT} FROM class_limits ORDER BY position, id"  # noqa: S608
    ):
        values = dict(row)
        limits.setdefault(values.pop("race_class_id"), []).append(ClassLimit(**values))
    return [RaceClass(**row, limits=tuple(limits.get(row["id"], ()))) for row in rows]


def race_class(connection: sqlite3.Connection, race_class_id: int) -> RaceClass:
    """One class, also a removed one.

    Raises:
        NotThere: there is no such class.
    """
    missing = "There is no such class."
    row = records.row_by_id(connection, "race_classes", _CLASS, race_class_id, missing=missing)
    return RaceClass(**row, limits=_limits(connection, race_class_id))


def latest_class(
    connection: sqlite3.Connection, car_id: int | None = None, day: date | None = None
) -> RaceClass | None:
    """The class raced last, up to that day if one is given; else one ahead; else the one added last.

    For a car its own runs and meetings count, and meetings for no car in particular; a class that
    only other cars have been entered in is not its class.
    """
    row = connection.execute(
        "WITH raced AS (SELECT race_class_id, day, 1 AS planned, id FROM meetings "  # noqa: S608
        "WHERE removed_at IS NULL AND (?1 IS NULL OR car_id IS NULL OR car_id = ?1) "
        "UNION ALL SELECT * FROM (SELECT race_class_id, substr(started_at, 1, 10), 0, runs.id "
        "FROM runs JOIN race_classes c ON c.id = race_class_id AND c.removed_at IS NULL "
        "WHERE runs.removed_at IS NULL AND car_id = ?1 ORDER BY started_at DESC LIMIT 1)) "
        f"SELECT {', '.join(f'c.{name}' for name in _COLUMNS)} FROM race_classes c "
        "LEFT JOIN raced ON raced.race_class_id = c.id "
        "WHERE c.removed_at IS NULL AND (raced.id IS NOT NULL OR NOT EXISTS "
        "(SELECT 1 FROM meetings WHERE race_class_id = c.id AND removed_at IS NULL "
        "AND car_id != ?1)) "
        "ORDER BY raced.day <= ?2 DESC, raced.day DESC, planned DESC, raced.id DESC, c.id DESC "
        "LIMIT 1",
        (car_id, day.isoformat() if day else "9999"),
    ).fetchone()
    return None if row is None else RaceClass(**row, limits=_limits(connection, row["id"]))


def class_raced(
    connection: sqlite3.Connection, meeting: Meeting | None, car_id: int | None
) -> RaceClass | None:
    """The class that a car is judged by: the meeting's, if the meeting is for this car or for none.

    For another car, or at no meeting, or at one without a class: the class that the car raced last.
    """
    if meeting is not None and meeting.race_class_id is not None and meeting.is_for(car_id):
        return race_class(connection, meeting.race_class_id)
    return latest_class(connection, car_id, meeting.day if meeting else None)


def save_class(
    connection: sqlite3.Connection, item: RaceClass, now: datetime, step: undo.Step | None = None
) -> tuple[int, str]:
    """Add the class (id 0) or change it, its limits with it, within the caller's undo step if given.

    Returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such class.
    """
    if step is not None:
        return _save(connection, item, step), step.token
    verb = "Changed" if item.id else "Added"
    with undo.step(connection, f"{verb} {item.name}", now) as own:
        return _save(connection, item, own), own.token


def _save(connection: sqlite3.Connection, item: RaceClass, step: undo.Step) -> int:
    values = records.columns(item, "limits")
    if item.id:
        race_class(connection, item.id)
    class_id = step.save("race_classes", item.id, item.version, values)
    _keep_limits(connection, step, class_id, item.limits)
    return class_id


def remove_class(connection: sqlite3.Connection, race_class_id: int, now: datetime) -> str:
    """Take a class out of the lists; returns the undo token. Past meetings keep it.

    Raises:
        NotThere: there is no such class.
    """
    name = race_class(connection, race_class_id).name
    return records.remove(connection, "race_classes", race_class_id, f"Removed {name}", now)


def _limits(connection: sqlite3.Connection, race_class_id: int) -> tuple[ClassLimit, ...]:
    rows = connection.execute(
        f"SELECT {_LIMIT} FROM class_limits WHERE race_class_id = ? ORDER BY position, id",  # noqa: S608
        (race_class_id,),
    )
    return tuple(ClassLimit(**row) for row in rows)


def _keep_limits(
    connection: sqlite3.Connection, step: undo.Step, class_id: int, limits: Iterable[ClassLimit]
) -> None:
    stored = {limit.id: limit for limit in _limits(connection, class_id)}
    for position, limit in enumerate(limits):
        values = limit.model_dump(exclude={"id"}) | {"position": position}
        if stored.pop(limit.id, None) is None:
            step.insert("class_limits", values | {"race_class_id": class_id})
            continue
        step.change("class_limits", limit.id, values)
    for limit_id in stored:
        step.delete("class_limits", limit_id)
