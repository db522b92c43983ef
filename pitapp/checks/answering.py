"""Answering a step of a run-through: what was read, put beside what was planned and asked."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import datetime

from pitapp.checks import store
from pitapp.checks.engine import StepResult, first_open, judge_all
from pitapp.checks.models import Answer, ChecklistRun, Limit, Step


def answer(
    connection: sqlite3.Connection,
    walk: ChecklistRun,
    steps: Sequence[Step],
    step: Step,
    value: str,
    *,
    limits: Mapping[str, Limit],
    now: datetime,
    reason: str = "",
    skipped: bool = False,
) -> tuple[list[StepResult], str | None]:
    """Save what was found at a step; the last open step ends the run-through.

    Args:
        walk: the run-through, begun already.
        steps: every step of its list, in order.
        step: the one that is answered.
        value: the reading in metric as plain text; "done" where there is nothing to read.
        limits: what the class asks, by a step's key.
        now: the moment.
        reason: in words, why a reading outside the class may stand.
        skipped: nothing was read.

    Returns:
        Every step as judged now, and the undo token if an earlier answer was replaced.
    """
    stored = {each.step_id: each for each in store.answers(connection, walk.id)}
    before = store.last_shown(connection, walk, step)
    limit = limits.get(step.key) or Limit()
    item = Answer(
        walk_id=walk.id,
        step_id=step.id,
        key=step.key,
        shown="" if skipped else value,
        skipped=skipped,
        reason=reason,
        unit=step.unit,
        planned=step.planned,
        last_shown=before.shown if before else "",
        least=limit.least,
        most=limit.most,
        began_at=stored[step.id].began_at if step.id in stored else None,
        answered_at=now,
    )
    results = judge_all(steps, [*stored.values(), item])
    going_on = first_open(results) is not None
    token = store.put_answer(connection, item, None if going_on else walk.ended_at or now, now)
    return results, token


def skip_group(
    connection: sqlite3.Connection,
    walk: ChecklistRun,
    steps: Sequence[Step],
    of: Step,
    *,
    limits: Mapping[str, Limit],
    now: datetime,
) -> None:
    """Leave out every step of that step's group that is not answered yet."""
    for each in judge_all(steps, store.answers(connection, walk.id)):
        unanswered = each.answer is None or each.answer.answered_at is None
        if unanswered and each.step.group_name == of.group_name:
            answer(connection, walk, steps, each.step, "", limits=limits, now=now, skipped=True)


def start_timer(
    connection: sqlite3.Connection, walk: ChecklistRun, step: Step, now: datetime
) -> None:
    """Begin the wait of a timed step; a wait that has begun goes on."""
    stored = {each.step_id: each for each in store.answers(connection, walk.id)}
    if step.id not in stored:
        item = Answer(walk_id=walk.id, step_id=step.id, key=step.key, began_at=now)
        store.put_answer(connection, item, walk.ended_at, now)
