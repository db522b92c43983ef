"""What a phone keeps after one visit to the Board: pages, and every step of the run-throughs."""

from __future__ import annotations

import io
import re
import sqlite3
from datetime import datetime
from typing import Any

from flask import Flask, render_template
from werkzeug.test import EnvironBuilder, run_wsgi_app
from werkzeug.wrappers import Response

from pitapp.checks import store as checks
from pitapp.checks.here import here
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Checklist, Walk
from pitapp.checks.view import StepView, look_up
from pitapp.meetings import store as meetings
from pitapp.packs import store as packs

ALWAYS = (
    "/",
    "/gearing",
    "/checks",
    "/checks/card",
    "/runs",
    "/runs/new",
    "/packs",
    "/packs/emergency",
    "/roll",
    "/outbox",
)
MOST_PACKS = 8
NOT_BEGUN = -1
TOKEN = re.compile(r'(name="csrf_token" value=")[^"]*')
INHERITED = ("HTTP_HOST", "HTTP_COOKIE", "REMOTE_ADDR", "wsgi.url_scheme", "HTTP_USER_AGENT")
INSIDE = "pitapp.inside"


def paths(connection: sqlite3.Connection, now: datetime) -> list[str]:
    """The addresses of the pages to keep, the lists of `runs` included."""
    sound = [pack.id for pack in packs.packs(connection) if pack.condition == "sound"][:MOST_PACKS]
    return [
        *ALWAYS,
        *(f"/packs/{pack_id}{end}" for pack_id in sound for end in ("", "/reading")),
        *(f"/checks/lists/{each.id}/run" for each in all_lists(connection, now)),
        *race_day(connection, now),
    ]


def race_day(connection: sqlite3.Connection, now: datetime) -> list[str]:
    """The addresses of the meeting that is on and of its heats still to come."""
    meeting = meetings.current_meeting(connection, now)
    if meeting is None:
        return []
    heats = [heat for heat in meetings.heats(connection, meeting.id) if heat.done_at is None]
    return [f"/meetings/{meeting.id}", *(f"/meetings/heats/{heat.id}" for heat in heats)]


def all_lists(connection: sqlite3.Connection, now: datetime) -> list[Checklist]:
    """Every checklist of one's own, and the settings of the controller in the car."""
    controller = here(connection, now).controller
    settings = [lists.settings_list(connection, controller.id)] if controller else []
    return [*settings, *lists.checklists(connection)]


def rendered(app: Flask, environ: dict[str, Any], path: str) -> str | None:
    """The page at `path` as this device would be given it, without its token; None if there is none."""
    builder = EnvironBuilder(path=path)
    inner = builder.get_environ()
    inner |= {name: environ[name] for name in INHERITED if name in environ}
    inner |= {INSIDE: True, "wsgi.errors": environ.get("wsgi.errors", io.StringIO())}
    with app.app_context():
        answer = Response(*run_wsgi_app(app.wsgi_app, inner, buffered=True))
    if answer.status_code != 200 or answer.mimetype != "text/html":
        return None
    return TOKEN.sub(r"\1", answer.get_data(as_text=True))


def runs(connection: sqlite3.Connection, now: datetime) -> list[dict[str, Any]]:
    """Every run-through with the fragment of each of its steps, as `static/js/sw/runs.js` reads them."""
    return [
        found
        for each in all_lists(connection, now)
        if (found := run_through(connection, each, now))
    ]


def run_through(
    connection: sqlite3.Connection, checklist: Checklist, now: datetime
) -> dict[str, Any] | None:
    """One run-through: taken up where it was left half-way, else one that is not begun yet."""
    present = here(connection, now, checklist)
    begun = checks.open_walk(
        connection, checklist.id, car_id=present.car_id, since=present.left_since
    )
    walk: Walk = begun or present.walk(checklist).model_copy(update={"id": NOT_BEGUN})
    _, judged = look_up(connection, walk)
    first = StepView.of(connection, walk, present, judged)
    if first is None:
        return None
    steps = []
    for each in judged:
        view = StepView.of(connection, walk, present, judged, each.step)
        html = render_template(
            "checks/_walk.html", checklist=checklist, walk=walk, here=present, view=view
        )
        steps.append([each.step.id, TOKEN.sub(r"\1", html)])
    return {
        "list": checklist.id,
        "uuid": walk.uuid,
        "begun": begun is not None,
        "first": first.step.id,
        "steps": steps,
    }
