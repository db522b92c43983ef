"""Long lists a page at a time: newest first, each page going on from the last row of the one before."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Protocol, TypeVar

from pitapp.record import Record

Model = TypeVar("Model", bound=Record)


class _Row(Protocol):
    @property
    def id(self) -> int: ...


Row = TypeVar("Row", bound=_Row)


def newest(
    connection: sqlite3.Connection,
    model: type[Model],
    table: str,
    moment: str,
    *,
    limit: int,
    before: int | None = None,
    **of: int,
) -> list[Model]:
    """Rows that were not removed, the newest first by the column `moment`.

    Args:
        model: has a field for each column to read.
        limit: how many at most.
        before: the id of a row; only older ones than it are wanted.
        of: columns and the values that they have, such as `car_id=1`.
    """
    conditions = ["removed_at IS NULL", *(f"{name} = ?" for name in of)]
    values = list(of.values())
    if before is not None:
        conditions.append(f"({moment}, id) < (SELECT {moment}, id FROM {table} WHERE id = ?)")  # noqa: S608
        values.append(before)
    rows = connection.execute(
        f"SELECT {', '.join(model.model_fields)} FROM {table} WHERE {' AND '.join(conditions)} "  # noqa: S608
        f"ORDER BY {moment} DESC, id DESC LIMIT ?",
        [*values, limit],
    )
    return [model(**row) for row in rows]


def split_page(rows: Sequence[Row], length: int) -> tuple[Sequence[Row], int | None]:
    """A page of what was read with one row to spare, and the id to go on from (None: that was all)."""
    return rows[:length], rows[length - 1].id if len(rows) > length else None
