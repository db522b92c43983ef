"""The screens of packs: the shelf, one pack and its history, and what to do in an emergency."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, jsonify, request

from pitapp.db import get_db
from pitapp.errors import Refused
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.meetings import store as meetings
from pitapp.packs import store
from pitapp.packs.charging import store as charging
from pitapp.packs.charging.again_view import repetition
from pitapp.packs.charging.routes import blueprint as charging_screens
from pitapp.packs.forms import ConditionForm, PackForm, ReadingForm, StorageForm, SumsForm
from pitapp.packs.health.condition import cell_spread_v
from pitapp.packs.health.history import plots
from pitapp.packs.health.state import PackState
from pitapp.packs.health.status_text import LEVELS, OUTCOMES, fit_refusal, status_text
from pitapp.packs.label import next_mark
from pitapp.packs.models import Pack, Storage
from pitapp.packs.overview import state, states
from pitapp.packs.planning.routes import blueprint as planning_screens
from pitapp.packs.sums import label_sums
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.onward import BACK, onward
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("packs", __name__, url_prefix="/packs")
blueprint.register_blueprint(charging_screens)
blueprint.register_blueprint(planning_screens)
PAGE_LENGTH = 50
PLOTTED = 100


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    pack_states = states(connection)
    return show(
        "packs/page.html",
        states=[(each, LEVELS[each.verdict(now()).level]) for each in pack_states],
        running=[each for each in pack_states if each.charging],
        due=[] if _racing(connection) else [each for each in pack_states if each.storage_due],
        now=now(),
        told=status_text,
    )


def _racing(connection: sqlite3.Connection) -> bool:
    """Whether a heat is still to come, so that packs are not due to storage yet."""
    meeting = meetings.current_meeting(connection, now())
    return bool(meeting and meetings.next_heat(connection, meeting.id, now()))


@blueprint.get("/emergency")
def emergency() -> Any:
    return show("packs/emergency.html")


@blueprint.get("/clock")
def clock() -> Any:
    """The server's time, echoing the question's number so that a cached answer is recognised."""
    answer = jsonify(now_ms=int(now().timestamp() * 1000), again=request.args.get("again", "")[:40])
    answer.headers["Cache-Control"] = "no-store"
    return answer


@blueprint.get("/new")
def new() -> Any:
    connection = get_db()
    race_class = meetings.latest_class(connection)
    values = {
        "mark": next_mark([each.mark for each in store.packs(connection)]),
        "cells_series": (race_class and race_class.cells_series) or 2,
        "cells_parallel": 1,
        "most_charge_c": 1,
        "charge_now": "unknown" if _just_run() else "storage",
    }
    return _show_form(PackForm(data=values))


def _just_run() -> bool:
    """Whether the pack is added from the log of a run, which it may have run in already."""
    return request.args.get(BACK, "").startswith("/runs")


@blueprint.get("/<int:pack_id>/edit")
def edit(pack_id: int) -> Any:
    item = store.pack(get_db(), pack_id)
    resistance = item.resistance_new_ohm
    more = {"resistance_new": resistance * 1000 if resistance else None}
    return _show_form(PackForm(data=item.model_dump() | more), item)


@blueprint.post("/new")
@blueprint.post("/<int:pack_id>/edit")
@write
def save(connection: sqlite3.Connection, pack_id: int = 0) -> Any:
    item = store.pack(connection, pack_id) if pack_id else None
    form = PackForm()
    saving = store.add_at_storage if form.at_storage and not item else store.save_pack
    record, (saved_id, token) = save_form(
        connection, form, item, form.record(item), saving, _show_form
    )
    notice(f"Saved pack {record.mark}", token)
    return onward("pack", "packs.pack", field="pack_id", new_id=saved_id, pack_id=saved_id)


def _show_form(form: PackForm, item: Pack | None = None, status: int = 200) -> Any:
    return show("packs/form.html", status, form=form, item=item)


@blueprint.post("/<int:pack_id>/remove")
@write
def remove(connection: sqlite3.Connection, pack_id: int) -> Any:
    item = store.pack(connection, pack_id)
    token = store.remove(connection, "packs", pack_id, f"Removed pack {item.mark}", now())
    notice(f"Removed pack {item.mark}", token)
    return after_write("packs.page")


@blueprint.get("/<int:pack_id>")
def pack(pack_id: int) -> Any:
    connection = get_db()
    item = store.pack(connection, pack_id)
    pack_state = state(connection, item)
    verdict = pack_state.verdict(now())
    latest = pack_state.after_charge or pack_state.voltages
    return show(
        "packs/pack.html",
        item=item,
        state=pack_state,
        told=status_text,
        verdict=verdict,
        level=LEVELS[verdict.level],
        spread=cell_spread_v(latest.cell_v) if latest else None,
        car=kit.current_car(connection, current_settings()),
        again=item.condition == "sound" and repetition(connection, item, now()).last is not None,
        label=label_sums(item.cells_series, item.capacity_mah, item.most_charge_c, item.nominal_v),
    )


@blueprint.get("/<int:pack_id>/history")
def history(pack_id: int) -> Any:
    connection = get_db()
    item = store.pack(connection, pack_id)
    before = request.args.get("before", type=int)
    before_charge = request.args.get("before_charge", type=int)
    readings = store.readings(connection, pack_id, limit=PAGE_LENGTH + 1, before=before)
    charges = charging.charges(connection, pack_id, limit=PAGE_LENGTH + 1, before=before_charge)
    return show(
        "packs/history.html",
        item=item,
        readings=readings[:PAGE_LENGTH],
        older=readings[PAGE_LENGTH - 1].id if len(readings) > PAGE_LENGTH else None,
        charges=charges[:PAGE_LENGTH],
        older_charge=charges[PAGE_LENGTH - 1].id if len(charges) > PAGE_LENGTH else None,
        storages=store.storages(connection, pack_id),
        outcomes=OUTCOMES,
        plots=plots(store.readings(connection, pack_id, limit=PLOTTED)),
    )


@blueprint.get("/<int:pack_id>/reading")
def new_reading(pack_id: int) -> Any:
    item = store.pack(get_db(), pack_id)
    form = ReadingForm(data={"after_charge": request.args.get("after") == "charge"})
    return _show_reading(form, item)


@blueprint.post("/<int:pack_id>/reading")
@write
def add_reading(connection: sqlite3.Connection, pack_id: int) -> Any:
    item = store.pack(connection, pack_id)
    form = ReadingForm()
    form.ask_for(item.cells_series)
    record = form.record(item, now())
    if record is None:
        return _show_reading(form, item, 422)
    _, token = store.add_reading(connection, record, now())
    notice(f"Wrote down a reading of pack {item.mark}", token)
    return after_write("packs.pack", pack_id=pack_id)


def _show_reading(form: ReadingForm, item: Pack, status: int = 200) -> Any:
    form.ask_for(item.cells_series)
    return show("packs/reading.html", status, form=form, item=item)


@blueprint.post("/readings/<int:reading_id>/remove")
@write
def remove_reading(connection: sqlite3.Connection, reading_id: int) -> Any:
    item = store.reading(connection, reading_id)
    token = store.remove(connection, "pack_readings", reading_id, "Removed a reading", now())
    notice("Removed the reading", token)
    return after_write("packs.history", pack_id=item.pack_id)


@blueprint.get("/<int:pack_id>/condition")
def condition(pack_id: int) -> Any:
    item = store.pack(get_db(), pack_id)
    return _show_condition(item, item.condition)


@blueprint.get("/<int:pack_id>/trouble")
def trouble(pack_id: int) -> Any:
    """What to do first, and the pack's condition ready to be marked as damaged."""
    return _show_condition(store.pack(get_db(), pack_id), "damaged", first_aid=True)


