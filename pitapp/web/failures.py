"""Errors as pages: one look, one sentence, the same status for page and fragment."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Flask, render_template
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from pitapp.errors import DatabaseBusy, DataError, DiskFull, NotThere, PitappError
from pitapp.web.htmx import wants_part

SENTENCES = {
    400: "This request could not be understood. Go back and try again.",
    403: "This is not allowed from here.",
    404: "There is no such page. It may have been removed.",
    405: "That address cannot be used this way.",
    413: "That is too much for one form. Shorten it and try again.",
    415: "That kind of file or form is not understood here.",
    500: "Something is wrong in pitapp itself. Nothing was saved; what you typed is still in the form.",
}


def page(title: str, sentence: str, status: int) -> tuple[str, int]:
    """An error as a page, or as a notice when a fragment was asked for."""
    template = "errors/_part.html" if wants_part() else "errors/page.html"
    return render_template(template, title=title, sentence=sentence, status=status), status


def translate(error: sqlite3.Error) -> PitappError | None:
    """The error that a racer can mend behind one of SQLite's, if there is one."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return DatabaseBusy("Another write is taking too long. Nothing was saved; try again.")
    if code == sqlite3.SQLITE_FULL:
        return DiskFull("There is no room left on this device. Nothing was saved; make room first.")
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR):
        return DataError(f"The data folder cannot be written ({error}). Nothing was saved.")
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return DataError(f"The database is damaged ({error}). Stop, and restore a copy.")
    return None


def register(app: Flask) -> None:
    """Answer every error of the tree, of SQLite and of HTTP as a page."""

    @app.errorhandler(PitappError)
    def _ours(error: PitappError) -> Any:
        return page(error.title, str(error), error.status)

    @app.errorhandler(sqlite3.Error)
    def _database(error: sqlite3.Error) -> Any:
        known = translate(error)
        if known is None:
            raise error
        return page(known.title, str(known), known.status)

    @app.errorhandler(OverflowError)
    def _beyond_any_row(error: OverflowError) -> Any:
        if "SQLite INTEGER" not in str(error):
            raise error
        return page(NotThere.title, SENTENCES[404], 404)

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
        return page(error.name, SENTENCES.get(status, str(error.description)), status)
