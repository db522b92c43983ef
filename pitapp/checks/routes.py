"""The Checks screens: what there is to run through, one step a screen, and the verdict."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, redirect, request, url_for

from pitapp.board.models import Situation
from pitapp.checks import after_heat, answering, ready, store, this_heat
from pitapp.checks.card.routes import blueprint as card
from pitapp.checks.context import cars_with, context_of_run, run_context
from pitapp.checks.controllers import store as kept
from pitapp.checks.controllers.routes import blueprint as controllers
from pitapp.checks.engine import StepResult, defaults_from, judge, plan_from
from pitapp.checks.forms import OUTSIDE, AnswerForm
from pitapp.checks.lists import store as lists
from pitapp.checks.lists.routes import blueprint as own_lists
from pitapp.checks.models import SCOPE_NAMES, Answer, ChecklistRun, Scope, Step
from pitapp.checks.reading_text import (
    field_text,
    limit_text,
    lower_first,
    may_be_negative,
    range_text,
    reading,
    wait_text,
)
from pitapp.checks.scope import SHORTER, in_scope, offered
from pitapp.checks.view import StepView, VerdictView, look_up, other_plans, profile_title
from pitapp.db import get_db
from pitapp.errors import NotThere, Refused
from pitapp.kit import subject
from pitapp.web.clock import now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

GROUP = "group"
"""The value of `skip` that leaves out what is still open of the step's group."""

blueprint = Blueprint("checks", __name__, url_prefix="/checks")
blueprint.add_app_template_filter(reading, "reading")
blueprint.add_app_template_filter(limit_text, "limit_text")
blueprint.add_app_template_filter(wait_text, "wait")
blueprint.add_app_template_filter(lower_first, "lower_first")
blueprint.add_app_template_filter(SCOPE_NAMES.__getitem__, "scope_name")
blueprint.add_app_template_filter(range_text, "range_text")
blueprint.add_app_template_filter(field_text, "field_text")
blueprint.add_app_template_filter(may_be_negative, "may_be_negative")
for part in (card, controllers, own_lists):
    blueprint.register_blueprint(part)


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    present = run_context(connection, now())
    situation = (
        Situation(
            car=present.car,
            now=present.now,
            meeting=present.meeting,
            race_class=present.race_class,
        )
        if present.car
        else None
    )
    own = lists.checklists(connection)
    last = store.latest_runs(connection, [each.id for each in own], present.car_id)
    settings = (
        lists.settings_list(connection, present.controller.id) if present.controller else None
    )
    steps = lists.steps(connection, settings.id, present.plan_id) if settings else []
    return show(
        "checks/page.html",
        present=present,
        has_controllers=bool(present.controller or kept.controllers(connection)),
        controller_line=ready.line(connection, situation) if situation else None,
        checklists=own,
        counts=lists.counts(connection),
        last=last,
        half_way={
            each.id
            for each in own
            if (run := last.get(each.id))
            and not run.ended_at
            and run.started_at >= this_heat.left_since(connection, present, each)
        },
        settings=settings,
        number=len(steps),
        first=this_heat.scope_first(connection, present, settings, steps) if settings else "all",
        scopes=offered(steps, present.limits),
    )


@blueprint.get("/lists/<int:checklist_id>/run")
def run(checklist_id: int) -> Any:
    """Take up the run-through that was left half-way, or show the first step of a new one."""
    connection = get_db()
    checklist = lists.checklist(connection, checklist_id)
    present = run_context(connection, now(), checklist)
    scope = _scope()
    begun = store.open_run(
        connection,
        checklist_id,
        car_id=present.car_id,
        since=this_heat.left_since(connection, present, checklist),
        scope=scope,
    )
    if not begun:
        steps = lists.steps(connection, checklist_id, present.plan_id)
        if not steps:
            return redirect(url_for("checks.lists.checklist", checklist_id=checklist_id))
        if not in_scope(steps, scope, present.limits):
            return redirect(url_for("checks.run", checklist_id=checklist_id))
    new = present.walk(checklist, scope=scope)
    return _show(connection, begun or new, anew="anew" in request.args)


@blueprint.get("/walks/<uuid>")
def walk(uuid: str) -> Any:
    connection = get_db()
    return _show(connection, store.checklist_run(connection, uuid))


