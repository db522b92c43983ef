"""Points tables, seasons and the results of meetings in the database."""

from __future__ import annotations

import json
import sqlite3
from datetime import date, datetime
from typing import NamedTuple

from pitapp.db import records
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Heat, Meeting
from pitapp.meetings.results.formulas import Counting, best_of, counting, points_for
from pitapp.meetings.results.models import MeetingResult, PointTable, Season

_TABLE = ", ".join(PointTable.model_fields)
_RESULT = ", ".join(MeetingResult.model_fields)


class HeatScore(NamedTuple):
    """A heat, its run, the place in it and what that is worth."""

    heat: Heat
    run_id: int | None
    place: int | None
    points: float | None


class Round(NamedTuple):
    """A meeting of a season: its place, its points, and whether it was dropped or is to come."""

    meeting: Meeting
    place: int | None
    points: float | None
    dropped: bool = False
    to_come: bool = False


class SeasonStanding(NamedTuple):
    """A season's rounds with what counts of them; the total is None without a points table."""

    rounds: list[Round]
    total: float | None


def tables(connection: sqlite3.Connection) -> list[PointTable]:
    """Every points table by name."""
    rows = connection.execute(
        f"SELECT {_TABLE} FROM point_tables WHERE removed_at IS NULL ORDER BY name, id"  # noqa: S608
    )
    return [_table(row) for row in rows]


def table(connection: sqlite3.Connection, table_id: int) -> PointTable:
    """One points table, also a removed one.

    Raises:
        NotThere: there is no such table.
    """
    missing = "There is no such points table."
    row = records.row_by_id(connection, "point_tables", _TABLE, table_id, missing=missing)
    return _table(row)


def _table(row: sqlite3.Row) -> PointTable:
    return PointTable(**(dict(row) | {"points": json.loads(row["points"])}))


def save_table(connection: sqlite3.Connection, item: PointTable, now: datetime) -> tuple[int, str]:
    """Add the table (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    return records.save(connection, "point_tables", item, item.name, now)


def seasons(connection: sqlite3.Connection) -> list[Season]:
    """Every season, the newest first."""
    return records.listed(connection, Season, "seasons", "id DESC")


def season(connection: sqlite3.Connection, season_id: int) -> Season:
    """One season, also a removed one.

    Raises:
        NotThere: there is no such season.
    """
    missing = "There is no such season."
    return records.by_id(connection, Season, "seasons", season_id, missing=missing)


def save_season(connection: sqlite3.Connection, item: Season, now: datetime) -> tuple[int, str]:
    """Add the season (id 0) or change it; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    return records.save(connection, "seasons", item, item.name, now)


def result(connection: sqlite3.Connection, meeting_id: int) -> MeetingResult:
    """What is written down of a meeting's result; an empty one (id 0) where that is nothing."""
    row = connection.execute(
        f"SELECT {_RESULT} FROM meeting_results WHERE meeting_id = ? AND removed_at IS NULL "  # noqa: S608
        "ORDER BY id DESC LIMIT 1",
        (meeting_id,),
    ).fetchone()
    return MeetingResult(meeting_id=meeting_id) if row is None else MeetingResult(**row)


def last_result(connection: sqlite3.Connection) -> MeetingResult | None:
    """The result written down last: whose season and points the next one begins with."""
    row = connection.execute(
        f"SELECT {_RESULT} FROM meeting_results WHERE removed_at IS NULL "  # noqa: S608
        "ORDER BY id DESC LIMIT 1"
    ).fetchone()
    return None if row is None else MeetingResult(**row)


def save_result(
    connection: sqlite3.Connection, item: MeetingResult, now: datetime
) -> tuple[int, str]:
    """Write down what came of a meeting; returns its id and the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
    """
    return records.save(connection, "meeting_results", item, "the result", now)


def remove(
    connection: sqlite3.Connection, name: str, item_id: int, title: str, now: datetime
) -> str:
    """Take a points table, a season or a result out of the lists; returns the undo token."""
    return records.remove(connection, name, item_id, f"Removed {title}", now)


def heat_scores(
    connection: sqlite3.Connection, meeting_id: int, points: PointTable | None
) -> list[HeatScore]:
    """The car's outings with the place that the log has for each, and its points if it is a heat."""
    rows = connection.execute(
        "SELECT heat_id, max(id) AS id, position FROM runs "
        "WHERE meeting_id = ? AND heat_id IS NOT NULL AND removed_at IS NULL GROUP BY heat_id",
        (meeting_id,),
    )
    logged = {row["heat_id"]: row for row in rows}
    scores = []
    for heat in meetings.heats(connection, meeting_id):
        if heat.kind not in ("heat", "final"):
            continue
        run = logged.get(heat.id)
        place: int | None = run["position"] if run else None
        counts = heat.kind == "heat"
        worth = points_for(points, place) if points and counts and place else None
        scores.append(HeatScore(heat, run["id"] if run else None, place, worth))
    return scores


def qualifying(
    scores: list[HeatScore], best: int | None, points: PointTable | None
) -> tuple[list[HeatScore], Counting] | None:
    """The heats that have points, and what counts of them; None without any."""
    with_points = [each for each in scores if each.points is not None]
    if not with_points or points is None:
        return None
    worth = [each.points or 0.0 for each in with_points]
    return with_points, best_of(worth, best, fewest_wins=points.fewest_wins)


def standing(connection: sqlite3.Connection, item: Season, today: date) -> SeasonStanding:
    """The season's rounds in the order of days; one that is over and has no place was missed."""
    rows = connection.execute(
        "SELECT meetings.id, meeting_results.place, meeting_results.shared_with "
        "FROM meeting_results JOIN meetings ON meetings.id = meeting_results.meeting_id "
        "WHERE meeting_results.season_id = ? AND meeting_results.removed_at IS NULL "
        "AND meetings.removed_at IS NULL GROUP BY meetings.id ORDER BY meetings.day, meetings.id",
        (item.id,),
    ).fetchall()
    points = table(connection, item.point_table_id) if item.point_table_id else None
    rounds = []
    for row in rows:
        meeting = meetings.meeting(connection, row["id"])
        to_come = row["place"] is None and meeting.day >= today
        worth = None
        if points is not None and not to_come:
            place = row["place"]
            worth = points.worst if place is None else points_for(points, place, row["shared_with"])
        rounds.append(Round(meeting, row["place"], worth, to_come=to_come))
    if points is None:
        return SeasonStanding(rounds, None)
    done = [index for index, each in enumerate(rounds) if not each.to_come]
    counted = counting(
        [rounds[index].points or 0.0 for index in done], item.drops, fewest_wins=points.fewest_wins
    )
    for index in counted.dropped:
        rounds[done[index]] = rounds[done[index]]._replace(dropped=True)
    return SeasonStanding(rounds, counted.total)
