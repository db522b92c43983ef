"""The bundle that was made last, for the phones that ask at the same moment: it is made once for all.

They do so when the network is back, or one after the other has read the Board.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from datetime import datetime, timedelta
from threading import Lock

GOOD_FOR = timedelta(seconds=2)


class Latest:
    """The latest body, as long as the state is the same and it is next to no time old.

    Its texts tell the time, so that it is given out no longer than a slow network would take.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._state: Hashable = None
        self._made_at: datetime | None = None
        self._body = b""

    def of(
        self,
        state: Callable[[], Hashable],
        clock: Callable[[], datetime],
        make: Callable[[], bytes],
    ) -> bytes:
        """The body that was made of this state just now, else what `make` makes of it.

        The state is read before the body is made: what is written in between counts as after it.
        """
        with self._lock:
            current, moment = state(), clock()
            made_at, self._made_at = self._made_at, None
            fresh = made_at is not None and timedelta() <= moment - made_at < GOOD_FOR
            if not (fresh and current == self._state):
                self._body, self._state, made_at = make(), current, moment
            self._made_at = made_at
            return self._body
