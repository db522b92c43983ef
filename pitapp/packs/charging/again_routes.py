"""The screen of a charge as last time; the last look before the start is that of a charge by steps."""

from __future__ import annotations

import sqlite3
import uuid as uuids
from typing import Any

from flask import Blueprint, redirect, url_for

from pitapp.db import get_db
from pitapp.errors import Refused
from pitapp.packs import store as shelf
from pitapp.packs.charging import store
from pitapp.packs.charging.again_form import AgainForm
from pitapp.packs.charging.again_view import Repetition, again_values, repetition
from pitapp.packs.charging.refusals import condition_refusal
from pitapp.packs.models import Pack
from pitapp.packs.overview import state
from pitapp.web.clock import now
from pitapp.web.http.htmx import show
from pitapp.web.writes import refusals
from pitapp.web.writes.transactions import write

blueprint = Blueprint("again", __name__)


@blueprint.get("/<int:pack_id>/again")
def page(pack_id: int) -> Any:
    connection = get_db()
    own = shelf.pack(connection, pack_id)
    if own.condition != "sound":
        raise Refused(condition_refusal(own))
    running = state(connection, own).charging
    if running:
        return redirect(url_for("packs.charging.charge", uuid=running.uuid), 303)
    return _show(own, repetition(connection, own, now()), str(uuids.uuid4()))


@blueprint.get("/<int:pack_id>/charges/<uuid:uuid>/steps/again")
def step(pack_id: int, uuid: uuids.UUID) -> Any:
    connection = get_db()
    own, item = shelf.pack(connection, pack_id), store.find(connection, str(uuid))
    if item and item.started_at:
        return redirect(url_for("packs.charging.charge", uuid=item.uuid), 303)
    return _show(own, repetition(connection, own, now()), str(uuid))


@blueprint.post("/<int:pack_id>/charges/<uuid:uuid>/steps/again")
@write
def answer(connection: sqlite3.Connection, pack_id: int, uuid: uuids.UUID) -> Any:
    """Keep every answer at once; what speaks against a charge by steps speaks against this one."""
    own = shelf.pack(connection, pack_id)
    if own.condition != "sound":
        raise Refused(condition_refusal(own))
    item = store.prepare(connection, str(uuid), pack_id, "full", now())
    if item.started_at:
        return redirect(url_for("packs.charging.charge", uuid=item.uuid), 303)
    offered = repetition(connection, own, now())
    if offered.last is None:
        for reason in offered.reasons:
            refusals.note(reason)
        return _show(own, offered, str(uuid), status=409)
    form = AgainForm()
    answers = form.read(own, offered.last, item)
    if answers is None:
        return _show(own, offered, str(uuid), form, 422)
    for key, value in answers.items():
        store.answer(connection, item, key, value, now())
    return redirect(url_for("packs.charging.charge", uuid=item.uuid), 303)


def _show(
    own: Pack,
    offered: Repetition,
    uuid: str,
    form: AgainForm | None = None,
    status: int = 200,
) -> Any:
    return show("packs/again.html", status, **again_values(own, offered, uuid, form))
