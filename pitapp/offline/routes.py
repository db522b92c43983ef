"""The worker, what it keeps, and the screen of what waits on the phone."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, current_app, jsonify, request, session

from pitapp.db import Database, get_db
from pitapp.offline import pages
from pitapp.offline.latest import Latest
from pitapp.offline.worker import Worker
from pitapp.offline.worker import files as listed
from pitapp.web.assets import served
from pitapp.web.clock import WAITED_HEADER, now
from pitapp.web.htmx import show
from pitapp.web.look import theme
from pitapp.web.remembered import remembered

blueprint = Blueprint("offline", __name__)
QUOTE = b"\x7f"
"""For the two characters by which JSON writes the quotes that HTML is full of; JSON has no other use for it."""


@blueprint.record_once
def _register(state: Any) -> None:
    state.app.extensions["pitapp.worker"] = Worker(state.app)
    state.app.extensions["pitapp.bundle"] = Latest()


def worker() -> Worker:
    """This process's service worker."""
    found: Worker = current_app.extensions["pitapp.worker"]
    return found


@blueprint.get("/sw.js")
def script() -> Response:
    answer = Response(worker().script, mimetype="text/javascript")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@blueprint.get("/offline/files")
def files() -> Response:
    """Those static files that the worker has not yet, in one answer: their texts by address."""
    folder = Path(current_app.static_folder or "")
    wanted = set(request.args.get("names", "").split(","))
    texts = {name: served(folder, name).decode() for name in listed(folder) if name in wanted}
    answer = jsonify(texts)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@blueprint.get("/offline/pages")
def kept() -> Response:
    """Everything that has to open with no server, in one answer."""
    database: Database = current_app.extensions["pitapp.db"]
    latest: Latest = current_app.extensions["pitapp.bundle"]
    seen_as = (theme(), request.host, request.scheme)
    body = latest.of(seen_as, database.written, now, _bundle)
    answer = Response(body, mimetype="application/json")
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["Pitapp-Version"] = worker().version
    return answer


def _bundle() -> bytes:
    connection = get_db()
    app: Any = current_app
    heats = pages.heats(connection, now())

    def page(path: str) -> str | None:
        make = partial(pages.rendered, app, request.environ, path)
        return remembered((path, theme(), heats[path]), make) if path in heats else make()

    found = {path: html for path in pages.paths(connection, now()) if (html := page(path))}
    bundle = jsonify(pages.in_pieces(found) | {"runs": pages.runs(connection, now())})
    return bundle.get_data().replace(b'\\"', QUOTE)


@blueprint.get("/outbox")
def outbox() -> Any:
    return show("offline/page.html", "offline/_part.html")


@blueprint.before_app_request
def _put_notices_by() -> None:
    if pages.INSIDE in request.environ:
        session.pop("_flashes", None)


@blueprint.after_app_request
def _mark(response: Response) -> Response:
    """Name the version on pages; keep the session of a page that is only kept, or of a late write, quiet."""
    if response.mimetype == "text/html":
        response.headers["Pitapp-Version"] = worker().version
    if pages.INSIDE in request.environ or request.endpoint == "offline.kept":
        session.modified = False
    elif WAITED_HEADER in request.headers:
        session.pop("_flashes", None)
    return response
