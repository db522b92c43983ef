"""What the form of a run offers to choose from, and the run made from what was typed."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from flask import request

from pitapp.checks import after_heat
from pitapp.checks.after_heat import JUST_DRIVEN
from pitapp.db import undo
from pitapp.errors import NotThere
from pitapp.kit import store as kit
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import clock_text
from pitapp.meetings.models import CAR_KINDS, Heat
from pitapp.packs import store as packs
from pitapp.packs.likely import likely_pack
from pitapp.runs import store
from pitapp.runs.forms import LOCAL, RunForm
from pitapp.runs.models import FittedCar, Run, Snapshot
from pitapp.runs.photographs import store as photographs
from pitapp.runs.photographs.jpeg import Picture
from pitapp.runs.snapshot import snapshot
from pitapp.runs.tyres import store as tyres
from pitapp.tracks import store as tracks
from pitapp.web.clock import current_settings, home_zone, zone
from pitapp.web.writes.transactions import KEY_HEADER

ASKED_LATER = ("second_can_c", "second_after_s", "top_speed_kmh", "top_speed_spread_kmh")
"""What a post from an older page leaves out: it stays as it was."""


def set_choices(connection: sqlite3.Connection, form: RunForm, earlier: Run | None = None) -> None:
    """Fill the form's lists; what an earlier run had stays in them though it was removed since."""
    snapshot = earlier.snapshot if earlier else None
    lists: dict[str, tuple[str, list[tuple[int, str]]]] = {
        "car_id": ("", [(car.id, car.name) for car in kit.cars(connection)]),
        "motor_id": ("not noted", [(motor.id, motor.name) for motor in kit.motors(connection)]),
        "pack_id": (
            "not noted",
            [
                (
                    pack.id,
                    pack.mark if pack.condition == "sound" else f"{pack.mark} ({pack.condition})",
                )
                for pack in packs.packs(connection)
            ],
        ),
        "tyre_set_id": (
            "not noted",
            [(each.id, each.name) for each in tyres.tyre_sets(connection)],
        ),
        "track_id": ("not noted", [(each.id, each.name) for each in tracks.tracks(connection)]),
        "race_class_id": (
            "none",
            [(each.id, each.name) for each in meetings.race_classes(connection)],
        ),
        "meeting_id": (
            "none",
            [
                (each.id, f"{each.day.day} {each.day:%b %Y} {each.name}".strip())
                for each in meetings.meetings(connection, limit=30)
            ],
        ),
        "heat_id": ("none", _heats(connection, form)),
    }
    if earlier and snapshot:
        current = (
            ("car_id", earlier.car_id, snapshot.car.name),
            ("motor_id", earlier.motor_id, snapshot.motor.name if snapshot.motor else ""),
            ("pack_id", earlier.pack_id, snapshot.pack.mark if snapshot.pack else ""),
            ("tyre_set_id", earlier.tyre_set_id, snapshot.tyres.name if snapshot.tyres else ""),
            ("track_id", earlier.track_id, "removed track"),
            ("race_class_id", earlier.race_class_id, "removed class"),
            ("meeting_id", earlier.meeting_id, "its meeting"),
            ("heat_id", earlier.heat_id, "its heat"),
        )
        for name, number, text in current:
            if number is not None and number not in dict(lists[name][1]):
                lists[name][1].append((number, text or "as it was"))
    for name, (none, choices) in lists.items():
        form[name].set_choices(choices, none)


def _heats(connection: sqlite3.Connection, form: RunForm) -> list[tuple[int, str]]:
    """The outings of the meeting that the form is about, and of the heat that it names."""
    ids = {form.meeting_id.data}
    if form.heat_id.data is not None:
        with suppress(NotThere):
            ids.add(meetings.heat(connection, form.heat_id.data).meeting_id)
    listed = []
    for meeting_id in filter(None, ids):
        try:
            meeting = meetings.meeting(connection, meeting_id)
        except NotThere:
            continue
        listed += [
            (heat.id, f"{heat.title}, {clock_text(meeting, heat.starts_at)}")
            for heat in meetings.heats(connection, meeting_id)
            if heat.kind in CAR_KINDS
        ]
    return listed


def form_values(item: Run) -> dict[str, Any]:
    """The values of a run as its form shows them."""
    local = item.started_at.astimezone(zone(item.time_zone) if item.time_zone else home_zone())
    return item.model_dump() | {"started": local.strftime(LOCAL)}


def blank_form(connection: sqlite3.Connection, item: Run) -> RunForm:
    """A form that shows the run as it is on record."""
    form = RunForm(formdata=None, data=form_values(item))
    set_choices(connection, form, item)
    form.remember()
    return form


