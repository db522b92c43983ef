"""The forecast's own figures, and tracks known by their longest straight alone, in the database."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from pitapp.db import from_db, to_db, undo
from pitapp.drive.inputs.definitions import BY_NAME, Input, OwnFigure
from pitapp.drive.physics.lap import Corners

FRESH_HOURS = 12
"""How long a figure of today counts."""


class About(NamedTuple):
    """Key of a set of figures: car, motor, track; 0 for no motor or no track."""

    car_id: int
    motor_id: int
    track_id: int


class Feel(NamedTuple):
    """A track by its longest straight and the feel of its corners."""

    longest_straight_m: float
    corners: Corners


def _keys(figure: Input, about: About) -> tuple[int, int, int]:
    if figure.scope == "motor":
        return 0, about.motor_id, 0
    if figure.scope == "track":
        return about.car_id, 0, about.track_id
    return about.car_id, 0, 0


def own_figures(
    connection: sqlite3.Connection, about: About, now: datetime
) -> dict[str, OwnFigure]:
    """The racer's own figures; those of today only while they are fresh."""
    rows = connection.execute(
        "SELECT name, track_id, value, measured, set_at FROM forecast_inputs WHERE "
        "(car_id = ?1 AND motor_id = 0 AND track_id IN (0, ?3)) OR "
        "(car_id = 0 AND motor_id = ?2 AND track_id = 0)",
        (about.car_id, about.motor_id, about.track_id),
    )
    figures = {}
    for row in rows:
        figure = BY_NAME.get(row["name"])
        if figure is None or (figure.scope == "track" and row["track_id"] != about.track_id):
            continue
        age = now - from_db(row["set_at"])
        if figure.scope == "today" and abs(age.total_seconds()) > FRESH_HOURS * 3600:
            continue
        figures[figure.name] = OwnFigure(row["value"], bool(row["measured"]))
    return figures


def save_figures(
    connection: sqlite3.Connection,
    about: About,
    figures: Mapping[str, OwnFigure | None],
    now: datetime,
) -> str:
    """Keep figures by name, or with None go back to those without them; returns the undo token."""
    labels = " and ".join(BY_NAME[name].label.lower() for name in figures)
    with undo.step(connection, f"Changed {labels}", now) as step:
        for name, own in figures.items():
            _save(connection, step, name, _keys(BY_NAME[name], about), own, now)
    return step.token


def _save(
    connection: sqlite3.Connection,
    step: undo.Step,
    name: str,
    keys: tuple[int, int, int],
    own: OwnFigure | None,
    now: datetime,
) -> None:
    row = connection.execute(
        "SELECT id FROM forecast_inputs "
        "WHERE car_id = ? AND motor_id = ? AND track_id = ? AND name = ?",
        (*keys, name),
    ).fetchone()
    if own is None:
        if row is not None:
            step.delete("forecast_inputs", row["id"])
        return
    values = {"value": own.value, "measured": int(own.measured), "set_at": to_db(now)}
    if row is not None:
        step.change("forecast_inputs", row["id"], values)
        return
    about = dict(zip(("car_id", "motor_id", "track_id"), keys, strict=True))
    step.insert("forecast_inputs", {**about, "name": name, **values})


def feels(connection: sqlite3.Connection) -> dict[int, Feel]:
    """The rough guess of each track, by its id (0: no track named)."""
    rows = connection.execute("SELECT track_id, longest_straight_m, corners FROM track_feels")
    return {row["track_id"]: Feel(row["longest_straight_m"], row["corners"]) for row in rows}


def save_feel(
    connection: sqlite3.Connection,
    track_id: int,
    feel: Feel | None,
    now: datetime,
    step: undo.Step | None = None,
) -> str:
    """Save the rough guess of a track, or with None forget it; returns the undo token.

    Within the caller's undo step, if one is given.
    """
    if step is None:
        with undo.step(connection, "Changed the track's feel", now) as own:
            return save_feel(connection, track_id, feel, now, own)
    row = connection.execute(
        "SELECT id FROM track_feels WHERE track_id = ?", (track_id,)
    ).fetchone()
    if row is None and feel is not None:
        step.insert("track_feels", {"track_id": track_id, **feel._asdict()})
    elif row is not None and feel is not None:
        step.change("track_feels", row["id"], feel._asdict())
    elif row is not None:
        step.delete("track_feels", row["id"])
    return step.token
