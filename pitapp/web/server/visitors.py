"""Which addresses have shown a valid device cookie of late; everybody else is a stranger."""

from __future__ import annotations

import time
from collections import OrderedDict
from threading import Lock

from pitapp.addresses import is_this_machine

MOST = 1024


class Visitors:
    """Remembers for so many seconds; for all threads. The longest unheard of is forgotten first.

    >>> visitors = Visitors(600)
    >>> visitors.vouch_for("192.168.1.7")
    >>> [visitors.known(address) for address in ("192.168.1.7", "192.168.1.8", "127.0.0.1")]
    [True, False, True]
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._vouched: OrderedDict[str, float] = OrderedDict()
        self._lock = Lock()

    def known(self, address: str) -> bool:
        """Whether the address is this machine's or has shown a valid cookie."""
        at = self._vouched.get(address)
        if at is not None and time.monotonic() - at < self._seconds:
            return True
        return is_this_machine(address)

    def vouch_for(self, address: str) -> None:
        """Note that the address has shown a valid cookie now."""
        with self._lock:
            self._vouched[address] = time.monotonic()
            self._vouched.move_to_end(address)
            if len(self._vouched) > MOST:
                self._vouched.popitem(last=False)
