"""The app's settings: a few named values, each a short text."""

from __future__ import annotations

import sqlite3


def read(connection: sqlite3.Connection) -> dict[str, str]:
    """Every setting that was ever saved."""
    return dict(map(tuple, connection.execute("SELECT name, value FROM settings")))


def save(connection: sqlite3.Connection, name: str, value: str | None) -> None:
    """Save one setting; None forgets it."""
    if value is None:
        connection.execute("DELETE FROM settings WHERE name = ?", (name,))
        return
    connection.execute(
        "INSERT INTO settings (name, value) VALUES (?, ?) "
        "ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        (name, value),
    )
