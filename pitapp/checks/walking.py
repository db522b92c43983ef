"""Answering a step of a run-through: what was read, put beside what was planned and asked."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import datetime

from pitapp.checks import store
from pitapp.checks.engine import Judged, first_open, judge_all
from pitapp.checks.models import Answer, Asked, Step, Walk


def answer(
    connection: sqlite3.Connection,
    walk: Walk,
    steps: Sequence[Step],
    step: Step,
    shown: str,
    *,
    asks: Mapping[str, Asked],
    now: datetime,
    reason: str = "",
    skipped: bool = False,
) -> tuple[list[Judged], str | None]:
    """Save what was found at a step; the last open step ends the run-through.

    Args:
        walk: the run-through, begun already.
        steps: every step of its list, in order.
        step: the one that is answered.
        shown: the reading in metric as plain text; "done" where there is nothing to read.
        asks: what the class asks, by a step's key.
        now: the moment.
        reason: in words, why a reading outside the class may stand.
        skipped: nothing was read.

    Returns:
        Every step as judged now, and the undo token if an earlier answer was replaced.
    """
    held = {each.step_id: each for each in store.answers(connection, walk.id)}
    before = store.last_shown(connection, walk, step)
    asked = asks.get(step.key) or Asked()
    item = Answer(
        walk_id=walk.id,
        step_id=step.id,
        key=step.key,
        shown="" if skipped else shown,
        skipped=skipped,
        reason=reason,
        unit=step.unit,
        planned=step.planned,
        last_shown=before.shown if before else "",
        least=asked.least,
        most=asked.most,
        began_at=held[step.id].began_at if step.id in held else None,
        answered_at=now,
    )
    judged = judge_all(steps, [*held.values(), item])
    going_on = first_open(judged) is not None
    token = store.put_answer(connection, item, None if going_on else walk.ended_at or now, now)
    return judged, token


def start_timer(connection: sqlite3.Connection, walk: Walk, step: Step, now: datetime) -> None:
    """Begin the wait of a timed step; a wait that has begun goes on."""
    held = {each.step_id: each for each in store.answers(connection, walk.id)}
    if step.id not in held:
        item = Answer(walk_id=walk.id, step_id=step.id, key=step.key, began_at=now)
        store.put_answer(connection, item, walk.ended_at, now)