@blueprint.get("/walks/<uuid>/part")
def walk_part(uuid: str) -> Any:
    connection = get_db()
    return _show(connection, store.checklist_run(connection, uuid), part=True)


@blueprint.get("/walks/<uuid>/steps/<int:step_id>")
def step(uuid: str, step_id: int) -> Any:
    connection = get_db()
    return _show(connection, store.checklist_run(connection, uuid), lists.step(connection, step_id))


@blueprint.get("/walks/<uuid>/steps/<int:step_id>/part")
def step_part(uuid: str, step_id: int) -> Any:
    connection = get_db()
    at = lists.step(connection, step_id)
    return _show(connection, store.checklist_run(connection, uuid), at, part=True)


@blueprint.post("/walks/<uuid>/steps/<int:step_id>")
@write
def answer(connection: sqlite3.Connection, uuid: str, step_id: int) -> Any:
    at = lists.step(connection, step_id)
    form = AnswerForm.of(at)
    current = _begun(connection, uuid, at)
    at = lists.step(connection, step_id, current.profile_id)
    if "timer" in request.form:
        answering.start_timer(connection, current, at, now())
        return after_write("checks.step", "checks.step_part", uuid=uuid, step_id=step_id)
    if current.ended_at and "correct" not in request.form:
        if _sent_twice(_held(connection, current, at), at, form):
            return after_write("checks.walk", "checks.walk_part", uuid=uuid)
        raise Refused("This run-through is over. Begin a new one.")
    token = _answered(connection, current, at, form)
    if form.shown.errors or form.reason.errors:
        return _show(connection, current, at, form, 422)
    if token:
        notice(f"Changed {at.name}", token)
    return after_write("checks.walk", "checks.walk_part", uuid=uuid)


def _answered(
    connection: sqlite3.Connection, current: ChecklistRun, at: Step, form: AnswerForm
) -> str | None:
    checklist = lists.checklist(connection, at.checklist_id)
    present = context_of_run(connection, now(), checklist, current)
    limits = present.limits
    steps = look_up(connection, current, limits, at)[0]
    skipped, value, reason = "skip" in request.form, "", ""
    if skipped and (stored := _held(connection, current, at)) and judge(at, stored).barred:
        form.shown.errors = [OUTSIDE]
        return None
    if "stand" in request.form and not skipped:
        stored = _held(connection, current, at)
        if stored is None:
            form.shown.errors = ["Write what it shows first."]
            return None
        value, reason = stored.shown, form.why() or ""
    elif not skipped:
        value = form.stored_reading(at, as_expected="take" in request.form) or ""
        if "sure" not in request.form:
            before = store.last_shown(connection, current, at)
            known = (at.planned, before.shown if before else "")
            form.ask_about(at, value, known, other_plans(connection, current, present))
    if form.shown.errors or form.reason.errors:
        return None
    if request.form.get("skip") == GROUP:
        answering.skip_group(connection, current, steps, at, limits=limits, now=now())
        return None
    _, token = answering.answer(
        connection,
        current,
        steps,
        at,
        value,
        limits=limits,
        now=now(),
        reason=reason,
        skipped=skipped,
    )
    if not skipped:
        after_heat.note_reading(connection, current.car_id, at.topic, value, now())
    return None if reason else token


def _sent_twice(stored: Answer | None, at: Step, form: AnswerForm) -> bool:
    if stored is None or "skip" in request.form:
        return stored is not None and stored.skipped
    if "stand" in request.form:
        return stored.reason == form.why()
    return stored.shown == form.stored_reading(at, as_expected="take" in request.form)


def _held(connection: sqlite3.Connection, current: ChecklistRun, at: Step) -> Answer | None:
    answers = store.answers(connection, current.id)
    return next((each for each in answers if each.step_id == at.id), None)


def _begun(connection: sqlite3.Connection, uuid: str, at: Step) -> ChecklistRun:
    stored = store.find_run(connection, uuid)
    if stored is None:
        checklist = lists.checklist(connection, at.checklist_id)
        among = cars_with(connection, checklist) if checklist.controller_id else None
        car = subject.form_car(connection, among)
        try:
            new = run_context(connection, now(), checklist, car).walk(checklist, uuid, _scope())
        except ValueError:
            raise NotThere("There is no such run-through.") from None
        stored = store.begin(connection, new)
        for known in _answered_before(connection, stored):
            store.put_answer(connection, known, None, now())
    if stored.checklist_id != at.checklist_id:
        raise NotThere("This step belongs to another list.")
    return stored


