"""Wrong guesses of pairing codes: who has to wait, and when a code is over.

They are kept in memory, so that a stranger's guesses write nothing and wait for no disk. A server
that starts makes a new code, so nothing is lost with them.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from threading import Lock
from typing import NamedTuple

from pitapp.addresses import neighbour
from pitapp.devices.formulas import MOST_WRONG, wait_after

FORGOTTEN_AFTER = timedelta(minutes=15)
MOST_ADDRESSES = 4096


class WrongGuesses(NamedTuple):
    """How many wrong guesses came from an address, and when the last one did."""

    many: int
    last: datetime


class MustWait(Exception):
    """The address may not guess yet, for so many seconds."""

    def __init__(self, seconds: int) -> None:
        super().__init__(seconds)
        self.seconds = seconds


class Guesses:
    """The wrong guesses of all addresses, each IPv6 network of 64 bits counted as one.

    Only so many addresses are remembered; the longest unheard of is forgotten first, which costs
    little: the number of all wrong guesses for a code stays.
    """

    def __init__(self, most_addresses: int = MOST_ADDRESSES) -> None:
        self._most_addresses = most_addresses
        self._by_address: OrderedDict[str, WrongGuesses] = OrderedDict()
        self._code, self._wrong_for_code = "", 0
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._by_address)

    @contextmanager
    def attempt(self, address: str, now: datetime) -> Iterator[GuessAttempt]:
        """Look at one guess from there, alone: until its end no other is looked at or counted.

        Raises:
            Waiting: this address has to wait; its guess is not looked at.
        """
        place = neighbour(address)
        with self._lock:
            if seconds := self._wait(place, now):
                raise MustWait(seconds)
            yield GuessAttempt(self, place, now)

    def _wait(self, place: str, now: datetime) -> int:
        wrong = self._by_address.get(place)
        if wrong is None or not self._counts(wrong, now):
            return 0
        over = wrong.last + timedelta(seconds=wait_after(wrong.many))
        return max(0, int((over - now).total_seconds() + 0.999))

    def _count(self, place: str, now: datetime) -> None:
        wrong = self._by_address.pop(place, None)
        many = wrong.many if wrong and self._counts(wrong, now) else 0
        self._by_address[place] = WrongGuesses(many + 1, now)
        if len(self._by_address) > self._most_addresses:
            self._by_address.popitem(last=False)

    @staticmethod
    def _counts(wrong: WrongGuesses, now: datetime) -> bool:
        """Whether it is of late; one from a moment still to come was noted by a clock that was wrong."""
        return timedelta() <= now - wrong.last < FORGOTTEN_AFTER


class GuessAttempt:
    """One guess, while it is looked at."""

    def __init__(self, guesses: Guesses, place: str, now: datetime) -> None:
        self._guesses, self._place, self._now = guesses, place, now

    def is_over(self, code: str) -> bool:
        """Whether there were too many wrong guesses for this code."""
        return code == self._guesses._code and self._guesses._wrong_for_code >= MOST_WRONG

    def wrong(self, code: str) -> bool:
        """Count it as wrong, for the code that is open; whether that one is over by it."""
        guesses = self._guesses
        guesses._count(self._place, self._now)
        if code != guesses._code:
            guesses._code, guesses._wrong_for_code = code, 0
        guesses._wrong_for_code += 1
        return self.is_over(code)

    def right(self) -> None:
        """Forget the wrong guesses from this address."""
        self._guesses._by_address.pop(self._place, None)
