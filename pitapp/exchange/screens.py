"""Import and export: sheets, the file of everything, and both read back."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from io import BytesIO
from pathlib import Path
from typing import Any

from flask import Response, current_app, jsonify, request

from pitapp.copies import away
from pitapp.db import get_db
from pitapp.errors import NotThere, Refused
from pitapp.exchange import document, runs_in, sheets, store, table, uploads
from pitapp.exchange.forms import FileForm, TakeForm
from pitapp.exchange.layout import json_schema
from pitapp.web.clock import home_zone, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

COUNTED = {
    "cars": "Cars",
    "motors": "Motors",
    "gears": "Pinions and spurs",
    "packs": "Packs",
    "tracks": "Tracks",
    "meetings": "Meetings",
    "runs": "Runs",
    "motor_checks": "Motor checks",
}


def page() -> Any:
    return _show(FileForm(formdata=None), FileForm(formdata=None))


def everything() -> Response:
    connection = get_db()
    with store.as_of_now(connection):
        pictures = "photographs" in request.args
        text = "".join(document.write(connection, now(), pictures=pictures))
    return _file(text.encode(), f"pitapp-{_today()}.json", "application/json")


def schema() -> Response:
    return jsonify(json_schema(get_db()))


def sheet(name: str) -> Response:
    wanted = sheets.BY_NAME.get(name)
    if wanted is None:
        raise NotThere("There is no such sheet.")
    text = sheets.text(get_db(), wanted, home_zone(), comma=_comma())
    return _file(text.encode(), f"{name}-{_today()}.csv", "text/csv; charset=utf-8")


def all_sheets() -> Response:
    with store.as_of_now(get_db()) as connection:
        data = sheets.archive(connection, home_zone(), comma=_comma())
    return _file(data, f"pitapp-sheets-{_today()}.zip", "application/zip")


def empty_runs() -> Response:
    text = sheets.empty_runs(comma=_comma())
    return _file(text.encode(), "runs-to-fill-in.csv", "text/csv; charset=utf-8")


def look_runs() -> Any:
    form = FileForm()
    data = form.content()
    if data is None:
        return _show(FileForm(formdata=None), form, 422)
    try:
        contents = runs_in.look(get_db(), data, home_zone())
    except Refused as error:
        form.blame_file(str(error))
        return _show(FileForm(formdata=None), form, 422)
    digest = uploads.keep(_data_dir(), BytesIO(data))
    return show("exchange/runs.html", contents=contents, digest=digest)


@write
def take_runs(connection: sqlite3.Connection) -> Any:
    form = TakeForm()
    data = uploads.stored_file(_data_dir(), form.digest.data or "").read_bytes()
    many, token = runs_in.take(connection, runs_in.look(connection, data, home_zone()), now())
    notice(f"Added {many} {'run' if many == 1 else 'runs'}", token if many else None)
    return after_write("exchange.page")


def look_everything() -> Any:
    form = FileForm()
    file = form.opened()
    if file is None:
        return _show(form, FileForm(formdata=None), 422)
    connection = get_db()
    try:
        with closing(document.read(file)) as contents:
            counts = [
                (label, store.count(connection, name), len(contents.tables.get(name, ())))
                for name, label in COUNTED.items()
            ]
    except Refused as error:
        form.blame_file(str(error))
        return _show(form, FileForm(formdata=None), 422)
    return show(
        "exchange/everything.html",
        written_at=contents.written_at,
        digest=uploads.keep(_data_dir(), file),
        counts=counts,
    )


@write
def take_everything(connection: sqlite3.Connection) -> Any:
    form = TakeForm()
    _replace(connection, uploads.stored_file(_data_dir(), form.digest.data or ""))
    notice("Brought back. You can put back what was here before.")
    return after_write("exchange.page")


@write
def put_back(connection: sqlite3.Connection) -> Any:
    path = uploads.before(_data_dir())
    if path is None:
        raise NotThere("No file was brought back, so there is nothing to put back.")
    _replace(connection, path)
    notice("Put back what was here before")
    return after_write("exchange.page")


def _replace(connection: sqlite3.Connection, path: Path) -> None:
    with path.open("rb") as file:
        contents = document.read(file)
    present = document.write(connection, now(), pictures=True)
    with closing(contents), uploads.keeping_before(_data_dir(), present):
        document.take(connection, contents)
    away.note_brought(_data_dir(), now())


def _data_dir() -> Path:
    folder: Path = current_app.config["PITAPP_DATA_DIR"]
    return folder


def _comma() -> bool:
    return request.args.get("comma") == "1"


def _today() -> str:
    return now().astimezone(home_zone()).date().isoformat()


def _file(data: bytes, name: str, kind: str) -> Response:
    return Response(
        data,
        content_type=kind,
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "Cache-Control": "no-store",
        },
    )


def _show(everything_form: FileForm, runs_form: FileForm, status: int = 200) -> Any:
    return show(
        "exchange/page.html",
        status,
        everything_form=everything_form,
        runs_form=runs_form,
        sheets=sheets.SHEETS,
        comma=_comma(),
        photographs=store.count(get_db(), "photographs"),
        before_at=uploads.before_at(_data_dir()),
        most_lines=table.MOST_LINES,
    )
