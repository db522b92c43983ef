"""The list for straight after a heat and the log are one thing: what is typed in one is in the other.

A step with the topic `can_c` or `read_after_s` is the log's own field, one with `log` is the log
itself. A run and a run-through of the same car belong together within `JUST_DRIVEN`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from pitapp.checks import store
from pitapp.checks.engine import first_open, judge_all, number_of
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Answer, ChecklistRun, Step
from pitapp.db import records, undo
from pitapp.runs import store as runs
from pitapp.runs.models import Run

JUST_DRIVEN = timedelta(minutes=20)
FIELDS = ("can_c", "read_after_s")
LOG = "log"
RunValues = Mapping[str, float | None]


def read_on_list(connection: sqlite3.Connection, car_id: int, now: datetime) -> dict[str, float]:
    """What the list has read of this car since it was driven, by the log's fields."""
    read = store.readings_after_heat(connection, car_id, FIELDS, now - JUST_DRIVEN)
    values = {key: number_of(answer.shown) for key, answer in read.items()}
    return {key: value for key, value in values.items() if value is not None}


def note_run(
    connection: sqlite3.Connection,
    step: undo.Step,
    car_id: int,
    values: RunValues,
    now: datetime,
) -> None:
    """Answer what is still open on the car's list with what was logged, in the log's own step back."""
    walk = store.open_after_heat(connection, car_id, now - JUST_DRIVEN)
    if walk is None:
        return
    steps = lists.steps(connection, walk.checklist_id)
    stored = store.answers(connection, walk.id)
    held = {each.step_id for each in stored}
    fresh = [each for each in answers_of_run(walk, steps, values, now) if each.step_id not in held]
    for each in fresh:
        step.insert("check_answers", records.columns(each))
    if fresh and first_open(judge_all(steps, [*stored, *fresh])) is None:
        step.change("check_walks", walk.id, store.ended(now))


def answers_from_log(
    connection: sqlite3.Connection, walk: ChecklistRun, steps: Sequence[Step]
) -> list[Answer]:
    """What a run-through that is not begun yet knows already, from the run that was just logged."""
    topics = {each.topic for each in steps}
    if walk.car_id is None or topics.isdisjoint((*FIELDS, LOG)):
        return []
    if lists.checklist(connection, walk.checklist_id).occasion != "after":
        return []
    run = just_driven(connection, walk.car_id, walk.started_at)
    if run is None:
        return []
    values = {"can_c": run.can_c, "read_after_s": run.read_after_s}
    return answers_of_run(walk, steps, values, walk.started_at)


def note_reading(
    connection: sqlite3.Connection, car_id: int | None, topic: str, shown: str, now: datetime
) -> None:
    """Put what the list has read into the run that was logged before it, where that is empty."""
    value = number_of(shown)
    run = just_driven(connection, car_id, now) if car_id is not None else None
    if topic not in FIELDS or value is None or run is None or getattr(run, topic) is not None:
        return
    with undo.step(connection, "Noted it on the run", now) as step:
        step.change("runs", run.id, {topic: value, "version": run.version + 1})


def just_driven(connection: sqlite3.Connection, car_id: int, now: datetime) -> Run | None:
    """The car's newest run, if it began within the last minutes."""
    newest = next(iter(runs.runs(connection, car_id=car_id, limit=1, with_lists=False)), None)
    return newest if newest and abs(now - newest.started_at) < JUST_DRIVEN else None


def answers_of_run(
    walk: ChecklistRun, steps: Sequence[Step], values: RunValues, now: datetime
) -> list[Answer]:
    """The answers that a logged run gives to the steps of a run-through."""
    given = {name: f"{value:.10g}" for name in FIELDS if (value := values.get(name)) is not None}
    given[LOG] = "done"
    return [
        Answer(
            walk_id=walk.id,
            step_id=each.id,
            key=each.key,
            shown=given[each.topic],
            unit=each.unit,
            planned=each.planned,
            answered_at=now,
        )
        for each in steps
        if each.topic in given
    ]
