"""Tracks in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pitapp.db import from_db, records, undo
from pitapp.tracks.formulas import TrackRun
from pitapp.tracks.models import Straight, Track, Visits

MOST_OUTINGS = 60
MOST_COUNTED = 100
_TRACK = ("id", "name", "surface", "lap_length_m", "remarks", "version")
_STRAIGHT = tuple(Straight.model_fields)


def tracks(connection: sqlite3.Connection) -> list[Track]:
    """Every track that was not removed, by name."""
    rows = connection.execute(
        f"SELECT {', '.join(_TRACK)} FROM tracks WHERE removed_at IS NULL "  # noqa: S608
        "ORDER BY name COLLATE NOCASE, id"
    ).fetchall()
    straights: dict[int, list[Straight]] = {}
    for row in connection.execute(
        f"SELECT track_id, {', '.join(_STRAIGHT)} FROM track_straights "  # noqa: S608
        "ORDER BY track_id, position"
    ):
        straights.setdefault(row["track_id"], []).append(_straight(row))
    return [Track(**row, straights=tuple(straights.get(row["id"], ()))) for row in rows]


def track(connection: sqlite3.Connection, track_id: int) -> Track:
    """One track, also a removed one.

    Raises:
        NotThere: there is no such track.
    """
    names, missing = ", ".join(_TRACK), "There is no such track."
    row = records.row_by_id(connection, "tracks", names, track_id, missing=missing)
    straights = connection.execute(
        f"SELECT {', '.join(_STRAIGHT)} FROM track_straights "  # noqa: S608
        "WHERE track_id = ? ORDER BY position",
        (track_id,),
    )
    return Track(**row, straights=tuple(_straight(row) for row in straights))


def save_track(
    connection: sqlite3.Connection, item: Track, now: datetime, step: undo.Step | None = None
) -> tuple[int, str]:
    """Add the track (id 0) or change it, with the undo step given or one of its own.

    Returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        NotThere: there is no such track.
    """
    if step is not None:
        return _save(connection, item, step), step.token
    verb = "Changed" if item.id else "Added"
    with undo.step(connection, f"{verb} {item.name}", now) as own:
        return _save(connection, item, own), own.token


def _save(connection: sqlite3.Connection, item: Track, step: undo.Step) -> int:
    if item.id:
        track(connection, item.id)
    values = records.columns(item, "straights")
    track_id = step.save("tracks", item.id, item.version, values)
    _replace_straights(connection, step, track_id, item.straights)
    return track_id


def remove_track(connection: sqlite3.Connection, track_id: int, now: datetime) -> str:
    """Take a track out of the lists; returns the undo token. Its runs stay on record.

    Raises:
        NotThere: there is no such track.
    """
    name = track(connection, track_id).name
    return records.remove(connection, "tracks", track_id, f"Removed {name}", now)


def _replace_straights(
    connection: sqlite3.Connection,
    step: undo.Step,
    track_id: int,
    straights: tuple[Straight, ...],
) -> None:
    present = connection.execute(
        f"SELECT id, {', '.join(_STRAIGHT)} FROM track_straights "  # noqa: S608
        "WHERE track_id = ? ORDER BY position",
        (track_id,),
    ).fetchall()
    if tuple(_straight(row) for row in present) == straights:
        return
    for row in present:
        step.delete("track_straights", row["id"])
    for position, straight in enumerate(straights):
        values = {"track_id": track_id, "position": position, **straight.model_dump()}
        step.insert("track_straights", values)


def _straight(row: sqlite3.Row) -> Straight:
    return Straight(**{name: row[name] for name in _STRAIGHT})


def outings(
    connection: sqlite3.Connection,
    track_id: int,
    *,
    car_id: int | None = None,
    race_class_id: int | None = None,
) -> list[TrackRun]:
    """The last runs at a track whose gear was noted, of one car and class if given, newest first."""
    rows = connection.execute(
        f"SELECT {', '.join(TrackRun._fields)} FROM runs WHERE track_id = ?1 "  # noqa: S608
        "AND removed_at IS NULL AND (?2 IS NULL OR car_id = ?2) "
        "AND (?3 IS NULL OR race_class_id = ?3) "
        "AND pinion_teeth IS NOT NULL AND spur_teeth IS NOT NULL "
        "AND internal_ratio IS NOT NULL AND tyre_diameter_mm IS NOT NULL "
        "ORDER BY started_at DESC, id DESC LIMIT ?4",
        (track_id, car_id, race_class_id, MOST_OUTINGS),
    )
    return [TrackRun(*row)._replace(started_at=from_db(row["started_at"])) for row in rows]


def visits(connection: sqlite3.Connection) -> dict[int, Visits]:
    """How many runs each track has had, counted to a hundred and one, and the moment of the last."""
    rows = connection.execute(
        "SELECT tracks.id, (SELECT count(*) FROM (SELECT 1 FROM runs WHERE track_id = tracks.id "
        "AND removed_at IS NULL LIMIT ?)), (SELECT started_at FROM runs "
        "WHERE track_id = tracks.id AND removed_at IS NULL ORDER BY started_at DESC LIMIT 1) "
        "FROM tracks WHERE removed_at IS NULL",
        (MOST_COUNTED + 1,),
    )
    return {row[0]: Visits(row[1], from_db(row[2])) for row in rows if row[1]}
