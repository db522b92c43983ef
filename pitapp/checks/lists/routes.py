"""The screens on which checklists are made, edited and reordered, and their past looked up."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, request

from pitapp.checks import store as walks
from pitapp.checks.context import run_context
from pitapp.checks.controllers.profiles import store as profile_store
from pitapp.checks.lists import store
from pitapp.checks.lists.forms import ChecklistForm, StepForm
from pitapp.checks.lists.plan import PlanField, PlanForm
from pitapp.checks.models import Checklist, Profile, Step
from pitapp.db import get_db
from pitapp.db.pages import split_page
from pitapp.errors import BadRequest, ChangedMeanwhile, Refused
from pitapp.kit import store as kit
from pitapp.web.clock import now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes import taps
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("lists", __name__, url_prefix="/lists")
PAGE_LENGTH = 50


@blueprint.get("/new")
def new() -> Any:
    return show("checks/list_new.html", form=ChecklistForm())


@blueprint.post("/new")
@write
def add(connection: sqlite3.Connection) -> Any:
    form = ChecklistForm()
    item = form.fill(Checklist, version=1)
    if item is None:
        return show("checks/list_new.html", 422, form=form)
    new_id, token = store.add_checklist(connection, item, (), now())
    notice(f"Added {item.name}", token)
    return after_write("checks.lists.checklist", checklist_id=new_id)


@blueprint.get("/<int:checklist_id>")
def checklist(checklist_id: int) -> Any:
    return _show_list(get_db(), checklist_id)


@blueprint.get("/<int:checklist_id>/part")
def checklist_part(checklist_id: int) -> Any:
    return show_part("checks/list.html", **_list(get_db(), checklist_id, None))


@blueprint.post("/<int:checklist_id>")
@write
def rename(connection: sqlite3.Connection, checklist_id: int) -> Any:
    stored = _own(connection, checklist_id)
    form = ChecklistForm()
    item = form.fill(Checklist, id=checklist_id, position=stored.position)
    if item is None:
        return _show_list(connection, checklist_id, form, 422)
    try:
        token = store.rename(connection, item, now())
    except ChangedMeanwhile as error:
        form.show_conflict(store.checklist(connection, checklist_id), str(error))
        return _show_list(connection, checklist_id, form, 409)
    notice(f"Saved {item.name}", token)
    return after_write("checks.lists.checklist", checklist_id=checklist_id)


@blueprint.post("/<int:checklist_id>/remove")
@write
def remove(connection: sqlite3.Connection, checklist_id: int) -> Any:
    item = _own(connection, checklist_id)
    notice(f"Removed {item.name}", store.remove_checklist(connection, checklist_id, now()))
    return after_write("checks.page")


@blueprint.get("/<int:checklist_id>/past")
def past(checklist_id: int) -> Any:
    connection = get_db()
    before = request.args.get("before", type=int)
    rows = walks.past(connection, checklist_id, limit=PAGE_LENGTH + 1, before_id=before)
    listed, older = split_page(rows, PAGE_LENGTH)
    return show(
        "checks/past.html",
        checklist=store.checklist(connection, checklist_id),
        walks=listed,
        older=older,
        cars={car.id: car.name for car in kit.cars(connection)},
    )


@blueprint.get("/<int:checklist_id>/plan")
def plan(checklist_id: int) -> Any:
    return _show_plan(get_db(), checklist_id, None)


@blueprint.post("/<int:checklist_id>/plan")
@write
def save_plan(connection: sqlite3.Connection, checklist_id: int) -> Any:
    form = PlanForm()
    profile_id = _plan_id(connection, checklist_id)
    steps = store.steps(connection, checklist_id, profile_id)
    planned = [PlanField(step, request.form) for step in steps]
    if not form.validate_on_submit() or any(each.errors for each in planned):
        return _show_plan(connection, checklist_id, planned, 422)
    values = {each.step.id: each.value for each in planned if each.offered}
    notice("Saved the plan", store.save_plan(connection, values, now(), profile_id))
    item = store.checklist(connection, checklist_id)
    if item.controller_id:
        return after_write("checks.controllers.controller", controller_id=item.controller_id)
    return after_write("checks.lists.checklist", checklist_id=checklist_id)


@blueprint.get("/<int:checklist_id>/steps/new")
def new_step(checklist_id: int) -> Any:
    item = store.checklist(get_db(), checklist_id)
    return _show_step(StepForm(data={"kind": "number" if item.controller_id else "do"}), item)


@blueprint.post("/<int:checklist_id>/steps/new")
@write
def add_step(connection: sqlite3.Connection, checklist_id: int) -> Any:
    item = store.checklist(connection, checklist_id)
    form = StepForm()
    record = form.step(checklist_id=checklist_id, version=1)
    if record is None:
        return _show_step(form, item, status=422)
    _, token = store.save_step(connection, record, now(), _plan_id(connection, checklist_id))
    notice(f"Added {record.name}", token)
    return after_write("checks.lists.checklist", checklist_id=checklist_id)


@blueprint.get("/steps/<int:step_id>")
def step(step_id: int) -> Any:
    connection = get_db()
    item = store.step(connection, step_id)
    item = store.step(connection, step_id, _plan_id(connection, item.checklist_id))
    return _show_step(StepForm.of(item), store.checklist(connection, item.checklist_id), item)


@blueprint.post("/steps/<int:step_id>")
@write
def save_step(connection: sqlite3.Connection, step_id: int) -> Any:
    own = store.checklist(connection, store.step(connection, step_id).checklist_id)
    profile_id = _plan_id(connection, own.id)
    item = store.step(connection, step_id, profile_id)
    form = StepForm()
    record = form.step(item, id=step_id, checklist_id=own.id, position=item.position)
    if record is None:
        return _show_step(form, own, item, 422)
    try:
        _, token = store.save_step(connection, record, now(), profile_id)
    except ChangedMeanwhile as error:
        form.version.data = str(store.step(connection, step_id).version)
        form.form_errors.append(str(error))
        return _show_step(form, own, item, 409)
    notice(f"Saved {record.name}", token)
    return after_write("checks.lists.checklist", checklist_id=own.id)


@blueprint.post("/steps/<int:step_id>/move")
@write
def move_step(connection: sqlite3.Connection, step_id: int) -> Any:
    by = {"up": -1, "down": 1}.get(request.form.get("to", ""))
    if by is None:
        raise BadRequest("A step moves up or down.")
    item = store.step(connection, step_id)
    if status := taps.outdated(store.place(connection, item)):
        screen = "checks.lists.checklist", "checks.lists.checklist_part"
        sentence = "The list was changed on another screen. This is its order now."
        return taps.stale_response(sentence, status, *screen, checklist_id=item.checklist_id)
    token = store.move_step(connection, step_id, by, now())
    notice(f"Moved {item.name}", token)
    return after_write(
        "checks.lists.checklist", "checks.lists.checklist_part", checklist_id=item.checklist_id
    )


@blueprint.post("/steps/<int:step_id>/remove")
@write
def remove_step(connection: sqlite3.Connection, step_id: int) -> Any:
    item = store.step(connection, step_id)
    notice(f"Removed {item.name}", store.remove_step(connection, step_id, now()))
    return after_write("checks.lists.checklist", checklist_id=item.checklist_id)


def _plan_id(connection: sqlite3.Connection, checklist_id: int) -> int | None:
    """Under which the plan is kept that a form is about."""
    profile = _profile(connection, checklist_id)
    return profile.plan_id if profile else None


def _profile(connection: sqlite3.Connection, checklist_id: int) -> Profile | None:
    """The profile whose plan a form is about: the one that it names, else the one in use."""
    item = store.checklist(connection, checklist_id)
    if item.controller_id is None:
        return None
    present = run_context(connection, now(), item)
    said = request.values.get("profile", type=int)
    if said is not None and present.controller:
        return profile_store.profile(connection, present.controller, said)
    return present.profile


def _own(connection: sqlite3.Connection, checklist_id: int) -> Checklist:
    item = store.checklist(connection, checklist_id)
    if item.controller_id:
        raise Refused("These settings belong to their controller. Change or remove that.")
    return item


def _list(
    connection: sqlite3.Connection, checklist_id: int, form: ChecklistForm | None
) -> dict[str, Any]:
    item = store.checklist(connection, checklist_id)
    return {
        "item": item,
        "steps": store.steps(connection, checklist_id, _plan_id(connection, checklist_id)),
        "form": form or ChecklistForm(formdata=None, data=item.model_dump()),
    }


def _show_list(
    connection: sqlite3.Connection,
    checklist_id: int,
    form: ChecklistForm | None = None,
    status: int = 200,
) -> Any:
    values = _list(connection, checklist_id, form)
    return show("checks/list.html", status, **values)


def _show_step(
    form: StepForm, checklist: Checklist, item: Step | None = None, status: int = 200
) -> Any:
    values = {"form": form, "checklist": checklist, "item": item}
    values["profile"] = _profile(get_db(), checklist.id)
    return show("checks/list_step.html", status, **values)


def _show_plan(
    connection: sqlite3.Connection,
    checklist_id: int,
    planned: list[PlanField] | None,
    status: int = 200,
) -> Any:
    if planned is None:
        steps = store.steps(connection, checklist_id, _plan_id(connection, checklist_id))
        planned = [PlanField(each) for each in steps]
    return show(
        "checks/plan.html",
        status,
        checklist=store.checklist(connection, checklist_id),
        planned=planned,
        profile=_profile(connection, checklist_id),
        form=PlanForm(),
    )
