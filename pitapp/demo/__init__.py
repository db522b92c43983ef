"""Invented demo data: no person, club, product or track in it exists.

It is built by code from a fixed seed and only ever written to a throw-away database.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flask import Flask


def fill(app: Flask) -> None:
    """Write the demo season into the empty database of `app`."""
    from pitapp.demo.season import write

    with app.app_context():
        write(app.extensions["pitapp.db"].connection(), app.extensions["pitapp.clock"]())
