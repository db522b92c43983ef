"""The threads that run the app: those who are known come first, strangers never take all.

Of strangers, whoever has asked least of late comes first, so that many who ask without a pause keep
nobody waiting who has just come.
"""

from __future__ import annotations

import heapq
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from itertools import count

Job = Callable[[], None]
MOST_STRANGERS = 4096
HALVED_EVERY_S = 30.0


class Workers:
    """So many threads, of which at most `for_strangers` work for strangers at a time."""

    def __init__(self, threads: int, for_strangers: int) -> None:
        self._known: deque[Job] = deque()
        self._strange: list[tuple[int, int, Job]] = []
        self._numbers = count()
        self._asked: OrderedDict[str, int] = OrderedDict()
        self._halve_at = 0.0
        self._strangers_may = for_strangers
        self._change = threading.Condition()
        self._over = False
        self._threads = [
            threading.Thread(target=self._work, name=f"worker-{number + 1}", daemon=True)
            for number in range(threads)
        ]

    def start(self) -> None:
        """Start every thread."""
        for thread in self._threads:
            thread.start()

    def submit(self, job: Job, *, stranger: str = "") -> None:
        """Let a thread do the job, which must raise nothing; for the stranger of that name, if any."""
        with self._change:
            if stranger:
                place = (self._count(stranger), next(self._numbers), job)
                heapq.heappush(self._strange, place)
            else:
                self._known.append(job)
            self._change.notify()

    def stop(self, seconds: float) -> None:
        """End the threads once each has done its job; wait no longer than that."""
        with self._change:
            self._over = True
            self._change.notify_all()
        give_up = time.monotonic() + seconds
        for thread in self._threads:
            if thread.ident is not None:
                thread.join(max(0.0, give_up - time.monotonic()))

    def _count(self, stranger: str) -> int:
        """How much the stranger has asked of late; this one is counted."""
        if (now := time.monotonic()) >= self._halve_at:
            self._halve_at = now + HALVED_EVERY_S
            halved = ((each, many // 2) for each, many in self._asked.items())
            self._asked = OrderedDict((each, many) for each, many in halved if many)
        count = self._asked.pop(stranger, 0)
        self._asked[stranger] = count + 1
        if len(self._asked) > MOST_STRANGERS:
            self._asked.popitem(last=False)
        return count

    def _work(self) -> None:
        while True:
            with self._change:
                self._change.wait_for(self._may_go_on)
                if self._over:
                    return
                stranger = not self._known
                job = heapq.heappop(self._strange)[-1] if stranger else self._known.popleft()
                self._strangers_may -= stranger
            job()
            if stranger:
                with self._change:
                    self._strangers_may += 1
                    self._change.notify()

    def _may_go_on(self) -> bool:
        return bool(self._over or self._known or (self._strange and self._strangers_may > 0))
