"""Run-throughs as a phone keeps them: every step with its limits, to be walked with no server.

`static/js/sw/runs.js` walks them. It knows no limit and no sentence by itself: what speaks against
an answer comes from here, for the charges of `packs` too. The server judges again on arrival.
"""

from __future__ import annotations

import re
import sqlite3
from dataclasses import replace
from datetime import datetime
from typing import Any, NotRequired, TypedDict

from flask import render_template

from pitapp.checks import store, this_heat
from pitapp.checks.context import TAKEN_UP_FOR, RunContext, run_context
from pitapp.checks.controllers.profiles.formulas import looks_like, profile_question
from pitapp.checks.engine import LEAST_REASON_WORDS, StepResult
from pitapp.checks.forms import NO_REASON, OUTSIDE, AnswerForm
from pitapp.checks.lists import store as lists
from pitapp.checks.models import SCOPE_NAMES, Answer, Checklist, ChecklistRun, Limit, Scope
from pitapp.checks.reading_text import (
    CONVERTED,
    display_unit,
    field_text,
    range_question,
    range_text,
    reading,
)
from pitapp.checks.scope import offered
from pitapp.checks.view import StepView, look_up
from pitapp.web.forms.fields import sensible_range
from pitapp.web.forms.quantities import unit
from pitapp.web.http.htmx import part

UUID, STEP, AT, BACK = "{uuid}", "{step}", "{at}", "{back}"
SURE = "{sure}"
"""Where a fragment offers to take a reading that is asked about as it is."""
SHOWN = "{shown}"
KNOWN = "{known}"
"""Where the form of a run-through that is not begun yet says what it took as answered for this heat."""
MARKS = {"problem_mark": "{problem}", "open_mark": "{open}"}
"""Where a fragment shows what speaks against an answer, and what opens a fold then."""
TOKEN = re.compile(r'(name="csrf_token" value=")[^"]*')
BEFORE_A_TAG = re.compile(r"\n\s+(?=<)")
NOT_BEGUN = -1
NO_NUMBER = "Write a number here, such as 63.5."


class OfflineLimit(TypedDict, total=False):
    """What is asked of one field of a step's form, in the racer's unit.

    `only` is the one good answer, `words` what may stand for a number, `number` what is said of
    anything else that is none. `sensible` tells a comma in a thousand from a decimal one.
    """

    least: float
    most: float
    only: str
    words: dict[str, float | None]
    number: str
    unit: str
    sensible: tuple[float, float]
    under: str
    over: str
    discharging: OfflineLimit


class OfflineDoubt(TypedDict, total=False):
    """What is asked about, in the racer's unit: outside `least` to `most` and not among those `known`.

    `likes` are the readings that another profile plans, with the question about each; `text` is the
    question about the range, `yes` the markup of the button that takes the reading as it is.
    """

    least: float
    most: float
    known: list[str]
    likes: dict[str, str]
    text: str
    yes: str


class OfflineStep(TypedDict):
    """A step: its fragment, and what it asks; `{at}` in it is its address, `{back}` the one before.

    What was typed into a field stands in its place, `{typed-NAME}`.

    `apart` is how far the cells that it measures may rest from each other (`most`, in V), and the
    `text` against more. `stopped` is the fragment after a reading outside the limits, where such a one is put down.
    """

    key: str
    html: str
    group: NotRequired[str]
    limits: dict[str, OfflineLimit]
    title: NotRequired[str]
    apart: NotRequired[dict[str, Any]]
    stopped: NotRequired[str]
    doubt: NotRequired[OfflineDoubt]
    expected: NotRequired[str]


class OfflineRun(TypedDict):
    """A run-through, shown in the kept frame of the room `frame`, and where it leads to.

    `values` are for the names in braces in its fragments.

    `at` is a step's address with `{uuid}` and `{step}` in it. `uuid` is empty where none is begun;
    `since` is when it was begun, or kept where it is not, in ms, and `good_for` how long it holds. `settled` are the
    keys of the steps that the server has nothing to ask at any more (of one that is not begun: for `known_for` ms,
    as long as neither a reset nor a run waits to be sent), `group` the name of what a step is left out with,
    `given` what the forms would send, `reason` what it takes for a reading outside the limits to stand, and what
    is said where one would be skipped.
    """

    at: str
    begin: str
    frame: str
    title: str
    values: dict[str, str]
    uuid: str
    since: float
    good_for: float
    known_for: NotRequired[float]
    reason: NotRequired[dict[str, Any]]
    steps: list[OfflineStep]
    settled: list[str]
    given: dict[str, dict[str, str]]
    then: str
    start: NotRequired[dict[str, Any]]


def without_token(html: str) -> str:
    """The page or fragment as it is kept: without its token and the template's indentation."""
    return BEFORE_A_TAG.sub("\n", TOKEN.sub(r"\1", html))


def typed(name: str) -> str:
    """Placeholder in a fragment for the text typed into a field."""
    return f"{{typed-{name}}}"


def in_unit(class_limit: Limit, symbol: str) -> OfflineLimit:
    """What is asked, in the unit in which it is typed."""
    display = unit(CONVERTED[symbol]) if symbol in CONVERTED else None
    between = "" if symbol in ("", "°") else " "
    limit: OfflineLimit = {"unit": f"{between}{display_unit(symbol)}"}
    if sensible := sensible_range(display_unit(symbol)):
        limit["sensible"] = sensible
    if class_limit.least is not None:
        limit["least"] = display.display_value(class_limit.least) if display else class_limit.least
    if class_limit.most is not None:
        limit["most"] = display.display_value(class_limit.most) if display else class_limit.most
    return limit


