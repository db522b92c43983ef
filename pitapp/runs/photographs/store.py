"""Photographs in the database, the pictures apart from what is known of them."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import records, undo
from pitapp.errors import NotThere, Refused
from pitapp.runs.photographs.jpeg import Picture
from pitapp.runs.photographs.models import Photograph, picture_in, written

MOST_PHOTOGRAPHS = 150
"""So many fit into a file of everything beside all else."""
MISSING = "There is no such photograph. It may have been removed."


def of_run(connection: sqlite3.Connection, run_id: int) -> list[Photograph]:
    """The photographs of a run, in the order they were added."""
    return records.listed(connection, Photograph, "photographs", "id", run_id=run_id)


def of_setup(connection: sqlite3.Connection, car_id: int) -> list[Photograph]:
    """The photographs of a car's set-up, in the order they were added."""
    return records.listed(connection, Photograph, "photographs", "id", car_id=car_id)


def photograph(connection: sqlite3.Connection, photograph_id: int) -> Photograph:
    """One photograph.

    Raises:
        NotThere: there is no such photograph, or it was removed.
    """
    return records.by_id(
        connection, Photograph, "photographs", photograph_id, missing=MISSING, listed=True
    )


def picture(connection: sqlite3.Connection, photograph_id: int) -> Picture:
    """The picture of a photograph.

    Raises:
        NotThere: it was removed, or is not held here, as after a file that only names it.
    """
    photograph(connection, photograph_id)
    row = connection.execute(
        "SELECT jpeg FROM photograph_data WHERE id = ?", (photograph_id,)
    ).fetchone()
    if row is None:
        raise NotThere("This photograph is named here, and its picture is not held.")
    return picture_in(row["jpeg"])


def held(connection: sqlite3.Connection, listed: list[Photograph]) -> set[int]:
    """Which of these have their picture here."""
    return {
        each.id
        for each in listed
        if connection.execute("SELECT 1 FROM photograph_data WHERE id = ?", (each.id,)).fetchone()
    }


def add(
    connection: sqlite3.Connection,
    taken: Picture,
    now: datetime,
    *,
    run_id: int | None = None,
    car_id: int | None = None,
    caption: str = "",
) -> tuple[int, str]:
    """Keep a photograph; returns its id and the undo token.

    Raises:
        Refused: there are as many as the database holds.
    """
    with undo.step(connection, "Added the photograph", now) as step:
        photograph_id = put(
            connection, step, taken, now, run_id=run_id, car_id=car_id, caption=caption
        )
    return photograph_id, step.token


def put(
    connection: sqlite3.Connection,
    step: undo.Step,
    taken: Picture,
    now: datetime,
    *,
    run_id: int | None = None,
    car_id: int | None = None,
    caption: str = "",
) -> int:
    """Keep a photograph within the caller's undo step; returns its id.

    Raises:
        Refused: there are as many as the database holds.
    """
    item = Photograph(
        run_id=run_id,
        car_id=car_id,
        caption=caption,
        width_px=taken.width_px,
        height_px=taken.height_px,
        size_bytes=len(taken.data),
        added_at=now,
    )
    _make_room(connection)
    photograph_id = step.insert("photographs", records.columns(item))
    connection.execute(
        "INSERT INTO photograph_data (id, jpeg) VALUES (?, ?) "
        "ON CONFLICT (id) DO UPDATE SET jpeg = excluded.jpeg",
        (photograph_id, written(taken.data)),
    )
    return photograph_id


def remove(connection: sqlite3.Connection, photograph_id: int, now: datetime) -> str:
    """Take a photograph away; returns the undo token.

    Raises:
        NotThere: there is no such photograph.
    """
    return undo.remove_listed(
        connection,
        "photographs",
        photograph_id,
        now,
        label="Removed the photograph",
        missing=MISSING,
    )


def _make_room(connection: sqlite3.Connection) -> None:
    """Drop pictures whose adding was undone, and the longest removed ones where room is short."""
    connection.execute("DELETE FROM photograph_data WHERE id NOT IN (SELECT id FROM photographs)")
    count = connection.execute("SELECT count(*) FROM photograph_data").fetchone()[0]
    over = int(count) + 1 - MOST_PHOTOGRAPHS
    if over <= 0:
        return
    dropped = connection.execute(
        "DELETE FROM photograph_data WHERE id IN (SELECT photographs.id FROM photographs "
        "JOIN photograph_data AS data ON data.id = photographs.id "
        "WHERE photographs.removed_at IS NOT NULL ORDER BY photographs.removed_at LIMIT ?)",
        (over,),
    )
    if dropped.rowcount < over:
        raise Refused(
            f"There are {MOST_PHOTOGRAPHS} photographs, as many as are held. Remove one first."
        )
