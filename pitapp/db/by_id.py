"""One row by its id, or the sentence that it is not there."""

from __future__ import annotations

import sqlite3

from pitapp.errors import NotThere


def by_id(
    connection: sqlite3.Connection,
    table: str,
    columns: str,
    row_id: int,
    *,
    missing: str,
    listed: bool = False,
) -> sqlite3.Row:
    """Read these columns of a row; `listed` takes none that was removed.

    Raises:
        NotThere: there is no such row; `missing` is the sentence.
    """
    condition = " AND removed_at IS NULL" if listed else ""
    row: sqlite3.Row | None = connection.execute(
        f"SELECT {columns} FROM {table} WHERE id = ?{condition}",  # noqa: S608
        (row_id,),
    ).fetchone()
    if row is None:
        raise NotThere(missing)
    return row