def run_through(
    connection: sqlite3.Connection, checklist: Checklist, now: datetime, scope: Scope = "all"
) -> OfflineRun | None:
    """One checklist's: taken up where it was left half-way, else one that is not begun yet."""
    present = run_context(connection, now, checklist)
    begun = store.open_run(
        connection,
        checklist.id,
        car_id=present.car_id,
        since=this_heat.left_since(connection, present, checklist),
        scope=scope,
    )
    new = present.walk(checklist, scope=scope).model_copy(update={"id": NOT_BEGUN})
    walk: ChecklistRun = begun or new
    may_know = begun is not None or checklist.occasion in this_heat.FOR_EACH_HEAT
    _, results = look_up(connection, walk, present.limits)
    if StepView.of(connection, walk, present, results) is None:
        return None
    return OfflineRun(
        at=f"/checks/walks/{UUID}/steps/{STEP}{walk.query}",
        begin=f"/checks/lists/{checklist.id}/run{walk.query}",
        frame="checks",
        title=checklist.title if walk.scope == "all" else SCOPE_NAMES[walk.scope],
        values={},
        uuid=begun.uuid if begun else "",
        since=walk.started_at.timestamp() * 1000,
        good_for=TAKEN_UP_FOR.total_seconds() * 1000,
        known_for=(this_heat.known_until(connection, present) - now).total_seconds() * 1000,
        reason={"words": LEAST_REASON_WORDS, "text": NO_REASON, "skipped": OUTSIDE},
        steps=[_step(connection, checklist, walk, present, results, each) for each in results],
        settled=[str(each.step.id) for each in results if each.settled] if may_know else [],
        given={str(each.step.id): _given(each) for each in results if each.barred},
        then="/checks",
    )


def _given(result: StepResult) -> dict[str, str]:
    """What the form of a step sends that was read outside the class, with its reason where it stands."""
    given = {"shown": field_text(result.shown, result.unit)}
    if result.answer and not result.stopped:
        given |= {"stand": "", "reason": result.answer.reason}
    return given


def offered_scopes(
    connection: sqlite3.Connection, checklist: Checklist, now: datetime
) -> list[Scope]:
    """How much of a list may be gone through; in part only where it holds settings."""
    if checklist.controller_id is None:
        return ["all"]
    present = run_context(connection, now, checklist)
    steps = lists.steps(connection, checklist.id, present.plan_id)
    return ["all", *offered(steps, present.limits)]


def _step(
    connection: sqlite3.Connection,
    checklist: Checklist,
    walk: ChecklistRun,
    present: RunContext,
    results: list[StepResult],
    at: StepResult,
) -> OfflineStep:
    view = StepView.of(connection, walk, present, results, at.step)
    if view is None:
        raise AssertionError("a step that is asked for is shown")

    return _offline_run(checklist, walk, present, view)


def _offline_run(
    checklist: Checklist, walk: ChecklistRun, present: RunContext, view: StepView
) -> OfflineStep:
    def rendered(step_view: StepView) -> str:
        values = {"checklist": checklist, "walk": walk, "present": present, "view": step_view}
        values["sure_mark"] = SURE
        html = part("checks/walk.html", **values, **MARKS)
        for address, name in ((here_at, AT), (back_at, BACK)):
            html = html.replace(f'"{address}"', f'"{name}"') if address else html
        return without_token(html).replace(walk.uuid, UUID)

    form = AnswerForm.of(view.step)
    form.shown.data, form.reason.data = typed("shown"), typed("reason")
    view = replace(view, sent=form, known=KNOWN if walk.id == NOT_BEGUN else "")
    here_at, back_at = view.address, view.back
    step = OfflineStep(key=str(view.step.id), html=rendered(view), limits=_limits(view))
    if view.step.group_name:
        step["group"] = view.step.group_name
    if doubt := _doubt(view):
        step["doubt"] = doubt
    if view.limit is not None:
        step["stopped"] = rendered(replace(view, result=_outside(view, walk)))
        step["expected"] = reading(view.expected, view.step.unit)
    return step


def _limits(view: StepView) -> dict[str, OfflineLimit]:
    step = view.step
    limit = in_unit(view.limit or Limit(), step.unit)
    if step.kind == "number":
        limit["number"] = NO_NUMBER
        limit["words"] = {"off": 0 if step.topic == "timing" else None, "on": None}
    elif view.limit is None:
        return {}
    limits = {"shown": limit}
    if view.limit is not None:
        limits["expected"] = in_unit(view.limit, "")
    return limits


def _doubt(view: StepView) -> OfflineDoubt | None:
    step = view.step
    likes = {}
    for profile, planned in view.others:
        expected = planned.get(step.id, "")
        if looks_like(step, expected, view.others) == profile:
            likes[field_text(expected, step.unit)] = profile_question(profile)
    if not range_text(step) and not likes:
        return None
    bounds = in_unit(Limit(least=step.range_least, most=step.range_most), step.unit)
    known = (step.planned, view.last.shown if view.last else "")
    doubt = OfflineDoubt(
        known=[field_text(each, step.unit) for each in known if each],
        likes=likes,
        text=range_question(step),
        yes=without_token(render_template("checks/_sure.html")),
    )
    if "least" in bounds:
        doubt["least"] = bounds["least"]
    if "most" in bounds:
        doubt["most"] = bounds["most"]
    return doubt


def _outside(view: StepView, walk: ChecklistRun) -> StepResult:
    step, limit = view.step, view.limit or Limit()
    answer = Answer(
        walk_id=walk.id,
        step_id=step.id,
        key=step.key,
        shown=SHOWN,
        unit=step.unit,
        least=limit.least,
        most=limit.most,
        answered_at=walk.started_at,
    )
    return StepResult(step=step, answer=answer, problems=("outside",))
