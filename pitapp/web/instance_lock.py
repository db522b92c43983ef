"""One server on one data folder: a lock of the operating system's, which ends with the process."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from pitapp.errors import AlreadyServed, DataError
from pitapp.locking import lock

NAME = "serving.lock"
SERVE_ELSEWHERE = "Use that one, or stop it first (Ctrl-C), or serve another folder with --data."


@contextmanager
def serving(folder: Path, advice: str = SERVE_ELSEWHERE) -> Iterator[Callable[[str], None]]:
    """Hold the folder for this process; yields a function that says at which address it is served.

    Raises:
        AlreadyServed: another process holds it; the sentence ends with `advice`.
        DataError: the lock cannot be made there.
    """
    path = folder / NAME
    try:
        number = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise DataError(
            f"The data folder {folder} cannot be written ({error.strerror}). Mend its permissions, "
            "or choose another one with --data."
        ) from error
    try:
        try:
            lock(number)
        except (BlockingIOError, PermissionError):
            address = os.read(number, 200).decode("ascii", "replace").strip()
            at = f" at {address}" if address else ""
            raise AlreadyServed(f"pitapp already runs on {folder}{at}. {advice}") from None
        except OSError as error:
            raise DataError(
                f"The data folder {folder} cannot be locked ({error.strerror}), so its files are not "
                "safe there. Choose a folder on this machine's own disk with --data."
            ) from error
        os.ftruncate(number, 0)
        yield lambda address: _say(number, address)
        os.ftruncate(number, 0)
    finally:
        os.close(number)


def _say(number: int, address: str) -> None:
    os.lseek(number, 0, os.SEEK_SET)
    os.write(number, address.encode("ascii", "replace"))
