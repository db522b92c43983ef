"""The screens of a controller's profiles: each with a name, a class that it goes with, and a plan."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint

from pitapp.checks.context import run_context
from pitapp.checks.controllers import store as controllers
from pitapp.checks.controllers.profiles import store
from pitapp.checks.controllers.profiles.forms import ProfileForm
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller, Profile
from pitapp.db import get_db
from pitapp.errors import ChangedMeanwhile, Refused
from pitapp.meetings.classes import store as classes
from pitapp.web.clock import now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("profiles", __name__, url_prefix="/<int:controller_id>/profiles")
FIRST = 0


@blueprint.get("/new")
def new(controller_id: int) -> Any:
    connection = get_db()
    item = controllers.controller(connection, controller_id)
    own = lists.settings_list(connection, controller_id)
    profile = run_context(connection, now(), own).profile
    like = str(profile.id) if profile else str(FIRST)
    return _show(connection, item, _form(connection, item, {"like": like}))


@blueprint.post("/new")
@write
def add(connection: sqlite3.Connection, controller_id: int) -> Any:
    item = controllers.controller(connection, controller_id)
    form = _form(connection, item)
    record = form.profile(controller_id=controller_id, version=1)
    if record is None:
        return _show(connection, item, form, status=422)
    own, plan = lists.settings_list(connection, controller_id), {}
    if form.like.data:
        source = store.profile(connection, item, int(form.like.data))
        steps = lists.steps(connection, own.id, source.plan_id)
        plan = {each.id: each.planned for each in steps if each.planned}
    try:
        new_id, token = store.add(connection, item, record, plan, now())
    except Refused as error:
        form.form_errors.append(str(error))
        return _show(connection, item, form, status=422)
    added = store.profile(connection, item, new_id)
    notice(f"Added {added.title}", token)
    return after_write(
        "checks.controllers.profiles.profile", controller_id=controller_id, profile_id=new_id
    )


@blueprint.get("/<int:profile_id>")
def profile(controller_id: int, profile_id: int) -> Any:
    connection = get_db()
    item = controllers.controller(connection, controller_id)
    current = store.profile(connection, item, profile_id)
    form = _form(connection, item, current.model_dump())
    return _show(connection, item, form, current)


@blueprint.post("/<int:profile_id>")
@write
def change(connection: sqlite3.Connection, controller_id: int, profile_id: int) -> Any:
    item = controllers.controller(connection, controller_id)
    current = store.profile(connection, item, profile_id)
    form = _form(connection, item)
    record = form.profile(id=profile_id, controller_id=controller_id, number=current.number)
    if record is None:
        return _show(connection, item, form, current, 422)
    try:
        token = store.change(connection, item, record, now())
    except ChangedMeanwhile as error:
        form.show_conflict(current, str(error))
        return _show(connection, item, form, current, 409)
    except Refused as error:
        form.form_errors.append(str(error))
        return _show(connection, item, form, current, 422)
    notice(f"Saved {record.title}", token)
    return after_write("checks.controllers.controller", controller_id=controller_id)


@blueprint.post("/<int:profile_id>/use")
@write
def use(connection: sqlite3.Connection, controller_id: int, profile_id: int) -> Any:
    """Note that this profile is chosen on the controller now."""
    item = controllers.controller(connection, controller_id)
    chosen = store.profile(connection, item, profile_id)
    notice(f"{chosen.title} is in use", store.use(connection, item, chosen, now()))
    return after_write("checks.controllers.controller", controller_id=controller_id)


@blueprint.post("/<int:profile_id>/remove")
@write
def remove(connection: sqlite3.Connection, controller_id: int, profile_id: int) -> Any:
    item = controllers.controller(connection, controller_id)
    gone = store.profile(connection, item, profile_id)
    notice(f"Removed {gone.title}", store.remove(connection, gone, now()))
    return after_write("checks.controllers.controller", controller_id=controller_id)


def _form(
    connection: sqlite3.Connection, item: Controller, values: dict[str, Any] | None = None
) -> ProfileForm:
    form = ProfileForm(data=values)
    if values is not None:
        form.race_class_id.data = str(values.get("race_class_id") or "")
    form.set_choices(classes.race_classes(connection), store.profiles(connection, item))
    return form


def _show(
    connection: sqlite3.Connection,
    item: Controller,
    form: ProfileForm,
    current: Profile | None = None,
    status: int = 200,
) -> Any:
    own = lists.settings_list(connection, item.id)
    present = run_context(connection, now(), own)
    return show(
        "checks/profile.html",
        status,
        item=item,
        form=form,
        checklist=own,
        current=current,
        present=present,
        steps=lists.steps(connection, own.id, current.plan_id) if current else (),
    )
