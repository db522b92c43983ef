"""Every answer names the database that it comes from, and nothing is written to another one than was meant.

A page carries the identity of its database (`db.identity`) and sends it along with every write, and
so does what waited on a phone. It is compared before anything else is done with the request; the
database of a running server stays the same one, or the request fails (`Database.connection`).
"""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Flask, Response, current_app, flash, make_response, render_template, request

from pitapp.db import Database, get_db, identity
from pitapp.errors import AnotherDatabase, DataError
from pitapp.web.http.htmx import wants_part
from pitapp.web.writes.refusals import NO_REDIRECT

HEADER = "Pitapp-Database"
FIELD = "made_for"
LOCATION = "Pitapp-Location"
FORM = "application/x-www-form-urlencoded"


def database() -> str:
    """The identity of the database that answers; empty while it cannot be read."""
    own_database: Database = current_app.extensions["pitapp.db"]
    try:
        return own_database.identity
    except (sqlite3.Error, DataError):
        return ""


def _check_intended_database() -> None:
    intended = request.headers.get(HEADER)
    if intended is None and request.method == "POST" and request.mimetype == FORM:
        intended = request.form.get(FIELD)
    if not intended or intended == database():
        return
    holds = intended in identity.origins(get_db())
    raise AnotherDatabase(
        "The database that answers here "
        f"{'holds a copy of' if holds else 'is not'} the one that this was made for. "
        "Nothing was saved."
    )


def _refused(error: AnotherDatabase) -> Any:
    """A page; to htmx a notice alone, so that the form stays as it is."""
    if not wants_part():
        return render_template(
            "errors/page.html", title=error.title, sentence=str(error), again=None
        ), error.status
    flash(str(error), "done")
    answer = make_response(render_template("_notices.html", beside=True), error.status)
    answer.headers["HX-Reswap"] = "none"
    return answer


def _name(response: Response) -> Response:
    """Name the database; give a redirect as a header to a worker, which cannot look into a real one."""
    if identity := database():
        response.headers[HEADER] = identity
    if NO_REDIRECT in request.headers and (place := response.headers.pop("Location", None)):
        response.status_code = 200
        response.headers[LOCATION] = place
    return response


def register(app: Flask) -> None:
    """Look at every request, name the database on every answer, and offer `database` to templates."""
    app.before_request(_check_intended_database)
    app.register_error_handler(AnotherDatabase, _refused)
    app.after_request(_name)
    app.jinja_env.globals["database"] = database
