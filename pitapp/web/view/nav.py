"""Where a thumb can go: the five places at the foot, and the rest under More."""

from __future__ import annotations

from typing import NamedTuple

from flask import Flask, current_app, request
from markupsafe import Markup

from pitapp.web.place import in_browser


class Place(NamedTuple):
    """A screen in the navigation, and in more words what stands there."""

    room: str
    path: str
    label: str
    what: str = ""


FOOT = (
    Place("board", "/", "Board"),
    Place("gearing", "/gearing", "Gearing"),
    Place("checks", "/checks", "Checks"),
    Place("runs", "/runs", "Runs"),
    Place("more", "/more", "More", "screens"),
)
MORE = (
    Place("meetings", "/meetings", "Meetings", "Race days, timetables, classes"),
    Place("tracks", "/tracks", "Tracks", "Straights, past runs, the gear to start with"),
    Place("drive", "/forecast", "Forecast", "Every gear ranked for a track: lap, speed, heat"),
    Place("kit", "/kit", "Kit", "Cars, motors, gears, weights, leads"),
    Place("bench", "/bench", "Bench", "Motor checks: Kv, current, timing"),
    Place("packs", "/packs", "Packs", "Charge by steps, charge plan, storage"),
    Place("roll", "/roll", "Parked car", "Will it roll away?"),
    Place("copies", "/copies", "Copies", "Back up and bring back your data"),
    Place("exchange", "/exchange", "Import and export", "Spreadsheets, and everything in one file"),
    Place(
        "handout",
        "/handout/take",
        "Take a link",
        "A class, track, timetable, set-up or gear from others",
    ),
    Place("devices", "/devices", "Devices", "Phones on this server, pairing"),
    Place("offline", "/outbox", "Outbox", "What waits on this phone for the server"),
    Place("settings", "/settings", "Settings", "Units, look, this device"),
)

WITH_A_SERVER = {"devices", "offline"}


def more_places() -> tuple[Place, ...]:
    """What stands under More; without what needs a server, where there is none."""
    return tuple(place for place in MORE if not (in_browser() and place.room in WITH_A_SERVER))


def foot(room: str) -> Markup:
    """The bar of places as it stands on the pages of a room."""
    template = current_app.jinja_env.get_template("_foot.html")
    at_foot = {place.room for place in FOOT}
    html = template.render(places=FOOT, room=room if room in at_foot else "more")
    return Markup(html)  # noqa: S704


def _values() -> dict[str, object]:
    return {"foot": foot((request.blueprint or "").split(".")[0])}


def register(app: Flask) -> None:
    """Offer the bar of places to every template, as `foot`."""
    app.context_processor(_values)
