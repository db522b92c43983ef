"""What a phone keeps after one visit to the Board: pages, and every step of the run-throughs."""

from __future__ import annotations

import io
import sqlite3
from datetime import datetime
from typing import Any

from flask import Flask, render_template
from werkzeug.test import EnvironBuilder, run_wsgi_app
from werkzeug.wrappers import Response

from pitapp.checks.context import run_context
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Checklist
from pitapp.checks.offline_steps import OfflineRun, offered_scopes, run_through, without_token
from pitapp.meetings import store as meetings
from pitapp.meetings.models import CAR_KINDS
from pitapp.packs import store as packs
from pitapp.packs.charging import offline_steps as charging
from pitapp.packs.models import Pack
from pitapp.web.view.nav import foot

ALWAYS = (
    "/",
    "/gearing",
    "/checks",
    "/checks/card",
    "/runs",
    "/runs/new",
    "/runs/clock",
    "/packs",
    "/packs/emergency",
    "/roll",
    "/sound",
    "/sound/bench",
    "/sound/limit",
    "/outbox",
    "/more",
)
FRAMES = ("checks", "packs", "offline")
"""Rooms whose steps or sentences are shown in a page of theirs with no server."""
OF_A_PACK = ("", "/reading", "/again")
MOST_PACKS = 8
MOST_OUTINGS = 8
INHERITED = ("HTTP_HOST", "HTTP_COOKIE", "REMOTE_ADDR", "wsgi.url_scheme", "HTTP_USER_AGENT")
INSIDE = "pitapp.inside"


def paths(connection: sqlite3.Connection, now: datetime) -> list[str]:
    """The addresses of the pages to keep, the lists of `runs` included."""
    return [
        *ALWAYS,
        *(f"/packs/{each.id}{end}" for each in sound_packs(connection) for end in OF_A_PACK),
        *race_day(connection, now),
    ]


def sound_packs(connection: sqlite3.Connection) -> list[Pack]:
    """The packs that are kept: those that may be charged, up to a number of them."""
    return [each for each in packs.packs(connection) if each.condition == "sound"][:MOST_PACKS]


def race_day(connection: sqlite3.Connection, now: datetime) -> list[str]:
    """The addresses of the meeting that is on and of its heats still to come."""
    meeting = meetings.current_meeting(connection, now)
    if meeting is None:
        return []
    to_come = [heat for heat in meetings.heats(connection, meeting.id) if heat.done_at is None]
    outings = [heat for heat in to_come if heat.kind in CAR_KINDS][:MOST_OUTINGS]
    return [
        f"/meetings/{meeting.id}",
        *(f"/meetings/heats/{heat.id}" for heat in to_come),
        *(f"/runs/new?heat={heat.id}" for heat in outings),
    ]


def all_lists(connection: sqlite3.Connection, now: datetime) -> list[Checklist]:
    """Every checklist of one's own, and the settings of the controller in the car."""
    controller = run_context(connection, now).controller
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
    return without_token(answer.get_data(as_text=True))


def frame(room: str) -> str:
    """The page around a step or a sentence, with `{title}` and `{part}` in their places."""
    return without_token(render_template("offline/frame.html", room=room, foot=foot(room)))


def runs(connection: sqlite3.Connection, now: datetime) -> list[OfflineRun]:
    """Every run-through and charge with each of its steps, as `static/js/sw/runs.js` walks them."""
    walks = [
        run_through(connection, each, now, scope)
        for each in all_lists(connection, now)
        for scope in offered_scopes(connection, each, now)
    ]
    charges = charging.runs(connection, sound_packs(connection), now)
    return [*filter(None, walks), *charges]
