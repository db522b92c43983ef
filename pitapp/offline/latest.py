"""The bundle that was made last, for the phones that ask at the same moment: it is made once for all.

They do so when the network is back, or one after the other has read the Board.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from datetime import datetime, timedelta
from threading import Lock

GOOD_FOR = timedelta(seconds=2)


class Latest:
    """The latest body: for who waited while it was begun, and as long as nothing is written next to no time old.

    Its texts tell the time, so that it is given out no longer than a slow network would take.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._begun = 0
        self._seen_as: Hashable = None
        self._written: Hashable = None
        self._made_at: datetime | None = None
        self._body = b""

    def of(
        self,
        seen_as: Hashable,
        written: Callable[[], Hashable],
        clock: Callable[[], datetime],
        make: Callable[[], bytes],
    ) -> bytes:
        """The body of who sees it as these do, if it holds all that was written up to this call, else a new one.

        What is written is looked at before a body is made: what comes in between counts as after it.
        """
        before = self._begun
        with self._lock:
            if not (self._same(seen_as) and (self._begun > before or self._fresh(written, clock))):
                self._begun += 1
                self._made_at = None
                at, held = clock(), written()
                self._body = make()
                self._seen_as, self._written, self._made_at = seen_as, held, at
            return self._body

    def _same(self, seen_as: Hashable) -> bool:
        return self._made_at is not None and self._seen_as == seen_as

    def _fresh(self, written: Callable[[], Hashable], clock: Callable[[], datetime]) -> bool:
        if self._made_at is None or not timedelta() <= clock() - self._made_at < GOOD_FOR:
            return False
        return self._written == written()
