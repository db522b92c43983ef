"""Pages and fragments: the same content under two addresses, one template inside the other."""

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

_PART = re.compile(r"[a-z]+(#[a-z][a-z0-9-]*)")


def wants_part() -> bool:
    """Whether htmx asks, and so a fragment answers."""
    return request.environ.get("HTTP_HX_REQUEST") == "true"


def show(page: str, part: str, status: int = 200, **values: Any) -> Response:
    """The page, or for htmx its fragment with the notices beside it."""
    if not wants_part():
        return current_app.response_class(render_template(page, **values), status)
    return show_part(part, status, **values)


def show_part(part: str, status: int = 200, **values: Any) -> Response:
    """A fragment by itself, followed by the notices for their place on the page."""
    body = render_template(part, **values) + render_template("_notices.html", beside=True)
    return current_app.response_class(body, status)


def after_write(page: str, part: str | None = None, **values: Any) -> Response:
    """Send the browser on to read what the write has made: `part` for htmx, `page` otherwise."""
    endpoint = part if part and wants_part() else page
    response: Response = make_response(redirect(url_for(endpoint, **values), 303))
    return response


def _aim_again(response: Response) -> Response:
    """Name the part by its id, since an answer that came before may have put another in its place."""
    part = _PART.fullmatch(request.environ.get("HTTP_HX_TARGET", ""))
    if part:
        response.headers["HX-Retarget"] = part[1]
    return response


def register(app: Flask) -> None:
    """Let every answer to htmx find its part as the page stands when it comes."""
    app.after_request(_aim_again)
