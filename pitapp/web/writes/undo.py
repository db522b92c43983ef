"""The undo bar's one address, and the notices that carry it."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, Flask, redirect, request, session

from pitapp.db import undo as steps
from pitapp.web.clock import now
from pitapp.web.writes.notices import say
from pitapp.web.writes.transactions import write

blueprint = Blueprint("undo", __name__)
UNDONE = "undone"


def notice(sentence: str, token: str | None = None) -> None:
    """Say at the foot of the next page what the write did, with Undo where there is a token."""
    say(sentence, f"undo:{token}" if token else "done")


@blueprint.post("/undo/<token>")
@write
def undo(connection: sqlite3.Connection, token: str) -> Any:
    label = steps.undo(connection, token, now())
    say(f"Undone: {label}", UNDONE)
    return redirect(own_path(request.form.get("back", "/")), 303)


def page_above() -> str | None:
    """Address above a page that the last undo has removed; None after anything else."""
    flashes = session.get("_flashes", ()) if request.method == "GET" else ()
    if not any(category == UNDONE for category, _ in flashes):
        return None
    return request.path.rstrip("/").rpartition("/")[0] or "/"


def current_page() -> str:
    """Address and query of the shown page; for a fragment, of its page."""
    query = request.query_string.decode("latin-1") if request.method == "GET" else ""
    return (request.path.removesuffix("/part") or "/") + (f"?{query}" if query else "")


def own_path(path: str) -> str:
    """`path` if it is one of this server's own, else the Board."""
    own = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if own else "/"


def register(app: Flask) -> None:
    """Give the app the undo address, and templates `current_page`."""
    app.jinja_env.globals["here"] = current_page
    app.register_blueprint(blueprint)
