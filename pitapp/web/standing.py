"""Pages that stand until something is written: made once, then given out from memory."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import wraps
from typing import Any, NamedTuple

from flask import Flask, Response, current_app, g, make_response, request, session

from pitapp.db import Database
from pitapp.web.htmx import wants_part
from pitapp.web.look import theme
from pitapp.web.memory import Memory

MOST_PAGES, MOST_FACTS = 128, 32
LONGEST_QUERY = 1000


class Page(NamedTuple):
    """The body and content type of an answer of 200."""

    body: bytes
    content_type: str | None


def standing(view: Callable[..., Any]) -> Callable[..., Response]:
    """Wrap a GET whose answer depends on what is written, its address and the device: on no clock.

    Anything that is written ends it, by whatever program. A page with a notice is made for that once.
    """

    @wraps(view)
    def wrapped(**arguments: Any) -> Response:
        query, token = request.environ.get("QUERY_STRING", ""), session.get("csrf_token")
        if "_flashes" in session or len(query) > LONGEST_QUERY:
            return make_response(view(**arguments))
        database: Database = current_app.extensions["pitapp.db"]
        g.written = database.written()
        pages: Memory = current_app.extensions["pitapp.standing"]
        key = (g.written, request.environ["PATH_INFO"], query, wants_part(), theme(), token)
        page: Page | None = pages.get(key)
        if page is not None:
            return current_app.response_class(page.body, content_type=page.content_type)
        response = make_response(view(**arguments))
        if response.status_code == 200 and session.get("csrf_token") == token:
            pages.keep(key, Page(response.get_data(), response.content_type))
        return response

    return wrapped


def as_written(name: Hashable, read: Callable[[], Any]) -> Any:
    """What `read` reads; for a standing page as it was read before, while nothing is written.

    Nobody may change it after.
    """
    written = g.get("written")
    if written is None:
        return read()
    facts: Memory = current_app.extensions["pitapp.as_written"]
    return facts.of((written, name), read)


def register(app: Flask) -> None:
    """Give the app its memories of pages, and of what was read for them."""
    app.extensions["pitapp.standing"] = Memory(MOST_PAGES)
    app.extensions["pitapp.as_written"] = Memory(MOST_FACTS)
