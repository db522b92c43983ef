"""How guessing a pairing code is slowed, and when a code is over."""

from __future__ import annotations

from pitapp.limits import whole

FREE_GUESSES = 3
LONGEST_WAIT_S = 60
MOST_WRONG = 1000
"""So many wrong guesses, from all addresses, end a code of 8 digits: the chance that one of them was
right is 1000 / 10^8, 1 in 100 000."""


def wait_after(wrong_guesses: int) -> int:
    """Seconds that an address waits after so many wrong guesses: none for 3, then 1, 2, 4 … up to 60.

    wait = 2^(n − 3), at most 60 s.

    Raises:
        ValueError: not a whole number from 0 to 1 000 000.

    >>> [wait_after(n) for n in (0, 2, 3, 4, 8, 9, 1000)]
    [0, 0, 1, 2, 32, 60, 60]
    """
    wrong = whole(wrong_guesses, "number of wrong guesses", 0, 1_000_000)
    if wrong < FREE_GUESSES:
        return 0
    return min(LONGEST_WAIT_S, 1 << min(wrong - FREE_GUESSES, 10))
