"""A small memory of what was made before, so that it need not be made again."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any

MOST = 1024


class Memory:
    """The latest few things by all that goes into them, for all threads; the longest unused goes first.

    >>> found = Memory(most=2)
    >>> [found.of(value, lambda: object()) is found.of(value, lambda: object()) for value in "ab"]
    [True, True]
    """

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._made: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._made)

    def get(self, values: Hashable) -> Any:
        """What was made of these values, or None."""
        with self._lock:
            if values not in self._made:
                return None
            self._made.move_to_end(values)
            return self._made[values]

    def keep(self, values: Hashable, made: Any) -> None:
        """Remember what was made of these values."""
        with self._lock:
            self._made[values] = made
            if len(self._made) > self._most:
                self._made.popitem(last=False)

    def of(self, values: Hashable, make: Callable[[], Any]) -> Any:
        """What `make` made of these values; that it made None is not remembered."""
        found = self.get(values)
        if found is None and (found := make()) is not None:
            self.keep(values, found)
        return found
