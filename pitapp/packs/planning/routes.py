"""The screens of the day's charge plan."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from typing import Any, NamedTuple

from flask import Blueprint, redirect, request, url_for

from pitapp.db import get_db
from pitapp.db.removed import removed_name
from pitapp.errors import BadRequest, Gone, Refused
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Heat, Meeting
from pitapp.packs.health.state import PackState
from pitapp.packs.models import ChargerRecord, PlanRecord
from pitapp.packs.overview import states
from pitapp.packs.planning import store
from pitapp.packs.planning.forms import PlanForm
from pitapp.packs.planning.inputs import digest, heats_ahead, usual_run_mah
from pitapp.packs.planning.lateness import late_packs
from pitapp.packs.planning.timeline import late_sentence, timeline
from pitapp.web.clock import now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes import taps
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("planning", __name__, url_prefix="/plan")
LATE_MIN = (5, 10, 15, 30)


class PlanInputs(NamedTuple):
    """Everything that a plan is made from."""

    meeting: Meeting
    heats: list[Heat]
    states: list[PackState]
    barred: list[PackState]
    charger: ChargerRecord | None
    record: PlanRecord
    run_length_s: float | None

    @property
    def along(self) -> list[PackState]:
        """The packs that are planned with."""
        return [each for each in self.states if each.pack.id not in self.record.left_out]

    @property
    def made_from(self) -> str:
        """What the plan would be made from now."""
        return digest(self.heats, self.along, self.charger) if self.charger else ""


def _plan_inputs(connection: sqlite3.Connection) -> PlanInputs | None:
    """The day of the meeting that the form being answered is about, else of the one of now."""
    named = request.form.get("meeting_id", type=int)
    if named and (name := removed_name(connection, "meeting_id", named)):
        raise Gone(f"{name} was removed after this page was opened.")
    meeting = (
        meetings.meeting(connection, named)
        if named
        else meetings.current_meeting(connection, now())
    )
    if meeting is None:
        return None
    race_class = meetings.class_raced(connection, meeting, meeting.car_id)
    every = states(connection)
    sound = [each for each in every if each.pack.condition == "sound"]
    record = store.plan(connection, meeting.id)
    if record is None:
        last = store.last_plan(connection)
        record = PlanRecord(
            meeting_id=meeting.id,
            used_mah=last.used_mah if last else usual_run_mah(sound),
            most_full_min=last.most_full_min if last else 120,
            cooling_min=last.cooling_min if last else 20,
            margin_min=last.margin_min if last else 10,
            made_at=now(),
        )
    return PlanInputs(
        meeting=meeting,
        heats=heats_ahead(meetings.heats(connection, meeting.id), now()),
        states=sound,
        barred=[each for each in every if each.pack.condition != "sound"],
        charger=store.charger(connection),
        record=record,
        run_length_s=race_class.run_length_s if race_class else None,
    )


@blueprint.get("")
def page() -> Any:
    day = _plan_inputs(get_db())
    along = day.along if day else []
    worn = [(each.pack, verdict) for each in along if (verdict := each.worn(now()))]
    if day is None or day.record.plan is None:
        return show("packs/plan.html", day=day, rows=[], late=LATE_MIN, worn=worn)
    every = [*day.states, *day.barred]
    by_heat = late_packs(day.record, every, day.charger, now()) if day.charger else {}
    marks = {each.pack.id: each.pack.mark for each in every}
    return show(
        "packs/plan.html",
        day=day,
        rows=timeline(day.record.plan, day.meeting, now(), marks, by_heat),
        marks=marks,
        spoilt=[late_sentence(each, day.meeting) for each in by_heat.values()],
        changed=day.made_from != day.record.made_from,
        late=LATE_MIN,
        worn=worn,
    )


@blueprint.post("/make")
@write
def make(connection: sqlite3.Connection) -> Any:
    day = _wanted_day(connection)
    if day.charger is None:
        return redirect(url_for("packs.planning.settings"), 303)
    return _make_and_save(connection, day, day.record, day.charger)


@blueprint.post("/late")
@write
def shift_day(connection: sqlite3.Connection) -> Any:
    minutes = request.form.get("minutes", type=int)
    if minutes not in LATE_MIN:
        raise BadRequest("By how many minutes is the day late?")
    day = _wanted_day(connection)
    if not day.heats:
        raise Refused("No heat is left to move.")
    first = day.heats[0]
    heat_id = request.form.get("heat_id", type=int)
    if status := taps.outdated(meetings.heat(connection, heat_id or first.id).version):
        sentence = "the heats were moved on another screen. These are the times now."
        return taps.stale_response(sentence, status, "packs.planning.page")
    meetings.shift_heats(connection, first, timedelta(minutes=minutes), following=True, now=now())
    moved = _wanted_day(connection)
    if moved.charger is None:
        raise Refused("Write down the charger first.")
    return _make_and_save(
        connection, moved, moved.record, moved.charger, f"Planned {minutes} min later"
    )


@blueprint.get("/settings")
def settings() -> Any:
    day = _wanted_day(get_db())
    values = day.record.model_dump() | (day.charger.model_dump() if day.charger else {})
    form = PlanForm(data=values | {"along": [each.pack.id for each in day.along]})
    return _show_settings(form, day)


@blueprint.post("/settings")
@write
def save_settings(connection: sqlite3.Connection) -> Any:
    day = _wanted_day(connection)
    form = PlanForm()
    form.set_choices(day.states)
    records = form.records(day.record, day.charger.id if day.charger else 0)
    if records is None:
        return _show_settings(form, day, 422)
    return _make_and_save(connection, day, *records)


def _show_settings(form: PlanForm, day: PlanInputs, status: int = 200) -> Any:
    form.set_choices(day.states)
    return show("packs/plan_settings.html", status, form=form, day=day)


def _wanted_day(connection: sqlite3.Connection) -> PlanInputs:
    day = _plan_inputs(connection)
    if day is None:
        raise Refused("There is no meeting now. Write it down first, with its heats.")
    return day


def _make_and_save(
    connection: sqlite3.Connection,
    day: PlanInputs,
    record: PlanRecord,
    charger: ChargerRecord,
    sentence: str = "The plan is made",
) -> Any:
    from pitapp.packs.planning.solve_day import make_plan

    along = [each for each in day.states if each.pack.id not in record.left_out]
    others = [each for each in [*day.states, *day.barred] if each not in along]
    try:
        plan = make_plan(
            day.meeting, day.heats, along, charger, record, day.run_length_s, now(), others
        )
    except ValueError as error:
        raise Refused(str(error)) from None
    changes = {"plan": plan, "made_at": now(), "made_from": digest(day.heats, along, charger)}
    current = meetings.current_meeting(connection, now())
    if current is None or current.id != day.meeting.id:
        sentence += f", for {day.meeting.title}"
    token = store.save(connection, record.model_copy(update=changes), charger, sentence, now())
    notice(sentence, token)
    return after_write("packs.planning.page")
