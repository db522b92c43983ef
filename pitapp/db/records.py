"""Records in their tables as most rooms keep them: list, one by its id, add, save, remove, each with Undo.

What is more than that (joins, the newest of each, a change amid others) stands in the room's store.
"""

from __future__ import annotations

import json
import sqlite3
from datetime import date, datetime
from typing import Any, Protocol, TypeVar

from pitapp.dates import to_db
from pitapp.db import undo
from pitapp.errors import NotThere
from pitapp.record import Record

Model = TypeVar("Model", bound=Record)


class _Dumped(Protocol):
    def model_dump(self, *, exclude: set[str]) -> dict[str, Any]: ...


class _Versioned(_Dumped, Protocol):
    @property
    def id(self) -> int: ...

    @property
    def version(self) -> int: ...


def listed(
    connection: sqlite3.Connection, model: type[Model], table: str, order: str, **of: int
) -> list[Model]:
    """The records that were not removed, in this order.

    Args:
        model: has a field for each column to read.
        of: columns and the values that they have, such as `car_id=1`.
    """
    conditions = " AND ".join(["removed_at IS NULL", *(f"{name} = ?" for name in of)])
    rows = connection.execute(
        f"SELECT {', '.join(model.model_fields)} FROM {table} WHERE {conditions} ORDER BY {order}",  # noqa: S608
        list(of.values()),
    )
    return [model(**row) for row in rows]


def by_id(
    connection: sqlite3.Connection,
    model: type[Model],
    table: str,
    row_id: int,
    *,
    missing: str,
    listed: bool = False,
) -> Model:
    """One record; `model` has a field for each column to read. See `row_by_id`."""
    names = ", ".join(model.model_fields)
    return model(**row_by_id(connection, table, names, row_id, missing=missing, listed=listed))


def row_by_id(
    connection: sqlite3.Connection,
    table: str,
    names: str,
    row_id: int,
    *,
    missing: str,
    listed: bool = False,
) -> sqlite3.Row:
    """These columns of a row; `listed` takes none that was removed.

    Raises:
        NotThere: there is no such row; `missing` is the sentence.
    """
    condition = " AND removed_at IS NULL" if listed else ""
    row: sqlite3.Row | None = connection.execute(
        f"SELECT {names} FROM {table} WHERE id = ?{condition}",  # noqa: S608
        (row_id,),
    ).fetchone()
    if row is None:
        raise NotThere(missing)
    return row


def columns(item: _Dumped, *left_out: str) -> dict[str, Any]:
    """What a table holds of a record, but for its id, its version and these: moments as text, lists as JSON."""
    values = item.model_dump(exclude={"id", "version", *left_out})
    return {name: _column(value) for name, value in values.items()}


def _column(value: Any) -> Any:
    if isinstance(value, datetime):
        return to_db(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return json.dumps(value, ensure_ascii=False)
    return value


def add(
    connection: sqlite3.Connection, table: str, item: _Dumped, label: str, now: datetime
) -> tuple[int, str]:
    """Add a record; returns its id and the undo token."""
    with undo.step(connection, label, now) as step:
        return step.insert(table, columns(item)), step.token


def save(
    connection: sqlite3.Connection, table: str, item: _Versioned, name: str, now: datetime
) -> tuple[int, str]:
    """Add a record (id 0) or change it, named so beside Undo; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed or removed since.
    """
    with undo.step(connection, f"{'Changed' if item.id else 'Added'} {name}", now) as step:
        return step.save(table, item.id, item.version, columns(item)), step.token


def remove(
    connection: sqlite3.Connection, table: str, row_id: int, label: str, now: datetime
) -> str:
    """Take a record out of the lists; it stays in the table. Returns the undo token."""
    with undo.step(connection, label, now) as step:
        step.remove(table, row_id, now)
    return step.token
