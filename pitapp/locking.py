"""A lock of the operating system's on an open file, which ends with the process that holds it."""

from __future__ import annotations

import os
import sys

# SQLite locks bytes from here on (1 << 30); Windows would keep it from a byte that is locked.
LOCKED_BYTE = (1 << 30) + 4096

if sys.platform == "win32":
    import msvcrt

    def lock(number: int) -> None:
        """Lock the file with that descriptor, or raise BlockingIOError or PermissionError at once."""
        os.lseek(number, LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(number, msvcrt.LK_NBLCK, 1)
        os.lseek(number, 0, os.SEEK_SET)
else:
    import fcntl

    def lock(number: int) -> None:
        """Lock the file with that descriptor, or raise BlockingIOError or PermissionError at once."""
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
