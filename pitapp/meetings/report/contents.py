"""What stands in the report of a meeting, read from the log and from its results."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import NamedTuple

from pitapp.kit import store as kit
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Heat, Meeting, RaceClass
from pitapp.meetings.results import store as results
from pitapp.meetings.results.models import MeetingResult
from pitapp.runs import store as runs
from pitapp.runs.changes import Change, changes
from pitapp.runs.models import Run
from pitapp.runs.rise import rise_text
from pitapp.tracks import store as tracks

MOST_RUNS = 200


class RunNote(NamedTuple):
    """A run of the day: its heat if it had one, and what was otherwise than in the run before."""

    run: Run
    heat: Heat | None
    changed: tuple[Change, ...]


class Report(NamedTuple):
    """A meeting on one page."""

    meeting: Meeting
    track: str
    car: str
    race_class: RaceClass | None
    result: MeetingResult
    points: float | None
    notes: tuple[RunNote, ...]
    quickest: Run | None
    hottest: Run | None


def report(connection: sqlite3.Connection, meeting_id: int) -> Report:
    """The report of a meeting, its runs in the order they were driven.

    Raises:
        NotThere: there is no such meeting.
    """
    meeting = meetings.meeting(connection, meeting_id)
    heats = {heat.id: heat for heat in meetings.heats(connection, meeting_id)}
    driven = list(reversed(runs.runs(connection, meeting_id=meeting_id, limit=MOST_RUNS)))
    result = results.result(connection, meeting_id)
    table = results.table(connection, result.point_table_id) if result.point_table_id else None
    scores = results.heat_scores(connection, meeting_id, table)
    counted = results.qualifying(scores, result.best_heats, table)
    names = [run.snapshot.car.name for run in driven]
    return Report(
        meeting=meeting,
        track=tracks.track(connection, meeting.track_id).name if meeting.track_id else "",
        car=", ".join(dict.fromkeys(names))
        or (kit.car(connection, meeting.car_id).name if meeting.car_id else ""),
        race_class=meetings.race_class(connection, meeting.race_class_id)
        if meeting.race_class_id
        else None,
        result=result,
        points=counted[1].total if counted else None,
        notes=_notes(connection, driven, heats),
        quickest=min((run for run in driven if run.best_lap_s), key=_lap, default=None),
        hottest=max((run for run in driven if run.can_c is not None), key=_can, default=None),
    )


def _lap(run: Run) -> float:
    return run.best_lap_s or 0.0


def _can(run: Run) -> float:
    return run.can_c or 0.0


def _notes(
    connection: sqlite3.Connection, driven: Sequence[Run], heats: dict[int, Heat]
) -> tuple[RunNote, ...]:
    notes = []
    last: dict[int, Run] = {}
    for run in driven:
        before = last.get(run.car_id) or runs.run_before(connection, run)
        last[run.car_id] = run
        changed = changes(before, run, rise_text) if before else ()
        notes.append(RunNote(run, heats.get(run.heat_id or 0), changed))
    return tuple(notes)
