"""Invented demo data: no person, club, product or track in it exists.

It is built by code from a fixed seed and only ever written to a throw-away database.

`demo/plan.py` says what the invented season is, `demo/driving.py` drives it with the formulas of
`drive` and `heat`, `demo/equipment.py` and `demo/season.py` write it down through the rooms' stores.
The same moment and seed give the same season. A room with something of its own to show adds it
there.
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
