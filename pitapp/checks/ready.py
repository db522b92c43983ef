"""The controller's line on the Board: run through, as planned, legal, or why not."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence

from pitapp.board.models import ReadyLine, Situation
from pitapp.checks import store
from pitapp.checks.asks import asks
from pitapp.checks.controllers import store as controllers
from pitapp.checks.engine import (
    Judged,
    Verdict,
    allows,
    judge_all,
    reasons_due,
    same,
    unlisted,
    verdict,
)
from pitapp.checks.here import TAKEN_UP_FOR
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Answer, Asked, Controller, Step, Walk
from pitapp.checks.shown import asked_text, reading
from pitapp.web.clock import moment_text

NAME = "Controller"


def line(connection: sqlite3.Connection, situation: Situation) -> ReadyLine:
    """How the controller in the car stands, and the screen that mends it."""
    controller = controllers.in_car(connection, situation.car.id)
    if controller is None:
        return look("No controller noted for this car.", "/checks/controllers")
    own = lists.settings_list(connection, controller.id)
    run = f"/checks/lists/{own.id}/run"
    begun = store.open_walk(
        connection, own.id, car_id=situation.car.id, since=situation.now - TAKEN_UP_FOR
    )
    steps, asked = lists.steps(connection, own.id), asks(situation.race_class)
    illegal = _outside_now(connection, situation, controller, steps, asked)
    if begun and not illegal:
        return look(f"Run-through left half-way, begun {moment_text(begun.started_at)}.", run)
    walk = store.last_settings_walk(connection, situation.car.id)
    answers = store.answers(connection, walk.id) if walk else []
    due = reasons_due(
        walk,
        answers,
        steps,
        controller=controller,
        motor_id=situation.car.motor_id,
        race_class_id=situation.race_class.id if situation.race_class else None,
        asks=asked,
    )
    if illegal:
        reason = " ".join([illegal[0], *([] if begun else due[:1])])
        return ReadyLine(name=NAME, level="stop", word="not yet", reason=reason, href=run)
    if walk is None:
        return look(due[0], run)
    found = verdict(judge_all(lists.steps_answered(connection, walk.id), answers))
    if found.legal is False and not due:
        due = ["What was outside the class then reads otherwise since."]
    if due:
        more = f" And {len(due) - 1} more." if len(due) > 1 else ""
        return look(f"Run-through due again. {due[0]}{more}", run)
    if missing := unlisted(steps, asked):
        return look(
            f"The class limits it and no setting reads it: {missing[0]}.", f"/checks/lists/{own.id}"
        )
    return standing(found, walk)


def standing(found: Verdict, walk: Walk) -> ReadyLine:
    """The line of a run-through that is not stale and found nothing illegal."""
    href = f"/checks/walks/{walk.uuid}"
    unlike = [
        each for each in found.different if not same(each.shown, each.step.planned or each.shown)
    ]
    if unlike:
        more = f" And {len(unlike) - 1} more." if len(unlike) > 1 else ""
        return look(f"{different(unlike[0])}{more}", href)
    if found.unread:
        return look(f"{found.unread[0].step.name} was not read.", href)
    said = "Legal, as planned" if found.legal else "As planned, no limit to compare with"
    reason = f"{said}, read {moment_text(walk.ended_at or walk.started_at)}."
    return ReadyLine(name=NAME, level="good", word="ready", reason=reason, href=href)


def look(reason: str, href: str) -> ReadyLine:
    """A line that asks for a look."""
    return ReadyLine(name=NAME, level="look", word="look", reason=reason, href=href)


def outside(name: str, read: Answer, asked: Asked) -> str:
    """In a sentence, what a reading is and the limit that it breaks."""
    limit = asked_text(asked, read.unit).removeprefix("at most ")
    return f"{name} shows {reading(read.shown, read.unit)}, limit {limit}."


def different(judged: Judged) -> str:
    """In a sentence, what is not as planned."""
    shown, planned = (reading(text, judged.unit) for text in (judged.shown, judged.planned))
    return f"{judged.step.name} shows {shown}, planned {planned}."


def _outside_now(
    connection: sqlite3.Connection,
    situation: Situation,
    controller: Controller,
    steps: Sequence[Step],
    asked: Mapping[str, Asked],
) -> list[str]:
    """Each setting whose newest reading is outside the class raced now, run-through ended or not."""
    limited = {step.key: step for step in steps if step.key in asked}
    read = store.latest_readings(
        connection, situation.car.id, limited, controller.id, situation.car.motor_id
    )
    return [
        outside(step.name, read[key], asked[key])
        for key, step in limited.items()
        if key in read and not allows(asked[key], read[key].shown)
    ]
