"""Which database this is, and of which others it holds a copy.

The identity is random, made with the database, and never changes: bringing a copy back replaces the
rows, not the database. The databases that those rows come from are its origins.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

OWN_ROW = 1
MOST_ORIGINS = 20
WRITTEN = re.compile(r"[0-9a-f]{32}")


def own(connection: sqlite3.Connection) -> str:
    """The identity of this database: 32 hexadecimal digits."""
    row = connection.execute("SELECT identity FROM identities WHERE id = ?", (OWN_ROW,)).fetchone()
    return str(row[0])


def origins(connection: sqlite3.Connection) -> list[str]:
    """The databases that this one holds a copy of, the nearest first."""
    rows = connection.execute(
        "SELECT identity FROM identities WHERE id <> ? ORDER BY id", (OWN_ROW,)
    )
    return [row[0] for row in rows]


def of_file(path: Path) -> list[str]:
    """The database that a copy was made of, then that one's origins; nothing where it names none."""
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as file:
        if not file.execute("PRAGMA table_info(identities)").fetchall():
            return []
        return [row[0] for row in file.execute("SELECT identity FROM identities ORDER BY id")]


def set_origins(connection: sqlite3.Connection, identities: Iterable[str]) -> None:
    """Record the identities of the databases copied into this one; invalid ones are ignored."""
    own_identity = own(connection)
    fresh = [each for each in dict.fromkeys(identities) if WRITTEN.fullmatch(each)]
    connection.execute("DELETE FROM identities WHERE id <> ?", (OWN_ROW,))
    connection.executemany(
        "INSERT INTO identities (identity) VALUES (?)",
        [(each,) for each in fresh if each != own_identity][:MOST_ORIGINS],
    )
