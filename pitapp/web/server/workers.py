"""The threads that run the app: those who are known come first, strangers never take all."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable

Job = Callable[[], None]


class Workers:
    """So many threads, of which at most `for_strangers` work for strangers at a time."""

    def __init__(self, threads: int, for_strangers: int) -> None:
        self._known: deque[Job] = deque()
        self._strange: deque[Job] = deque()
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

    def submit(self, job: Job, *, stranger: bool) -> None:
        """Let a thread do the job, which must raise nothing."""
        with self._change:
            (self._strange if stranger else self._known).append(job)
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

    def _work(self) -> None:
        while True:
            with self._change:
                self._change.wait_for(self._may_go_on)
                if self._over:
                    return
                stranger = not self._known
                job = (self._strange if stranger else self._known).popleft()
                self._strangers_may -= stranger
            job()
            if stranger:
                with self._change:
                    self._strangers_may += 1
                    self._change.notify()

    def _may_go_on(self) -> bool:
        return bool(self._over or self._known or (self._strange and self._strangers_may > 0))
