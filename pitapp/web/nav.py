"""Where a thumb can go: the five places at the foot, and the rest under More."""

from __future__ import annotations

from typing import NamedTuple

from flask import Flask, request


class Place(NamedTuple):
    """A screen in the navigation."""

    room: str
    path: str
    label: str
    what: str = ""


FOOT = (
    Place("board", "/", "Board"),
    Place("gearing", "/gearing", "Gearing"),
    Place("kit", "/kit", "Kit"),
    Place("more", "/more", "More"),
)
MORE = (Place("settings", "/settings", "Settings", "Units, look, this device"),)


def register(app: Flask) -> None:
    """Offer the places to every template."""

    def values() -> dict[str, object]:
        here = request.blueprint or ""
        at_foot = here in {place.room for place in FOOT}
        return {"places": FOOT, "room": here, "foot_room": here if at_foot else "more"}

    app.context_processor(values)
