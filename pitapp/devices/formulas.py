"""How wrong guesses of a pairing code are slowed."""

from __future__ import annotations

from pitapp.limits import whole

FREE_GUESSES = 3
LONGEST_WAIT_S = 60


def wait_after(wrong_guesses: int) -> int:
    """Seconds to wait after so many wrong guesses: none for the first 3, then 1, 2, 4 … up to 60.

    wait = 2^(n − 3), at most 60 s. However many devices guess, in the five minutes of a code's life
    fewer than 16 guesses are looked at, of a hundred million codes.

    Raises:
        ValueError: not a whole number from 0 to 1 000 000.

    >>> [wait_after(n) for n in (0, 2, 3, 4, 8, 9, 1000)]
    [0, 0, 1, 2, 32, 60, 60]
    """
    wrong = whole(wrong_guesses, "number of wrong guesses", 0, 1_000_000)
    if wrong < FREE_GUESSES:
        return 0
    return min(LONGEST_WAIT_S, 1 << min(wrong - FREE_GUESSES, 10))
