"""The profiles of controllers and their plans in the database."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from datetime import datetime

from pitapp.checks.controllers import store as controllers
from pitapp.checks.controllers.profiles.formulas import OtherPlan
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller, Profile
from pitapp.db import records, undo
from pitapp.errors import NotThere, Refused

MOST = 10
"""Profiles of one controller: our choice."""
_PROFILE = "id, controller_id, name, race_class_id, chosen, version"


def profiles(connection: sqlite3.Connection, item: Controller) -> list[Profile]:
    """A controller's profiles by their number; the first is the controller's own."""
    first = Profile(
        controller_id=item.id,
        name=item.profile_name,
        race_class_id=item.profile_class_id,
        version=item.version,
    )
    rows = connection.execute(
        f"SELECT {_PROFILE} FROM controller_profiles "  # noqa: S608
        "WHERE controller_id = ? AND removed_at IS NULL ORDER BY id",
        (item.id,),
    )
    return [first, *(Profile(**row, number=number) for number, row in enumerate(rows, start=2))]


def profile(connection: sqlite3.Connection, item: Controller, profile_id: int) -> Profile:
    """One profile of a controller; 0 is its first.

    Raises:
        NotThere: it has no such profile.
    """
    for each in profiles(connection, item):
        if each.id == profile_id:
            return each
    raise NotThere("There is no such profile. It may have been removed.")


def others(connection: sqlite3.Connection, item: Controller, than: int | None) -> list[OtherPlan]:
    """What each profile but one plans."""
    own = lists.settings_list(connection, item.id)
    return [
        OtherPlan(
            each,
            {
                step.id: step.planned
                for step in lists.steps(connection, own.id, each.plan_id)
                if step.planned
            },
        )
        for each in profiles(connection, item)
        if each.plan_id != than
    ]


def add(
    connection: sqlite3.Connection,
    item: Controller,
    new: Profile,
    plan: Mapping[int, str],
    now: datetime,
) -> tuple[int, str]:
    """Add a profile with that plan, by the settings' ids; returns its id and the undo token.

    Raises:
        Refused: the controller has as many as it may, or another profile goes with that class.
    """
    _check_class(connection, item, new)
    if len(profiles(connection, item)) >= MOST:
        raise Refused(f"A controller has at most {MOST} profiles here.")
    with undo.step(connection, "Added a profile", now) as step:
        values = new.model_dump(include={"name", "race_class_id"}) | {"controller_id": item.id}
        new_id = step.insert("controller_profiles", values)
        for step_id, planned in plan.items():
            row = {"profile_id": new_id, "step_id": step_id, "planned": planned}
            step.insert("profile_plans", row)
    return new_id, step.token


def change(
    connection: sqlite3.Connection, item: Controller, changed: Profile, now: datetime
) -> str:
    """Change a profile's name and class; returns the undo token.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        Refused: another profile goes with that class.
    """
    _check_class(connection, item, changed)
    with undo.step(connection, "Changed a profile", now) as step:
        if changed.id:
            values = changed.model_dump(include={"name", "race_class_id"})
            step.save("controller_profiles", changed.id, changed.version, values)
        else:
            values = {"profile_name": changed.name, "profile_class_id": changed.race_class_id}
            step.save("controllers", item.id, changed.version, values)
    return step.token


def use(connection: sqlite3.Connection, item: Controller, chosen: Profile, now: datetime) -> str:
    """Note that this profile is chosen on the controller from now on; returns the undo token."""
    with undo.step(connection, f"{chosen.title} is in use", now) as step:
        for each in profiles(connection, item)[1:]:
            if each.chosen != (each.id == chosen.id):
                step.change("controller_profiles", each.id, {"chosen": not each.chosen})
    return step.token


def remove(connection: sqlite3.Connection, gone: Profile, now: datetime) -> str:
    """Take a profile out of the lists; its run-throughs stay on record. Returns the undo token.

    Raises:
        Refused: it is the first.
    """
    if not gone.id:
        raise Refused("The first profile stays with the controller. Change its name and plan.")
    return records.remove(connection, "controller_profiles", gone.id, f"Removed {gone.title}", now)


def _check_class(connection: sqlite3.Connection, item: Controller, wanted: Profile) -> None:
    for each in profiles(connection, controllers.controller(connection, item.id)):
        tied = wanted.race_class_id and each.race_class_id == wanted.race_class_id
        if tied and each.id != wanted.id:
            raise Refused(f"{each.title} goes with that class already. Change that first.")
