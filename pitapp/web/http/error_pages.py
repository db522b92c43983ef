"""Errors as pages: one look, one sentence, the same status for page and fragment."""

from __future__ import annotations

import sqlite3
from typing import Any, NamedTuple

from flask import Flask, redirect, render_template, request
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from pitapp.db import faults
from pitapp.errors import DataError, Gone, PitappError, Question, WhichOne
from pitapp.web.http.htmx import part, wants_part
from pitapp.web.writes import refusals
from pitapp.web.writes.transactions import KEY_FIELD, KEY_HEADER
from pitapp.web.writes.undo import page_above

WORDS = {
    400: ("Not understood", "This request could not be understood. Go back and try again."),
    403: ("Not allowed", "This is not allowed from here."),
    404: ("Not there", "There is no such page. It may have been removed."),
    405: ("Not understood", "That address cannot be used this way."),
    413: ("Too much", "That is too much for one form. Shorten it and try again."),
    415: ("Not understood", "That kind of file or form is not understood here."),
    500: (
        "That did not work",
        "Something is wrong in pitapp itself. Nothing was saved; what you typed is still in the form.",
    ),
}
"""What HTTP's own errors are called here, and a sentence on each."""


class ResendForm(NamedTuple):
    """A form that was not saved, to be sent again with one tap, and what has to be answered before."""

    to: str
    fields: list[tuple[str, str]]
    question: Question | None = None


def page(
    title: str, sentence: str, status: int, again: ResendForm | None = None
) -> tuple[str, int]:
    """An error as a page, or as a notice when a fragment was asked for."""
    refusals.note(f"{title}: {sentence}" if sentence else title)
    render = part if wants_part() else render_template
    return render("errors/page.html", title=title, sentence=sentence, again=again), status


def typed(question: Question | None = None) -> ResendForm | None:
    """The posted form as one to send again, or None without a form or with a file."""
    if request.method != "POST" or request.mimetype != "application/x-www-form-urlencoded":
        return None
    anew = {"csrf_token", question.field if question else ""}
    entries = [(name, value) for name, value in request.form.items(multi=True) if name not in anew]
    key = request.headers.get(KEY_HEADER)
    if key and KEY_FIELD not in request.form:
        entries.append((KEY_FIELD, key))
    return ResendForm(request.full_path.rstrip("?"), entries, question)


def register(app: Flask) -> None:
    """Answer every error of the tree, of SQLite and of HTTP as a page."""

    @app.errorhandler(PitappError)
    def _ours(error: PitappError) -> Any:
        if error.status == 404 and (above := page_above()):
            return redirect(above, 303)
        again = None
        if isinstance(error, DataError | Gone | WhichOne):
            again = typed(getattr(error, "question", None))
        return page(error.title, str(error), error.status, again)

    @app.errorhandler(sqlite3.Error)
    def _database(error: sqlite3.Error) -> Any:
        message = faults.while_serving(error)
        if message is None:
            raise error
        return _ours(message)

    @app.errorhandler(OSError)
    def _system(error: OSError) -> Any:
        message = faults.of_a_file(error, app.config["PITAPP_DATA_DIR"])
        if message is None:
            raise error
        return _ours(message)

    @app.errorhandler(OverflowError)
    def _beyond_any_row(error: OverflowError) -> Any:
        if "SQLite INTEGER" not in str(error):
            raise error
        return page(*WORDS[404], 404)

    @app.errorhandler(CSRFError)
    def _csrf(error: CSRFError) -> Any:
        answer = app.make_response(
            page(
                "Open for too long",
                "This page was open for too long. Reload it, then send again.",
                400,
            )
        )
        answer.headers["X-Csrf-Refused"] = "1"
        return answer

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> Any:
        status = error.code or 500
        if status < 400:
            return error
        if status in (404, 405) and (above := page_above()):
            return redirect(above, 303)
        return page(*WORDS.get(status, (error.name, str(error.description))), status)
