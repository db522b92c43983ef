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
    Place("settings", "/settings", "Settings"),
)
MORE: tuple[Place, ...] = ()


def register(app: Flask) -> None:
    """Offer the places to every template."""

    def values() -> dict[str, object]:
        return {"places": FOOT, "room": request.blueprint or ""}

    app.context_processor(values)