def run_from_form(
    connection: sqlite3.Connection, form: RunForm, earlier: Run | None, now: datetime
) -> Run | None:
    """The run that the form describes, or None with the reasons at its fields."""
    for name in ASKED_LATER:
        if earlier is not None and name not in request.form:
            form[name].data = getattr(earlier, name)
    if not form.validate_on_submit():
        return None
    heat = _heat(connection, form)
    if form.pack_id.name not in request.form and not _default_pack(connection, form, earlier, heat):
        return None
    zone_name, started_at = _start(connection, form, earlier, heat, now)
    if started_at is None:
        return None
    values: dict[str, Any] = {
        "id": earlier.id if earlier else 0,
        "uuid": earlier.uuid if earlier else _uuid(),
        "started_at": started_at,
        "time_zone": zone_name,
        "heat_id": heat.id if heat else None,
        "snapshot": Snapshot(car=FittedCar(id=form.car_id.data, name="")),
    }
    if heat is not None:
        values["meeting_id"] = heat.meeting_id
    if earlier is not None:
        values = form.untouched(earlier, blank_form(connection, earlier)) | values
    record = form.fill(Run, **values)
    if record is None:
        return None
    if record.track_id is None and record.meeting_id is not None and earlier is None:
        track_id = meetings.meeting(connection, record.meeting_id).track_id
        record = record.model_copy(update={"track_id": track_id})
    return record.model_copy(update={"snapshot": snapshot(connection, record, earlier)})


def log(
    connection: sqlite3.Connection, item: Run, now: datetime, photograph: Picture | None = None
) -> tuple[int, str]:
    """Save a run, and with it its photograph, that its heat is done, which tyres are on and what a list may skip.

    All of it is one step to undo.

    Raises:
        ChangedMeanwhile: it was changed since the form was opened.
        Refused: there are as many photographs as the database holds.
    """
    with undo.step(connection, "Changed the run" if item.id else "Logged the run", now) as step:
        run_id, _ = store.save_run(connection, item, now, step)
        if photograph is not None:
            photographs.put(connection, step, photograph, now, run_id=run_id)
        if item.heat_id is not None:
            meetings.finish_heat(connection, item.heat_id, now, step)
        if not item.id and item.tyre_set_id is not None:
            tyres.note_fitted(connection, step, item.car_id, item.tyre_set_id, now)
        if not item.id and now - item.started_at < JUST_DRIVEN:
            values = {"can_c": item.can_c, "read_after_s": item.read_after_s}
            after_heat.note_run(connection, step, item.car_id, values, now)
    return run_id, step.token


def _heat(connection: sqlite3.Connection, form: RunForm) -> Heat | None:
    """The heat chosen, unless another meeting was chosen beside it."""
    if form.heat_id.data is None:
        return None
    heat = meetings.heat(connection, form.heat_id.data)
    return heat if form.meeting_id.data in (None, heat.meeting_id) else None


def _default_pack(
    connection: sqlite3.Connection, form: RunForm, earlier: Run | None, heat: Heat | None
) -> bool:
    """Fill in a pack that the post leaves out: the run's, else the one most likely in the car.

    Returns whether that is certain; if not, the field says that it is asked.
    """
    if earlier is not None:
        form.pack_id.data = earlier.pack_id
        return True
    meeting_id = heat.meeting_id if heat else form.meeting_id.data
    likely = likely_pack(connection, form.car_id.data, meeting_id, heat)
    if likely:
        form.pack_id.data = likely.pack_id
        return True
    if len(form.pack_id.choices) == 1:
        return True
    form.pack_id.errors = ["Which pack was in the car? Choose it, or “not noted”."]
    return False


def _start(
    connection: sqlite3.Connection,
    form: RunForm,
    earlier: Run | None,
    heat: Heat | None,
    now: datetime,
) -> tuple[str, datetime | None]:
    """Zone name, and start: typed, else the heat's, else now minus the run's length."""
    meeting_id = heat.meeting_id if heat else form.meeting_id.data
    name = (
        meetings.meeting(connection, meeting_id).time_zone
        if meeting_id is not None
        else earlier.time_zone
        if earlier
        else current_settings().get("time_zone", "")
    )
    if earlier is not None and form.started.data == form_values(earlier)["started"]:
        return name, earlier.started_at
    try:
        typed = form.started_at(zone(name) if name else home_zone())
    except ValueError as error:
        form.started.errors = [*form.started.errors, str(error)]
        return name, None
    if typed is not None:
        return name, typed
    if heat is not None:
        return name, heat.starts_at
    if earlier is not None:
        return name, earlier.started_at
    return name, now - timedelta(seconds=min(form.run_s.data or 0, 86_400))


def _uuid() -> UUID:
    """The key that the phone gave this write, so that the run can be told again; else a new one."""
    return UUID(request.headers[KEY_HEADER]) if KEY_HEADER in request.headers else uuid4()
