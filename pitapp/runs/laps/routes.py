"""The screens of a run's laps: pasted, looked at, taken, removed, and beside another run's."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, request

from pitapp.db import get_db
from pitapp.errors import ChangedMeanwhile
from pitapp.runs import store as runs
from pitapp.runs.formulas import packed_laps, read_laps, unpacked_laps
from pitapp.runs.laps import store
from pitapp.runs.laps.forms import PasteForm, TakeForm
from pitapp.runs.laps.screens import beside_plot, lap_screen, pairs
from pitapp.web.clock import now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import refuse_removed, write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("laps", __name__)


@blueprint.get("/<int:run_id>/laps")
def page(run_id: int) -> Any:
    return _show(run_id, PasteForm(formdata=None))


@blueprint.post("/<int:run_id>/laps/look")
def look(run_id: int) -> Any:
    connection = get_db()
    refuse_removed(connection, {"run_id": run_id})
    item = runs.run(connection, run_id)
    form = PasteForm()
    if not form.validate_on_submit():
        return _show(run_id, form, status=422)
    try:
        readings = read_laps(form.times.data or "")
    except ValueError as error:
        form.times.errors = [str(error)]
        return _show(run_id, form, status=422)
    return show(
        "runs/laps_look.html",
        run=item,
        form=form,
        readings=[(packed_laps(each.laps_s), each) for each in readings],
        earlier=store.packed(connection, run_id),
    )


@blueprint.post("/<int:run_id>/laps")
@write
def take(connection: sqlite3.Connection, run_id: int) -> Any:
    form = TakeForm()
    if not form.validate_on_submit():
        paste = PasteForm(formdata=None)
        paste.times.errors = [*form.laps.errors, *form.form_errors] or ["Paste the laps again."]
        return _show(run_id, paste, status=422)
    laps_s = unpacked_laps(form.laps.data)
    try:
        token = store.save_laps(connection, run_id, laps_s, now(), earlier=form.earlier.data or "")
    except ChangedMeanwhile as error:
        paste = PasteForm(formdata=None, data={"times": "\n".join(f"{lap:.3f}" for lap in laps_s)})
        paste.times.errors = [f"{error} What is there now stands above."]
        return _show(run_id, paste, status=409)
    notice(f"Saved {len(laps_s)} {'lap' if len(laps_s) == 1 else 'laps'}", token)
    return after_write("runs.run", run_id=run_id)


@blueprint.post("/<int:run_id>/laps/remove")
@write
def remove(connection: sqlite3.Connection, run_id: int) -> Any:
    notice("Removed the laps", store.remove_laps(connection, run_id, now()))
    return after_write("runs.laps.page", run_id=run_id)


def _show(run_id: int, form: PasteForm, status: int = 200) -> Any:
    connection = get_db()
    item = runs.run(connection, run_id)
    laps_s = store.laps(connection, run_id)
    listed = [each for each in store.runs_with_laps(connection) if each.id != run_id]
    other_id = request.args.get("other", type=int)
    other = runs.run(connection, other_id) if other_id and other_id != run_id else None
    others = store.laps(connection, other.id) if other else ()
    both = bool(laps_s and others)
    return show(
        "runs/laps.html",
        status,
        run=item,
        form=form,
        laps=lap_screen(laps_s),
        listed=listed if laps_s else [],
        other=other,
        beside=lap_screen(others) if both else None,
        pairs=pairs(laps_s, others) if both else [],
        both=beside_plot(laps_s, others) if both else None,
    )
