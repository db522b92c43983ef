"""Undo: the rows of a change as they were before it, kept so that a wrong tap costs nothing.

    with undo.step(connection, "Removed the 20-tooth pinion", now) as step:
        step.record_before("gears", gear_id)
        ...change or delete the row...

A row made in the step is noted with `step.record_insert(table, id)`. `step.insert`, `step.save`,
`step.change`, `step.remove` and `step.delete` do the change and note it. Undoing puts every row back as it was,
and refuses when a row was changed again since or would lose what it belongs to. Every table that
takes part has an integer `id`.
"""

from __future__ import annotations

import json
import re
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from pitapp.dates import from_db, to_db
from pitapp.db import references
from pitapp.db.connect import transaction
from pitapp.errors import ChangedMeanwhile, NotThere, Refused

KEPT_STEPS = 500
MOST_CHARACTERS, LARGE = 8_000_000, 20_000
"""So much is kept of all steps but the newest; looked at when one comes that is large by itself."""
NEVER_BACK = "sequence"
"""The column that grows with each change of a row, at Undo too: what others compare copies by."""
_NAME = re.compile(r"[a-z][a-z0-9_]*\Z")

RowImage = dict[str, Any] | None


class Step:
    """A change being recorded; `token` undoes it afterwards."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.token = secrets.token_urlsafe(12)
        self._connection = connection
        self._rows: list[tuple[str, int, RowImage]] = []

    def record_before(self, table: str, row_id: int) -> None:
        """Note the row as it is now, before it is changed or deleted."""
        if (table, row_id) not in [(noted, noted_id) for noted, noted_id, _ in self._rows]:
            self._rows.append((table, row_id, _row(self._connection, table, row_id)))

    def record_insert(self, table: str, row_id: int) -> None:
        """Note a row that this step has inserted."""
        self._rows.append((table, row_id, None))

    def insert(self, table: str, values: dict[str, Any]) -> int:
        """Add a row and note it; returns its id."""
        names = ", ".join(_checked_name(name) for name in values)
        cursor = self._connection.execute(
            f"INSERT INTO {_checked_name(table)} ({names}) VALUES ({', '.join('?' * len(values))})",  # noqa: S608
            list(values.values()),
        )
        self.record_insert(table, int(cursor.lastrowid or 0))
        return int(cursor.lastrowid or 0)

    def save(self, table: str, row_id: int, version: int, values: dict[str, Any]) -> int:
        """Add a row (id 0), or change it where it still has that version; returns its id.

        Raises:
            ChangedMeanwhile: it was changed or removed since.
        """
        if not row_id:
            return self.insert(table, values)
        self.record_before(table, row_id)
        changed = self._connection.execute(
            f"UPDATE {_checked_name(table)} SET {', '.join(f'{_checked_name(name)} = ?' for name in values)}, "  # noqa: S608
            "version = version + 1 WHERE id = ? AND version = ? AND removed_at IS NULL",
            [*values.values(), row_id, version],
        )
        if not changed.rowcount:
            raise ChangedMeanwhile(
                "This was changed on another screen since you opened it. Your entries are still "
                "here: compare, then save again."
            )
        return row_id

    def change(
        self, table: str, row_id: int, values: dict[str, Any], *, new_version: bool = False
    ) -> None:
        """Set some columns of a row, whatever its version; a new version stops forms opened before."""
        self.record_before(table, row_id)
        counted = ", version = version + 1" if new_version else ""
        self._connection.execute(
            f"UPDATE {_checked_name(table)} SET {', '.join(f'{_checked_name(name)} = ?' for name in values)}"  # noqa: S608
            f"{counted} WHERE id = ?",
            [*values.values(), row_id],
        )

    def remove(self, table: str, row_id: int, now: datetime) -> None:
        """Take a row out of the lists; it stays on record as removed."""
        self.change(table, row_id, {"removed_at": to_db(now)})

    def delete(self, table: str, row_id: int) -> None:
        """Delete a row that nothing refers to."""
        self.record_before(table, row_id)
        self._connection.execute(f"DELETE FROM {_checked_name(table)} WHERE id = ?", (row_id,))  # noqa: S608

    def images(self) -> list[dict[str, Any]]:
        """Each noted row before the change and as it is now."""
        return [
            {"table": t, "id": i, "before": before, "after": _row(self._connection, t, i)}
            for t, i, before in self._rows
        ]


@contextmanager
def step(connection: sqlite3.Connection, label: str, now: datetime) -> Iterator[Step]:
    """Record a change called `label` (a past-tense sentence part, shown beside "Undo")."""
    with transaction(connection):
        recording = Step(connection)
        yield recording
        images = json.dumps(recording.images())
        connection.execute(
            "INSERT INTO undo_steps (token, label, made_at, images) VALUES (?, ?, ?, ?)",
            (recording.token, label, to_db(now), images),
        )
        _make_room(connection, large=len(images) > LARGE)


def _make_room(connection: sqlite3.Connection, *, large: bool) -> None:
    """Forget the oldest steps, by their order: no clock that jumps takes one away."""
    connection.execute(
        "DELETE FROM undo_steps WHERE id <= (SELECT max(id) FROM undo_steps) - ?", (KEPT_STEPS,)
    )
    if large:
        connection.execute(
            "DELETE FROM undo_steps WHERE id <= (SELECT max(id) FROM (SELECT id, "
            "sum(length(images)) OVER (ORDER BY id DESC) AS characters FROM undo_steps) "
            "WHERE characters > ? AND id < (SELECT max(id) FROM undo_steps))",
            (MOST_CHARACTERS,),
        )


def remove_listed(
    connection: sqlite3.Connection,
    table: str,
    row_id: int,
    now: datetime,
    *,
    label: str,
    missing: str,
) -> str:
    """Take a row that nothing else hangs on out of the lists; returns the undo token.

    Raises:
        NotThere: no such row is listed; `missing` is the sentence.
    """
    row = _row(connection, table, row_id)
    if row is None or row["removed_at"]:
        raise NotThere(missing)
    with step(connection, label, now) as recording:
        recording.remove(table, row_id, now)
    return recording.token


def forget_all(connection: sqlite3.Connection) -> None:
    """Forget every step: none of them leads back from rows that came from elsewhere."""
    connection.execute("PRAGMA secure_delete = ON")
    connection.execute("DELETE FROM undo_steps")


def newest_at(connection: sqlite3.Connection) -> datetime | None:
    """The latest moment at which anything was changed, by the clock of that time."""
    made_at = connection.execute("SELECT max(made_at) FROM undo_steps").fetchone()[0]
    return from_db(made_at) if made_at else None


def undo(connection: sqlite3.Connection, token: str, now: datetime) -> str:
    """Put back what the step with `token` changed and return its label.

    Raises:
        NotThere: no such step, or it was undone already.
        ChangedMeanwhile: one of its rows was changed again since.
        Refused: a row would lose one that it belongs to, or be there twice.
    """
    with transaction(connection):
        record = connection.execute(
            "SELECT id, label, images FROM undo_steps WHERE token = ? AND undone_at IS NULL",
            (token,),
        ).fetchone()
        if record is None:
            raise NotThere("There is nothing to undo here: it was undone already, or is too old.")
        images = json.loads(record["images"])
        for image in images:
            if _changed(_row(connection, image["table"], image["id"]), image["after"]):
                raise ChangedMeanwhile(
                    f"“{record['label']}” cannot be undone: it was changed again since. "
                    "Undo the newer change first, or edit it."
                )
        _put_back(connection, images, record["label"])
        connection.execute(
            "UPDATE undo_steps SET undone_at = ? WHERE id = ?", (to_db(now), record["id"])
        )
        return str(record["label"])


def _put_back(connection: sqlite3.Connection, images: list[dict[str, Any]], label: str) -> None:
    connection.execute("PRAGMA defer_foreign_keys = ON")
    try:
        for image in reversed(images):
            _put(connection, image["table"], image["id"], image["before"])
    except sqlite3.IntegrityError as error:
        if error.sqlite_errorcode != sqlite3.SQLITE_CONSTRAINT_UNIQUE:
            raise
        raise Refused(f"“{label}” cannot be undone: the same is there again by now.") from error
    rows = [(image["table"], image["id"]) for image in images]
    if reason := references.broken(connection, rows):
        raise Refused(f"“{label}” cannot be undone: {reason}")


def _checked_name(name: str) -> str:
    if not _NAME.match(name):
        raise ValueError(f"{name!r} is no table or column name.")
    return name


def _row(connection: sqlite3.Connection, table: str, row_id: int) -> RowImage:
    row = connection.execute(
        f"SELECT * FROM {_checked_name(table)} WHERE id = ?",  # noqa: S608
        (row_id,),
    ).fetchone()
    return None if row is None else dict(row)


def _changed(row: RowImage, after: RowImage) -> bool:
    """Whether a row is no longer as the step left it; columns added since then do not count."""
    if row is None or after is None:
        return row is not after
    return any(row.get(name) != value for name, value in after.items() if name != NEVER_BACK)


def _put(connection: sqlite3.Connection, table: str, row_id: int, row: RowImage) -> None:
    if row is None:
        connection.execute(f"DELETE FROM {_checked_name(table)} WHERE id = ?", (row_id,))  # noqa: S608
        return
    names = [_checked_name(name) for name in row]
    updates = ", ".join(
        f"{name} = {table}.{name} + 1" if name == NEVER_BACK else f"{name} = excluded.{name}"
        for name in names
        if name != "id"
    )
    connection.execute(
        f"INSERT INTO {_checked_name(table)} ({', '.join(names)}) "  # noqa: S608
        f"VALUES ({', '.join('?' * len(names))}) ON CONFLICT (id) DO UPDATE SET {updates}",
        list(row.values()),
    )
