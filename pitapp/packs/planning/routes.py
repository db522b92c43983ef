"""The screens of the day's charge plan."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

from flask import Blueprint, redirect, request, url_for

from pitapp.db import get_db, undo
from pitapp.db.removed import removed_name
from pitapp.errors import BadRequest, Gone, Refused
from pitapp.meetings import store as meetings
from pitapp.packs.models import ChargerRecord, PlanRecord
from pitapp.packs.planning import store
from pitapp.packs.planning.day_inputs import PlanInputs, plan_inputs
from pitapp.packs.planning.forms import SAY_WHO, WATCHED, WATCHERS, ChargerForm, PlanForm
from pitapp.packs.planning.staleness import made_from, made_from_of
from pitapp.packs.planning.timeline import late_sentence, timeline
from pitapp.web.clock import now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes import taps
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("planning", __name__, url_prefix="/plan")
LATE_MIN = (5, 10, 15, 30)


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
    return plan_inputs(connection, meeting, now())


@blueprint.get("")
def page() -> Any:
    return _show_plan(_plan_inputs(get_db()))


def _show_plan(day: PlanInputs | None, status: int = 200, errors: Sequence[str] = ()) -> Any:
    along = day.along if day else []
    worn = [(each.pack, verdict) for each in along if (verdict := each.worn(now()))]
    values = {"day": day, "late": LATE_MIN, "worn": worn, "watched": WATCHED, "errors": errors}
    if day is None or day.record.plan is None:
        return show("packs/plan.html", status, rows=[], **values)
    every = [*day.states, *day.barred]
    chargers = {each.id: each.name for each in day.chargers}
    by_heat = day.late_packs
    marks = {each.pack.id: each.pack.mark for each in every}
    return show(
        "packs/plan.html",
        status,
        rows=timeline(day.record.plan, day.meeting, now(), marks, by_heat, chargers),
        marks=marks,
        spoilt=[late_sentence(each, day.meeting) for each in by_heat.values()],
        changes=day.changes,
        began=_began(day.record, marks),
        **values,
    )


def _began(record: PlanRecord, marks: Mapping[int, str]) -> list[str]:
    """How full each pack was taken to be when the plan was made."""
    packs = made_from_of(record).packs.items()
    return [
        f"{marks[pack_id]} on the charger"
        if then.what == "charging"
        else f"{marks[pack_id]} empty (not known)"
        if then.percent is None
        else f"{marks[pack_id]} {then.percent:.0f}\u00a0%"
        for pack_id, then in packs
        if pack_id in marks
    ]


@blueprint.post("/make")
@write
def make(connection: sqlite3.Connection) -> Any:
    day = _wanted_day(connection)
    watched = _watched(day.record)
    if watched is None:
        return _show_plan(day, 422, [SAY_WHO])
    record = day.record.model_copy(update={"watched": watched})
    if not day.chargers:
        return redirect(
            url_for("packs.planning.settings", watched=request.form.get("watched")), 303
        )
    return _make_and_save(connection, day, record)


def _watched(record: PlanRecord) -> bool | None:
    """Whether somebody watches: as answered with this tap, else as before."""
    answer = request.form.get("watched")
    return answer == "yes" if answer in WATCHERS else record.watched


@blueprint.post("/late")
@write
def shift_day(connection: sqlite3.Connection) -> Any:
    minutes = request.form.get("minutes", type=int)
    if minutes not in LATE_MIN:
        raise BadRequest("By how many minutes is the day late?")
    day = _wanted_day(connection)
    if not day.heats:
        raise Refused("No heat is left to move.")
    watched = _watched(day.record)
    if watched is None:
        return _show_plan(day, 422, [SAY_WHO])
    first = day.heats[0]
    heat_id = request.form.get("heat_id", type=int)
    if status := taps.outdated(meetings.heat(connection, heat_id or first.id).version):
        sentence = "the heats were moved on another screen. These are the times now."
        return taps.stale_response(sentence, status, "packs.planning.page")
    meetings.shift_heats(connection, first, timedelta(minutes=minutes), following=True, now=now())
    moved = _wanted_day(connection)
    if not moved.chargers:
        raise Refused("Write down the charger first.")
    record = moved.record.model_copy(update={"watched": watched})
    return _make_and_save(connection, moved, record, sentence=f"Planned {minutes} min later")


@blueprint.get("/settings")
def settings() -> Any:
    day = _wanted_day(get_db())
    values = day.record.model_dump() | (day.first_charger.model_dump() if day.first_charger else {})
    watched = {True: "yes", False: "no", None: request.args.get("watched")}[day.record.watched]
    values |= {"along": [each.pack.id for each in day.along], "watched": watched}
    return _show_settings(PlanForm(data=values), day)


@blueprint.post("/settings")
@write
def save_settings(connection: sqlite3.Connection) -> Any:
    day = _wanted_day(connection)
    form = PlanForm()
    form.set_choices(day.states)
    records = form.records(day.record, day.first_charger)
    if records is None:
        return _show_settings(form, day, 422)
    return _make_and_save(connection, day, *records)


def _show_settings(form: PlanForm, day: PlanInputs, status: int = 200) -> Any:
    form.set_choices(day.states)
    chargers = store.chargers(get_db())
    return show("packs/plan_settings.html", status, form=form, day=day, chargers=chargers)


@blueprint.get("/chargers/new")
def new_charger() -> Any:
    return _show_charger(ChargerForm(data={"name": "Second charger"}))


@blueprint.get("/chargers/<int:charger_id>")
def charger(charger_id: int) -> Any:
    item = store.charger_of(get_db(), charger_id)
    return _show_charger(ChargerForm(data=item.model_dump()), item)


@blueprint.post("/chargers/new")
@blueprint.post("/chargers/<int:charger_id>")
@write
def save_charger(connection: sqlite3.Connection, charger_id: int = 0) -> Any:
    item = store.charger_of(connection, charger_id) if charger_id else None
    form = ChargerForm()
    record = form.fill(ChargerRecord, id=charger_id)
    saved, (_, token) = save_form(connection, form, item, record, store.save_charger, _show_charger)
    notice(f"Saved {saved.name}", token)
    return after_write("packs.planning.page")


def _show_charger(form: ChargerForm, item: ChargerRecord | None = None, status: int = 200) -> Any:
    return show("packs/charger.html", status, form=form, item=item)


@blueprint.post("/chargers/<int:charger_id>/remove")
@write
def remove_charger(connection: sqlite3.Connection, charger_id: int) -> Any:
    item = store.charger_of(connection, charger_id)
    notice(f"Removed {item.name}", store.remove_charger(connection, item, now()))
    return after_write("packs.planning.page")


def _wanted_day(connection: sqlite3.Connection) -> PlanInputs:
    day = _plan_inputs(connection)
    if day is None:
        raise Refused("There is no meeting now. Write it down first, with its heats.")
    return day


def _make_and_save(
    connection: sqlite3.Connection,
    day: PlanInputs,
    record: PlanRecord,
    charger: ChargerRecord | None = None,
    sentence: str = "The plan is made",
) -> Any:
    """Plan with the chargers that are along, the first of them as it was typed just now."""
    from pitapp.packs.planning.solve_day import make_plan

    along = [each for each in day.states if each.pack.id not in record.left_out]
    others = [each for each in [*day.states, *day.barred] if each not in along]
    with undo.step(connection, sentence, now()) as step:
        if charger:
            store.save_in(connection, charger, step)
        chargers = store.chargers_along(connection)
        if not chargers:
            raise Refused("No charger is along. Say which you have with you.")
        try:
            plan = make_plan(
                day.meeting,
                day.heats,
                along,
                chargers,
                record,
                day.run_length_s,
                now(),
                others,
                day.marshalling,
            )
        except ValueError as error:
            raise Refused(str(error)) from None
        content = made_from(along, chargers, day.marshalling).model_dump_json()
        changes = {"plan": plan, "made_at": now(), "made_from": content}
        store.save_plan_in(connection, record.model_copy(update=changes), chargers[0].id, step)
    current = meetings.current_meeting(connection, now())
    if current is None or current.id != day.meeting.id:
        sentence += f", for {day.meeting.title}"
    notice(sentence, step.token)
    return after_write("packs.planning.page")
