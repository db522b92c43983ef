"""What a phone keeps after one visit to the Board: pages, and every step of the run-throughs."""

from __future__ import annotations

import io
import re
import sqlite3
from collections.abc import Hashable, Mapping
from datetime import datetime
from typing import Any

from flask import Flask
from werkzeug.test import EnvironBuilder, run_wsgi_app
from werkzeug.wrappers import Response

from pitapp.checks.here import here
from pitapp.checks.kept import packed, run_through, to_keep
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Checklist
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import until_text
from pitapp.packs import store as packs
from pitapp.packs.charging import kept as charging
from pitapp.packs.models import Pack

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
SEAM = re.compile(r'(?=<title>|<link rel="manifest"|<header class="top">|<nav class="foot")')
INHERITED = ("HTTP_HOST", "HTTP_COOKIE", "REMOTE_ADDR", "wsgi.url_scheme", "HTTP_USER_AGENT")
INSIDE = "pitapp.inside"


def paths(connection: sqlite3.Connection, now: datetime) -> list[str]:
    """The addresses of the pages to keep, the lists of `runs` included."""
    return [
        *ALWAYS,
        *(f"/packs/{each.id}{end}" for each in sound_packs(connection) for end in ("", "/reading")),
        *race_day(connection, now),
    ]


def sound_packs(connection: sqlite3.Connection) -> list[Pack]:
    """The packs that are kept: those that may be charged, up to a number of them."""
    return [each for each in packs.packs(connection) if each.condition == "sound"][:MOST_PACKS]


def race_day(connection: sqlite3.Connection, now: datetime) -> list[str]:
    """The addresses of the meeting that is on and of its heats still to come."""
    meeting = meetings.current_meeting(connection, now)
    return [f"/meetings/{meeting.id}", *heats(connection, now)] if meeting else []


def heats(connection: sqlite3.Connection, now: datetime) -> dict[str, Hashable]:
    """The addresses of the heats still to come, each with all that its page tells."""
    meeting = meetings.current_meeting(connection, now)
    if meeting is None:
        return {}
    return {
        f"/meetings/heats/{heat.id}": (
            meeting,
            heat,
            until_text(heat.starts_at, now),
            heat.started(now),
        )
        for heat in meetings.heats(connection, meeting.id)
        if heat.done_at is None
    }


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
    return to_keep(answer.get_data(as_text=True))


def in_pieces(pages: Mapping[str, str]) -> dict[str, Any]:
    """Pages for the way to the phone: the pieces that they are put together from, each once.

    >>> in_pieces({"/a": "<head><title>A", "/b": "<head><title>B"})
    {'pages': {'/a': [0, 1], '/b': [0, 2]}, 'pieces': ['<head>', '<title>A', '<title>B']}
    """
    places: dict[str, int] = {}
    found = {
        path: [places.setdefault(piece, len(places)) for piece in SEAM.split(html)]
        for path, html in pages.items()
    }
    return {"pages": found, "pieces": list(places)}


def runs(connection: sqlite3.Connection, now: datetime) -> dict[str, Any]:
    """Every run-through and charge with each of its steps, as `static/js/sw/runs.js` walks them."""
    walks = [run_through(connection, each, now) for each in all_lists(connection, now)]
    charges = charging.runs(connection, sound_packs(connection), now)
    return packed([*filter(None, walks), *charges])
