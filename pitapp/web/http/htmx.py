"""Pages and fragments: the same content under two addresses; a fragment is one block of its page."""

from __future__ import annotations

import re
from typing import Any

from flask import (
    Flask,
    Response,
    current_app,
    make_response,
    redirect,
    render_template,
    request,
    url_for,
)
from jinja2_fragments.flask import render_block

_TARGET = re.compile(r"[a-z]+(#[a-z][a-z0-9-]*)")


def wants_part() -> bool:
    """Whether htmx asks, and so a fragment answers."""
    return request.environ.get("HTTP_HX_REQUEST") == "true"


def show(page: str, status: int = 200, **values: Any) -> Response:
    """The page, or for htmx its fragment with the notices beside it."""
    if wants_part():
        return show_part(page, status, **values)
    return current_app.response_class(render_template(page, **values), status)


def show_part(page: str, status: int = 200, **values: Any) -> Response:
    """A page's fragment by itself, followed by the notices for their place on the page."""
    body = part(page, **values) + render_template("_notices.html", beside=True)
    return current_app.response_class(body, status)


def part(page: str, **values: Any) -> str:
    """A page's fragment: its block `part`, rendered alone."""
    return render_block(page, "part", **values)


def after_write(page: str, fragment: str | None = None, **values: Any) -> Response:
    """Send the browser on to read what the write has made: `fragment` for htmx, `page` otherwise."""
    endpoint = fragment if fragment and wants_part() else page
    response: Response = make_response(redirect(url_for(endpoint, **values), 303))
    return response


def _aim_again(response: Response) -> Response:
    """Name the part by its id, since an answer that came before may have put another in its place."""
    target = _TARGET.fullmatch(request.environ.get("HTTP_HX_TARGET", ""))
    if target:
        response.headers["HX-Retarget"] = target[1]
    return response


def register(app: Flask) -> None:
    """Retarget answers by element id, so that they land after an earlier swap too."""
    app.after_request(_aim_again)
