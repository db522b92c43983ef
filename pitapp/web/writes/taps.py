"""Taps that go on from what a page shows, such as "+5 min": they say what they saw.

Where another device was quicker, the tap does nothing and shows what there is now.
"""

from __future__ import annotations

from typing import Any

from flask import Response, current_app, make_response, request, session

from pitapp.web.clock import is_late
from pitapp.web.http.htmx import wants_part
from pitapp.web.writes import notices, refusals

FIELD = "saw"
OWN = "own_tap"
"""In the session: where this device tapped last, what it saw then, and the number that its tap led to.
A second tap before the first is answered has seen no more than the first."""


def outdated(version: int) -> int | None:
    """Status for a tap on an outdated page (409, 422), or None to go on.

    `version` is the number of what is tapped on, as its page sends it back. A tap without it is on
    what is there now (None), unless it waited on a phone (422).
    """
    saw = request.form.get(FIELD)
    refusals.note_saw(version)
    if saw is None:
        return 422 if is_late() else None
    own = [request.path, saw, version]
    if saw != str(version) and session.get(OWN) != own:
        return 409
    session[OWN] = [request.path, saw, version + 1]
    return None


def stale_response(
    sentence: str, status: int, page: str, part: str | None = None, **values: Any
) -> Response:
    """What the screen shows by now, with the reason why the tap did nothing: its part for htmx."""
    notices.say(f"Not done: {sentence}", notices.REFUSED)
    refusals.note(f"Not done: {sentence}")
    view = current_app.view_functions[part if part and wants_part() else page]
    response = make_response(view(**values))
    response.status_code = status
    return response
