"""Invented demo data: no person, club, product or track in it exists.

It is built by code from a fixed seed and only ever written to a throw-away database.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flask import Flask


def fill(app: Flask) -> None:
    """Write the demo season into the empty database of `app`."""
    from pitapp.db import transaction
    from pitapp.demo.season import write
    from pitapp.web.clock import home_zone, now

    with app.app_context(), transaction(app.extensions["pitapp.db"].connection()) as connection:
        write(connection, now(), getattr(home_zone(), "key", "UTC"))
