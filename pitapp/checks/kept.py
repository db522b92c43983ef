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

from pitapp.checks import store
from pitapp.checks.engine import LEAST_REASON_WORDS, Judged
from pitapp.checks.forms import NO_REASON
from pitapp.checks.here import TAKEN_UP_FOR, Here, here
from pitapp.checks.models import Answer, Asked, Checklist, Walk
from pitapp.checks.shown import CONVERTED, reading, shown_unit, typed
from pitapp.checks.view import StepView, look_up
from pitapp.web.quantities import unit

UUID, STEP, AT, BACK = "{uuid}", "{step}", "{at}", "{back}"
SHOWN = "{shown}"
TOKEN = re.compile(r'(name="csrf_token" value=")[^"]*')
BEFORE_A_TAG = re.compile(r"\n\s+(?=<)")
NOT_BEGUN = -1
NO_NUMBER = "Write a number here, such as 63.5."


class KeptLimit(TypedDict, total=False):
    """What is asked of one field of a step's form, in the racer's unit.

    `only` is the one good answer, `words` what may stand for a number, `number` what is said of
    anything else that is none.
    """

    least: float
    most: float
    only: str
    words: dict[str, float | None]
    number: str
    unit: str
    under: str
    over: str
    discharging: KeptLimit


class KeptStep(TypedDict):
    """A step: its fragment, and what it asks; `{at}` in it is its address, `{back}` the one before.

    `stopped` is the fragment after a reading outside the limits, where such a one is put down.
    """

    key: str
    html: str
    limits: dict[str, KeptLimit]
    title: NotRequired[str]
    stopped: NotRequired[str]
    expected: NotRequired[str]


class KeptRun(TypedDict):
    """A run-through, shown in place of the `part` of the kept page `frame`, and where it leads to.

    `values` are for the names in braces in its fragments.

    `at` is a step's address with `{uuid}` and `{step}` in it. `uuid` is empty where none is begun;
    `since` is when it was, in ms, and `good_for` how long it holds. `settled` are the keys of the steps
    that the server has nothing to ask at any more, `given` what the forms would send, `reason` what it
    takes for a reading outside the limits to stand.
    """

    at: str
    begin: str
    frame: str
    part: str
    title: str
    values: dict[str, str]
    uuid: str
    since: float
    good_for: float
    reason: NotRequired[dict[str, Any]]
    steps: list[KeptStep]
    settled: list[str]
    given: dict[str, dict[str, str]]
    then: str
    start: NotRequired[dict[str, Any]]


def to_keep(html: str) -> str:
    """The page or fragment as it is kept: without its token and the template's indentation."""
    return BEFORE_A_TAG.sub("\n", TOKEN.sub(r"\1", html))


def in_unit(asked: Asked, symbol: str) -> KeptLimit:
    """What is asked, in the unit in which it is typed."""
    found = unit(CONVERTED[symbol]) if symbol in CONVERTED else None
    between = "" if symbol in ("", "°") else " "
    limit: KeptLimit = {"unit": f"{between}{shown_unit(symbol)}"}
    if asked.least is not None:
        limit["least"] = found.shown(asked.least) if found else asked.least
    if asked.most is not None:
        limit["most"] = found.shown(asked.most) if found else asked.most
    return limit


def run_through(
    connection: sqlite3.Connection, checklist: Checklist, now: datetime
) -> KeptRun | None:
    """One checklist's: taken up where it was left half-way, else one that is not begun yet."""
    present = here(connection, now, checklist)
    begun = store.open_walk(
        connection, checklist.id, car_id=present.car_id, since=present.left_since
    )
    walk: Walk = begun or present.walk(checklist).model_copy(update={"id": NOT_BEGUN})
    _, judged = look_up(connection, walk)
    if StepView.of(connection, walk, present, judged) is None:
        return None
    return KeptRun(
        at=_address(UUID, STEP),
        begin=f"/checks/lists/{checklist.id}/run",
        frame="/checks/card",
        part="card-part",
        title=checklist.title,
        values={},
        uuid=begun.uuid if begun else "",
        since=walk.started_at.timestamp() * 1000 if begun else 0,
        good_for=TAKEN_UP_FOR.total_seconds() * 1000,
        reason={"words": LEAST_REASON_WORDS, "text": NO_REASON},
        steps=[_step(connection, checklist, walk, present, judged, each) for each in judged],
        settled=[str(each.step.id) for each in judged if each.settled],
        given={
            str(each.step.id): {"shown": typed(each.shown, each.unit)}
            for each in judged
            if each.stopped
        },
        then="/checks",
    )


def _address(uuid: str, step: object) -> str:
    return f"/checks/walks/{uuid}/steps/{step}"


def _step(
    connection: sqlite3.Connection,
    checklist: Checklist,
    walk: Walk,
    present: Here,
    judged: list[Judged],
    at: Judged,
) -> KeptStep:
    view = StepView.of(connection, walk, present, judged, at.step)
    if view is None:
        raise AssertionError("a step that is asked for is shown")

    return _made(checklist, walk, present, view)


def _made(checklist: Checklist, walk: Walk, present: Here, view: StepView) -> KeptStep:
    def rendered(shown: StepView) -> str:
        html = render_template(
            "checks/_walk.html", checklist=checklist, walk=walk, here=present, view=shown
        )
        for address, name in ((here_at, AT), (back_at, BACK)):
            html = html.replace(f'"{address}"', f'"{name}"')
        return to_keep(html).replace(walk.uuid, UUID)

    here_at, back_at = (_address(walk.uuid, each) for each in (view.step.id, view.previous_id))
    kept = KeptStep(key=str(view.step.id), html=rendered(view), limits=_limits(view))
    if view.asked is not None:
        kept["stopped"] = rendered(replace(view, judged=_outside(view, walk)))
        kept["expected"] = reading(view.expected, view.step.unit)
    return kept


def _limits(view: StepView) -> dict[str, KeptLimit]:
    step = view.step
    limit = in_unit(view.asked or Asked(), step.unit)
    if step.kind == "number":
        limit["number"] = NO_NUMBER
        limit["words"] = {"off": 0 if step.topic == "timing" else None, "on": None}
    elif view.asked is None:
        return {}
    found = {"shown": limit}
    if view.asked is not None:
        found["expected"] = in_unit(view.asked, "")
    return found


def _outside(view: StepView, walk: Walk) -> Judged:
    step, asked = view.step, view.asked or Asked()
    answer = Answer(
        walk_id=walk.id,
        step_id=step.id,
        key=step.key,
        shown=SHOWN,
        unit=step.unit,
        least=asked.least,
        most=asked.most,
        answered_at=walk.started_at,
    )
    return Judged(step=step, answer=answer, found=("outside",))
