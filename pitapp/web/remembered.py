"""What was made from the same values before, so that it need not be made again."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any

from flask import Flask, current_app

from pitapp.web.clock import current_settings

MOST = 1024


class Remembered:
    """The latest few things by all that goes into them, for all threads; the longest unused goes first.

    >>> found = Remembered(most=2)
    >>> [found.of(value, lambda: object()) is found.of(value, lambda: object()) for value in "ab"]
    [True, True]
    """

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._made: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._made)

    def of(self, values: Hashable, make: Callable[[], Any]) -> Any:
        """What `make` made of these values; that it made None is not remembered."""
        with self._lock:
            if values in self._made:
                self._made.move_to_end(values)
                return self._made[values]
        made = make()
        if made is None:
            return None
        with self._lock:
            self._made[values] = made
            if len(self._made) > self._most:
                self._made.popitem(last=False)
        return made


def remembered(values: Hashable, make: Callable[[], Any]) -> Any:
    """What `make` makes of these values under the settings as they are. Nobody may change it after.

    `values` are everything that it depends on, settings apart: no clock and no token may be in it.
    """
    store: Remembered = current_app.extensions["pitapp.remembered"]
    return store.of((frozenset(current_settings().items()), values), make)


def register(app: Flask) -> None:
    """Give the app its memory."""
    app.extensions["pitapp.remembered"] = Remembered()
