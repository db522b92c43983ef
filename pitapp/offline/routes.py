"""The worker, what it keeps, and the screen of what waits on the phone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from flask import Blueprint, Response, current_app, jsonify, request, session

from pitapp.db import get_db
from pitapp.offline import bundle
from pitapp.offline.worker import Worker
from pitapp.offline.worker import files as listed
from pitapp.web.clock import WAITED_HEADER, now
from pitapp.web.http.assets import as_sent
from pitapp.web.http.htmx import show

blueprint = Blueprint("offline", __name__)


@blueprint.record_once
def _register(state: Any) -> None:
    state.app.extensions["pitapp.worker"] = Worker(state.app)


def worker() -> Worker:
    """This process's service worker."""
    own_worker: Worker = current_app.extensions["pitapp.worker"]
    return own_worker


@blueprint.get("/sw.js")
def script() -> Response:
    answer = Response(worker().script, mimetype="text/javascript")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@blueprint.get("/offline/files")
def files() -> Response:
    """Those static files that the worker has not yet, in one answer: their texts by address."""
    folder = Path(current_app.static_folder or "")
    names = set(request.args.get("names", "").split(","))
    texts = {name: as_sent(folder / name).decode() for name in listed(folder) if name in names}
    answer = jsonify(texts)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@blueprint.get("/offline/pages")
def everything() -> Response:
    """Everything that has to open with no server, in one answer."""
    connection, moment = get_db(), now()
    app: Any = current_app
    pages = {
        path: bundle.rendered(app, request.environ, path)
        for path in bundle.paths(connection, moment)
    }
    answer = jsonify(
        {
            "pages": {path: html for path, html in pages.items() if html},
            "frames": {room: bundle.frame(room) for room in bundle.FRAMES},
            "runs": bundle.runs(connection, moment),
        }
    )
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["Pitapp-Version"] = worker().version
    return answer


@blueprint.get("/outbox")
def outbox() -> Any:
    return show("offline/page.html")


@blueprint.before_app_request
def _put_notices_by() -> None:
    if bundle.INSIDE in request.environ:
        session.pop("_flashes", None)


@blueprint.after_app_request
def _mark(response: Response) -> Response:
    """Name the version on pages; keep the session of a page that is only kept, or of a late write, quiet."""
    if response.mimetype == "text/html":
        response.headers["Pitapp-Version"] = worker().version
    if bundle.INSIDE in request.environ or request.endpoint == "offline.everything":
        session.modified = False
    elif WAITED_HEADER in request.headers:
        session.pop("_flashes", None)
    return response