def _answered_before(connection: sqlite3.Connection, begun: ChecklistRun) -> list[Answer]:
    """What a run-through need not ask: what the log says, and what the page took as read for this heat."""
    steps = lists.steps(connection, begun.checklist_id, begun.profile_id)
    answers = after_heat.answers_from_log(connection, begun, steps)
    sent = request.form.get("known", "").split()
    if not sent:
        return answers
    checklist = lists.checklist(connection, begun.checklist_id)
    limits = context_of_run(connection, now(), checklist, begun).limits
    among = in_scope(steps, begun.scope, limits)
    read = this_heat.answers_of_this_heat(connection, begun, among, limits)
    return [*answers, *(each for each in read if str(each.step_id) in sent)]


@blueprint.post("/walks/<uuid>/again")
@write
def again(connection: sqlite3.Connection, uuid: str) -> Any:
    """Begin a new run-through; one left half-way is closed."""
    current = store.checklist_run(connection, uuid)
    if current.ended_at is None:
        notice("Dropped the run-through", store.remove_run(connection, current, now()))
    more = {} if current.scope == "all" else {"steps": current.scope}
    return after_write("checks.run", checklist_id=current.checklist_id, anew=1, **more)


def _scope() -> Scope:
    """Which of the settings are gone through, by the address."""
    for scope in SHORTER:
        if request.args.get("steps") == scope:
            return scope
    return "all"


@blueprint.post("/walks/<uuid>/remove")
@write
def remove(connection: sqlite3.Connection, uuid: str) -> Any:
    current = store.checklist_run(connection, uuid)
    notice("Removed the run-through", store.remove_run(connection, current, now()))
    return after_write("checks.lists.past", checklist_id=current.checklist_id)


@blueprint.post("/walks/<uuid>/plan")
@write
def take_as_plan(connection: sqlite3.Connection, uuid: str) -> Any:
    """Use this run-through's readings as the plan."""
    plan = plan_from(_results(connection, uuid))
    if plan:
        profile_id = store.checklist_run(connection, uuid).profile_id
        token = lists.save_plan(connection, plan, now(), profile_id)
        notice("These readings are now the plan", token)
    return after_write("checks.walk", "checks.walk_part", uuid=uuid)


@blueprint.post("/walks/<uuid>/defaults")
@write
def take_as_defaults(connection: sqlite3.Connection, uuid: str) -> Any:
    """Note this run-through's readings as what the maker sets, right after a reset."""
    read = defaults_from(_results(connection, uuid))
    if read:
        token = lists.save_defaults(connection, read, now())
        notice("These readings are now the maker's defaults", token)
    return after_write("checks.walk", "checks.walk_part", uuid=uuid)


def _results(connection: sqlite3.Connection, uuid: str) -> list[StepResult]:
    current = store.checklist_run(connection, uuid)
    checklist = lists.checklist(connection, current.checklist_id)
    limits = context_of_run(connection, now(), checklist, current).limits
    return look_up(connection, current, limits)[1]


def _show(
    connection: sqlite3.Connection,
    current: ChecklistRun,
    at: Step | None = None,
    form: AnswerForm | None = None,
    status: int = 200,
    *,
    part: bool = False,
    anew: bool = False,
) -> Any:
    checklist = lists.checklist(connection, current.checklist_id)
    if at is not None and at.checklist_id != checklist.id:
        raise NotThere("This step belongs to another list.")
    present = context_of_run(connection, now(), checklist, current)
    steps, results = look_up(connection, current, present.limits, at, anew=anew)
    view = StepView.of(connection, current, present, results, at, form) if steps else None
    settings = (
        lists.steps(connection, checklist.id, current.profile_id) if current.scope != "all" else ()
    )
    others = () if view else other_plans(connection, current, present)
    values = {
        "checklist": checklist,
        "walk": current,
        "present": present,
        "view": view,
        "verdict": None if view else VerdictView(results, current, present, settings, others),
        "profile": profile_title(current, present),
    }
    if part:
        return show_part("checks/walk.html", status, **values)
    return show("checks/walk.html", status, **values)
