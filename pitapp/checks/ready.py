"""The controller's line on the Board: run through, as planned, legal, or why not."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence

from pitapp.board.models import ReadyLine, Situation
from pitapp.checks import store, this_heat
from pitapp.checks.class_limits import class_limits
from pitapp.checks.context import TAKEN_UP_FOR, run_context
from pitapp.checks.controllers import store as controllers
from pitapp.checks.controllers.profiles import store as profile_store
from pitapp.checks.controllers.profiles.formulas import in_use
from pitapp.checks.engine import (
    StepResult,
    Verdict,
    judge_all,
    reasons_due,
    same,
    unlisted,
    verdict,
    within_limit,
)
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Answer, ChecklistRun, Limit, Profile, Step, scope_query
from pitapp.checks.reading_text import limit_text, reading
from pitapp.checks.scope import as_from_maker, differing
from pitapp.web.clock import moment_text

NAME = "Controller"


def line(connection: sqlite3.Connection, situation: Situation) -> ReadyLine:
    """The controller's readiness line, with the screen that mends what is wrong."""
    controller = controllers.in_car(connection, situation.car.id)
    if controller is None:
        return attention_line("none noted", "Choose the one in this car.", "/checks/controllers")
    own = lists.settings_list(connection, controller.id)
    present = run_context(connection, situation.now, own, situation.car)
    listed = lists.steps(connection, own.id, present.plan_id)
    first = this_heat.scope_first(connection, present, own, listed)
    whole_list = f"/checks/lists/{own.id}/run"
    run = whole_list + scope_query(first)
    walks = store.settings_runs(connection, situation.car.id)
    walk = walks[0] if walks else None
    begun = store.open_run(
        connection, own.id, car_id=situation.car.id, since=situation.now - TAKEN_UP_FOR
    )
    race_class_id = situation.race_class.id if situation.race_class else None
    held = profile_store.profiles(connection, controller)
    profile = in_use(held, race_class_id)
    steps = lists.steps(connection, own.id, profile.plan_id)
    limits = class_limits(situation.race_class)
    illegal = _outside_now(connection, situation, profile, steps, limits)
    if begun and walk and begun.started_at < walk.started_at:
        begun = None
    if begun and not illegal:
        sentence = f"Begun {moment_text(begun.started_at)}."
        half_done = run if first == "legal" else f"{whole_list}{begun.query}"
        return attention_line("check half done", sentence, half_done)
    read_steps, answers = _read_last(connection, walks)
    whole = next((each for each in walks if each.scope != "legal"), walk)
    due = reasons_due(
        walk,
        answers,
        steps,
        controller=controller,
        motor_id=situation.car.motor_id,
        race_class_id=race_class_id,
        profile_id=profile.plan_id,
        limits=limits,
        firmware=whole.firmware if whole else None,
    )
    if illegal:
        reason = " ".join([illegal[0], *([] if begun else due[:1])])
        return ReadyLine(name=NAME, level="stop", word="not legal", reason=reason, href=run)
    if walk is None:
        return attention_line("not checked", due[0], run)
    result = verdict(judge_all(read_steps, answers))
    if result.legal is False and not due:
        due = ["A reading outside the class has changed since."]
    if due:
        more = f" And {len(due) - 1} more." if len(due) > 1 else ""
        return attention_line("check again", f"{due[0]}{more}", run)
    if missing := unlisted(steps, limits):
        return attention_line(
            "limit not checked",
            f"The class limits {missing[0]}; no setting in your list reads it.",
            f"/checks/lists/{own.id}",
        )
    unread = planned_unread(steps, answers, after_reset=any(w.scope == "reset" for w in walks))
    near = this_heat.heat_is_near(connection, situation.meeting, situation.now)
    return status_line(result, walk, [] if walks[-1].scope == "all" else unread, near=near)


