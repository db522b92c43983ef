"""What matters before the heat that comes next: what comes first, and what was read for it already.

A reading is of this heat if it was taken since the car was last driven, with the same controller,
profile, motor, firmware and class; it is not asked again where it was as planned and inside the class.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from pitapp.checks import store
from pitapp.checks.after_heat import JUST_DRIVEN
from pitapp.checks.context import TAKEN_UP_FOR, RunContext
from pitapp.checks.engine import judge
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Answer, Checklist, ChecklistRun, Limit, Scope, Step
from pitapp.checks.scope import in_scope, offered
from pitapp.meetings import store as meetings
from pitapp.meetings.models import CAR_KINDS, Meeting
from pitapp.meetings.timetable.store import LATE
from pitapp.runs import store as runs

HEAT_IS_NEAR = timedelta(hours=1)
"""How long before a heat what the class fixes comes first; common practice, no source."""
FOR_EACH_HEAT = ("settings", "heat")
ONCE_A_HEAT = ("heat", "after")


def heat_is_near(connection: sqlite3.Connection, meeting: Meeting | None, now: datetime) -> bool:
    """Whether the car's next outing by the timetable starts within the hour."""
    if meeting is None:
        return False
    return any(
        each.kind in CAR_KINDS
        and each.done_at is None
        and now < each.starts_at <= now + HEAT_IS_NEAR
        for each in meetings.heats(connection, meeting.id)
    )


def scope_first(
    connection: sqlite3.Connection, present: RunContext, checklist: Checklist, steps: Sequence[Step]
) -> Scope:
    """How much of a controller's settings is gone through now: near a heat first what it takes to race."""
    if "legal" not in offered(steps, present.limits):
        return "all"
    if not heat_is_near(connection, present.meeting, present.now):
        return "all"
    walk = present.walk(checklist, scope="legal")
    needed = in_scope(steps, "legal", present.limits)
    read = {each.step_id for each in _usable(connection, walk, needed, present.limits)}
    return "all" if all(each.id in read for each in needed) else "legal"


def left_since(
    connection: sqlite3.Connection, present: RunContext, checklist: Checklist
) -> datetime:
    """A run-through begun before this is not taken up again: it was of another heat, or too long ago.

    One for straight after a heat may have begun before that heat's run was logged.
    """
    if checklist.occasion not in ONCE_A_HEAT:
        return present.left_since
    driven_at = _driven_at(connection, present.car_id, present.now)
    if checklist.occasion == "after":
        driven_at -= JUST_DRIVEN
    return max(present.left_since, driven_at)


def known_until(connection: sqlite3.Connection, present: RunContext) -> datetime:
    """Until when a page that is kept may take as read what was read for this heat."""
    latest = present.now + TAKEN_UP_FOR
    if present.meeting is None:
        return latest
    following = meetings.next_heat(connection, present.meeting.id, present.now)
    return min(latest, following.starts_at + LATE) if following else latest


def answers_of_this_heat(
    connection: sqlite3.Connection,
    walk: ChecklistRun,
    steps: Sequence[Step],
    limits: Mapping[str, Limit],
) -> list[Answer]:
    """Answers that a run-through which begins now need not ask for; none where it would ask nothing.

    After a reset everything is asked.
    """
    if walk.scope == "reset":
        return []
    usable = _usable(connection, walk, steps, limits)
    return [] if len(usable) == len(steps) else usable


def _usable(
    connection: sqlite3.Connection,
    walk: ChecklistRun,
    steps: Sequence[Step],
    limits: Mapping[str, Limit],
) -> list[Answer]:
    if lists.checklist(connection, walk.checklist_id).occasion not in FOR_EACH_HEAT:
        return []
    since = max(
        walk.started_at - TAKEN_UP_FOR, _driven_at(connection, walk.car_id, walk.started_at)
    )
    read = store.answers_alike(connection, walk, since)
    usable = []
    for step in steps:
        stored = read.get(step.id)
        if stored is None or stored.key != step.key or stored.unit != step.unit:
            continue
        limit = limits.get(step.key) or Limit()
        answer = stored.model_copy(
            update={
                "id": 0,
                "walk_id": walk.id,
                "planned": step.planned,
                "least": limit.least,
                "most": limit.most,
                "reason": "",
            }
        )
        if set(judge(step, answer).problems) <= {"changed"} and answer.shown != "no":
            usable.append(answer)
    return usable


def _driven_at(connection: sqlite3.Connection, car_id: int | None, now: datetime) -> datetime:
    """When the car last went out, by the log and the timetable; long ago where it is not known."""
    since = now - TAKEN_UP_FOR
    driven_at = runs.last_driven(connection, car_id, since, now) if car_id is not None else None
    return driven_at or since
