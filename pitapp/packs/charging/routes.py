"""The screens of a charge by steps: each step, the last look before it, the countdown."""

from __future__ import annotations

import sqlite3
import uuid as uuids
from datetime import timedelta
from typing import Any

from flask import Blueprint, redirect, request, url_for

from pitapp.checks.engine import first_open
from pitapp.dates import nearest
from pitapp.db import get_db
from pitapp.errors import BadRequest, NotThere, Refused
from pitapp.packs import store as shelf
from pitapp.packs.charging import store
from pitapp.packs.charging.again_routes import blueprint as again
from pitapp.packs.charging.forms import EndForm, StepForm, form_for
from pitapp.packs.charging.prompts import BY_KEY, STEPS, ChargeStep
from pitapp.packs.charging.refusals import LONGEST, condition_refusal, start_refusals
from pitapp.packs.charging.steps import Forecast, cells_of, forecast, judge_answers, program_of
from pitapp.packs.charging.view import address, ready_values, running_values, step_values
from pitapp.packs.models import Charge, Pack, Purpose
from pitapp.packs.overview import state
from pitapp.packs.planning import store as planning
from pitapp.packs.planning.absence import next_away
from pitapp.web.clock import moment_text, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes import refusals, taps
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("charging", __name__)
blueprint.register_blueprint(again)


@blueprint.get("/<int:pack_id>/charge")
def begin(pack_id: int) -> Any:
    connection = get_db()
    item = shelf.pack(connection, pack_id)
    purpose = _purpose()
    if item.condition != "sound":
        raise Refused(condition_refusal(item))
    running = state(connection, item).charging
    if running:
        return redirect(url_for("packs.charging.charge", uuid=running.uuid), 303)
    draft = store.prepared(connection, pack_id, purpose, now())
    if draft:
        return redirect(_onward(connection, item, draft), 303)
    first, uuid = STEPS[0], str(uuids.uuid4())
    return _show_step(connection, item, first, uuid, purpose, {}, _form(connection, first))


@blueprint.get("/<int:pack_id>/charges/<uuid:uuid>/steps/<key>")
def step(pack_id: int, uuid: uuids.UUID, key: str) -> Any:
    connection = get_db()
    item = store.charge(connection, str(uuid))
    if item.pack_id != pack_id:
        raise NotThere("There is no such charge of this pack.")
    own = shelf.pack(connection, item.pack_id)
    if item.started_at:
        return redirect(url_for("packs.charging.charge", uuid=item.uuid), 303)
    answers = store.answers(connection, item.id)
    current = _step(key)
    form = _form(connection, current)
    return _show_step(connection, own, current, item.uuid, item.purpose, answers, form)


@blueprint.post("/<int:pack_id>/charges/<uuid:uuid>/steps/<key>")
@write
def answer(connection: sqlite3.Connection, pack_id: int, uuid: uuids.UUID, key: str) -> Any:
    current = _step(key)
    own = shelf.pack(connection, pack_id)
    if own.condition != "sound":
        raise Refused(condition_refusal(own))
    item = store.prepare(connection, str(uuid), pack_id, _purpose(), now())
    answers, form = store.answers(connection, item.id), _form(connection, current)
    form.prepare(own)
    stored = form.accepted_text(current, own, item, answers)
    if stored is None:
        return _show_step(connection, own, current, item.uuid, item.purpose, answers, form, 422)
    store.answer(connection, item, key, stored, now())
    if stored == "no":
        return redirect(address(own.id, item.uuid, item.purpose, key), 303)
    return redirect(_onward(connection, own, item), 303)


@blueprint.get("/charges/<uuid:uuid>")
def charge(uuid: uuids.UUID) -> Any:
    connection = get_db()
    item = store.charge(connection, str(uuid))
    own = shelf.pack(connection, item.pack_id)
    if not item.started_at:
        return _show_ready(connection, item, own)
    return _show_running(connection, item, own, EndForm())


@blueprint.post("/charges/<uuid:uuid>/start")
@write
def start(connection: sqlite3.Connection, uuid: uuids.UUID) -> Any:
    item = store.charge(connection, str(uuid))
    own = shelf.pack(connection, item.pack_id)
    if item.started_at:
        return after_write("packs.charging.charge", uuid=item.uuid)
    answers = store.answers(connection, item.id)
    if _reasons(connection, item, own, answers):
        return _show_ready(connection, item, own, 409)
    program, ahead = program_of(answers), _forecast(connection, item, own, answers)
    if program is None or ahead is None:
        raise AssertionError("a charge without refusals has every answer")
    if not ahead.needed:
        raise Refused(f"Pack {own.mark} is at storage already. Put it away instead.")
    ready = item.model_copy(
        update={
            "cells_set": program.cells_set,
            "current_a": program.current_a,
            "charger_id": _charger_id(connection, program.charger_id),
            "discharging": ahead.discharging,
            "start_percent": ahead.start_percent,
            "due_at": now() + min(LONGEST, timedelta(minutes=ahead.minutes)),
        }
    )
    token = store.start(connection, ready, f"Started the charge of pack {own.mark}", now())
    notice("The countdown runs", token)
    return after_write("packs.charging.charge", uuid=item.uuid)