def planned_unread(
    steps: Sequence[Step], answers: Sequence[Answer], *, after_reset: bool
) -> list[Step]:
    """What is planned and was not gone through; after a reset, what stands as its maker sets it counts as read."""
    read = {each.step_id for each in answers}
    return [each for each in differing(steps, read) if not (after_reset and as_from_maker(each))]


def status_line(
    result: Verdict, walk: ChecklistRun, unread: Sequence[Step] = (), *, near: bool = False
) -> ReadyLine:
    """The line of a run-through that is not stale and found nothing illegal.

    `unread` is of the plan: with a heat near, what is legal is ready without it.
    """
    href = f"/checks/walks/{walk.uuid}"
    unlike = [
        each for each in result.different if not same(each.shown, each.step.planned or each.shown)
    ]
    if unlike:
        more = f" And {len(unlike) - 1} more." if len(unlike) > 1 else ""
        return attention_line("not as planned", f"{difference_sentence(unlike[0])}{more}", href)
    if result.unread:
        return attention_line("not all read", f"{result.unread[0].step.name} was not read.", href)
    skipped = [each.step.name for each in result.skipped if each.step.required]
    if skipped:
        return attention_line("not all read", f"{skipped[0]} was skipped.", href)
    if unread:
        word = "legal" if result.legal else "read in part"
        many = (
            "1 planned setting was" if len(unread) == 1 else f"{len(unread)} planned settings were"
        )
        moment = moment_text(walk.ended_at or walk.started_at)
        return ReadyLine(
            name=NAME,
            level="good" if near and result.legal else "look",
            word=word,
            reason=f"Read {moment}. {many} not read.",
            href=f"/checks/lists/{walk.checklist_id}/run{scope_query('planned')}",
        )
    summary = "Legal, as planned" if result.legal else "As planned; the class sets no limit"
    reason = f"{summary}, read {moment_text(walk.ended_at or walk.started_at)}."
    return ReadyLine(name=NAME, level="good", word="ready", reason=reason, href=href)


def attention_line(word: str, reason: str, href: str) -> ReadyLine:
    """A line that asks for a look."""
    return ReadyLine(name=NAME, level="look", word=word, reason=reason, href=href)


def limit_sentence(name: str, read: Answer, class_limit: Limit) -> str:
    """In a sentence, what a reading is and the limit that it breaks."""
    limit = limit_text(class_limit, read.unit).removeprefix("at most ")
    return f"{name} shows {reading(read.shown, read.unit)}, limit {limit}."


def difference_sentence(result: StepResult) -> str:
    """In a sentence, what is not as planned."""
    read, planned = (reading(text, result.unit) for text in (result.shown, result.planned))
    return f"{result.step.name} shows {read}, planned {planned}."


def _read_last(
    connection: sqlite3.Connection, walks: Sequence[ChecklistRun]
) -> tuple[list[Step], list[Answer]]:
    """The newest answer at each setting, and the settings they were given at, in their order."""
    steps: dict[int, Step] = {}
    answers: dict[int, Answer] = {}
    for walk in reversed(walks):
        steps |= {
            each.id: each for each in lists.steps_answered(connection, walk.id, walk.profile_id)
        }
        answers |= {each.step_id: each for each in store.answers(connection, walk.id)}
    ordered = sorted(steps.values(), key=lambda each: (each.position, each.id))
    return ordered, list(answers.values())


def _outside_now(
    connection: sqlite3.Connection,
    situation: Situation,
    profile: Profile,
    steps: Sequence[Step],
    limits: Mapping[str, Limit],
) -> list[str]:
    """Each setting whose newest reading is outside the class raced now, run-through ended or not."""
    limited = {step.key: step for step in steps if step.key in limits}
    read = store.latest_readings(
        connection,
        situation.car.id,
        limited,
        profile.controller_id,
        situation.car.motor_id,
        profile.plan_id,
    )
    return [
        limit_sentence(step.name, read[key], limits[key])
        for key, step in limited.items()
        if key in read and not within_limit(limits[key], read[key].shown)
    ]