def _show_condition(item: Pack, selected: str, *, first_aid: bool = False) -> Any:
    form = ConditionForm(data={"condition": selected, "damage": item.damage})
    return show(
        "packs/condition.html",
        form=form,
        item=item,
        first_aid=first_aid,
    )


@blueprint.post("/<int:pack_id>/condition")
@write
def save_condition(connection: sqlite3.Connection, pack_id: int) -> Any:
    item = store.pack(connection, pack_id)
    form = ConditionForm()
    if not form.accepts(item):
        return show(
            "packs/condition.html",
            422,
            form=form,
            item=item,
            first_aid=False,
        )
    chosen, damage = form.condition.data, (form.damage.data or "").strip()[:200]
    token = store.set_condition(connection, pack_id, chosen, damage, now())
    notice(f"Pack {item.mark} is marked as {chosen}", token)
    return after_write("packs.pack", pack_id=pack_id)


@blueprint.get("/<int:pack_id>/store")
def put_away(pack_id: int) -> Any:
    connection = get_db()
    item = store.pack(connection, pack_id)
    last = next(iter(store.storages(connection, pack_id, limit=1)), None)
    form = StorageForm(data={"place": last.place if last else ""})
    return show("packs/store.html", form=form, item=item)


@blueprint.post("/<int:pack_id>/store")
@write
def save_storage(connection: sqlite3.Connection, pack_id: int) -> Any:
    item = store.pack(connection, pack_id)
    form = StorageForm()
    record = form.fill(Storage, pack_id=pack_id, stored_at=now())
    if record is None:
        return show("packs/store.html", 422, form=form, item=item)
    notice(f"Pack {item.mark} is put away", store.put_away(connection, record, now()))
    return after_write("packs.pack", pack_id=pack_id)


@blueprint.post("/<int:pack_id>/in-car")
@write
def put_in(connection: sqlite3.Connection, pack_id: int) -> Any:
    pack_state = state(connection, store.pack(connection, pack_id))
    car = subject.form_car_needed(connection)
    if reason := fit_refusal(pack_state):
        raise Refused(reason)
    token = store.put_in(connection, car.id, car.name, pack_id, now())
    sentence = f"Pack {pack_state.pack.mark} is in {car.name}{subject.in_use_note(connection, car)}"
    notice(sentence, token)
    return after_write("packs.pack", pack_id=pack_id)


@blueprint.get("/sums")
def sums() -> Any:
    connection = get_db()
    chosen = request.args.get("pack", type=int)
    about = _about(state(connection, store.pack(connection, chosen))) if chosen else {}
    form = SumsForm(request.args or None, data=about)
    label, charge = form.answer()
    status = 422 if form.failed else 200
    return show("packs/sums.html", status, form=form, label=label, charge=charge)


def _about(pack_state: PackState) -> dict[str, Any]:
    """What the sums of a pack are made from until something else is typed."""
    item = pack_state.pack
    return {
        "cells": item.cells_series,
        "capacity": item.capacity_mah,
        "rate": item.most_charge_c,
        "cell_v": pack_state.resting_cell_v and round(pack_state.resting_cell_v, 2),
        "resistance": round(pack_state.cell_ohm * 1000, 2),
    }