@blueprint.post("/charges/<uuid:uuid>/longer")
@write
def longer(connection: sqlite3.Connection, uuid: uuids.UUID) -> Any:
    item = _running(connection, uuid)
    minutes = request.form.get("minutes", type=int)
    if minutes not in (5, 10, 20):
        raise BadRequest("Move the countdown by 5, 10 or 20 minutes.")
    if status := taps.outdated(item.version):
        until = moment_text(item.due_at or now())
        sentence = f"the countdown was moved on another screen. It runs until {until} now."
        return taps.stale_response(sentence, status, "packs.charging.charge", uuid=uuid)
    due_at = nearest(max(now(), item.due_at or now()) + timedelta(minutes=minutes))
    notice(f"{minutes} minutes more", store.extend(connection, item, due_at, now()))
    return after_write("packs.charging.charge", uuid=item.uuid)


@blueprint.post("/charges/<uuid:uuid>/end")
@write
def end(connection: sqlite3.Connection, uuid: uuids.UUID) -> Any:
    item = _running(connection, uuid)
    form = EndForm()
    record = form.fill(Charge, **item.model_dump(exclude={"outcome", "moved_mah"}))
    if record is None or record.outcome is None:
        own = shelf.pack(connection, item.pack_id)
        return _show_running(connection, item, own, form, 422)
    token = store.finish(connection, item, record.outcome, record.moved_mah, now())
    notice("The charge is over", token)
    if record.outcome == "trouble":
        return redirect(url_for("packs.trouble", pack_id=item.pack_id), 303)
    return after_write("packs.pack", pack_id=item.pack_id)


@blueprint.post("/charges/<uuid:uuid>/remove")
@write
def remove(connection: sqlite3.Connection, uuid: uuids.UUID) -> Any:
    item = store.charge(connection, str(uuid))
    if item.started_at and not item.ended_at:
        raise Refused("This charge is running. End it first.")
    notice("Removed the charge", store.remove(connection, item, now()))
    return after_write("packs.pack", pack_id=item.pack_id)


def _running(connection: sqlite3.Connection, uuid: uuids.UUID) -> Charge:
    item = store.charge(connection, str(uuid))
    if not item.started_at or item.ended_at or not item.due_at:
        raise Refused("This charge is not running.")
    return item


def _charger_id(connection: sqlite3.Connection, said: int | None) -> int | None:
    """The charger that was said while it is there still, else the only one that is along."""
    if any(each.id == said for each in planning.chargers(connection)):
        return said
    along = planning.chargers_along(connection)
    return along[0].id if len(along) == 1 else None


def _step(key: str) -> ChargeStep:
    if key not in BY_KEY:
        raise NotThere("There is no such step.")
    return BY_KEY[key]


def _form(connection: sqlite3.Connection, current: ChargeStep) -> StepForm:
    return form_for(current, planning.chargers_along(connection))


def _purpose() -> Purpose:
    return "storage" if request.values.get("purpose") == "storage" else "full"


def _onward(connection: sqlite3.Connection, own: Pack, item: Charge) -> str:
    """Where the run-through goes on."""
    following = first_open(judge_answers(own, item, store.answers(connection, item.id)))
    if following is None:
        return url_for("packs.charging.charge", uuid=item.uuid)
    return address(own.id, item.uuid, item.purpose, following.step.group_name)


def _reasons(
    connection: sqlite3.Connection,
    item: Charge,
    own: Pack,
    answers: dict[str, str],
) -> list[str]:
    oldest = store.oldest_answer(connection, item.id)
    stale = oldest is not None and abs(now() - oldest) > store.GOOD_FOR
    return start_refusals(state(connection, own), item, answers, stale=stale)


def _forecast(
    connection: sqlite3.Connection, item: Charge, own: Pack, answers: dict[str, str]
) -> Forecast | None:
    program, cell_v = program_of(answers), cells_of(answers)
    if program is None or not cell_v:
        return None
    return forecast(state(connection, own), item.purpose, cell_v, program.current_a)


def _show_step(
    connection: sqlite3.Connection,
    own: Pack,
    current: ChargeStep,
    uuid: str,
    purpose: Purpose,
    answers: dict[str, str],
    form: StepForm,
    status: int = 200,
) -> Any:
    worn = state(connection, own).worn(now())
    values = step_values(own, current, uuid, purpose, answers, form, worn)
    return show("packs/step.html", status, **values)


def _show_ready(
    connection: sqlite3.Connection,
    item: Charge,
    own: Pack,
    status: int = 200,
) -> Any:
    answers = store.answers(connection, item.id)
    ahead = _forecast(connection, item, own, answers)
    reasons = _reasons(connection, item, own, answers)
    for reason in reasons:
        refusals.note(reason)
    values = ready_values(own, item, answers, ahead, reasons, now())
    return show("packs/ready.html", status, **values)


def _show_running(
    connection: sqlite3.Connection, item: Charge, own: Pack, form: EndForm, status: int = 200
) -> Any:
    chargers = {each.id: each.name for each in planning.chargers(connection)}
    values = running_values(item, own, form, now())
    charger = chargers.get(item.charger_id or 0, "") if len(chargers) > 1 else ""
    away = next_away(connection, now()) if not item.ended_at else None
    more = {
        "charger": charger,
        "again": own.condition == "sound" and item.outcome == "stopped",
        "stop_at": away[0] if away and item.due_at and away[0] < item.due_at else None,
        "back_at": away[1] if away else None,
        "at_once": away is not None and away[0] <= now(),
    }
    return show("packs/charge.html", status, **more, **values)
