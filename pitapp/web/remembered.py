"""What was made from the same values before, under the settings as they are."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any

from flask import Flask, current_app

from pitapp.web.clock import current_settings
from pitapp.web.memory import Memory


def remembered(values: Hashable, make: Callable[[], Any]) -> Any:
    """What `make` makes of these values under the settings as they are. Nobody may change it after.

    `values` are everything that it depends on, settings apart: no clock and no token may be in it.
    """
    store: Memory = current_app.extensions["pitapp.remembered"]
    return store.of((frozenset(current_settings().items()), values), make)


def register(app: Flask) -> None:
    """Give the app its memory."""
    app.extensions["pitapp.remembered"] = Memory()
