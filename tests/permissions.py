"""A stretch of a test in which file permissions bind, also where the tests run as root."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

VERSION_3 = 0x20080522
OVERRIDING = 0b110  # CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH, capabilities(7)


class _Header(ctypes.Structure):
    _fields_ = (("version", ctypes.c_uint32), ("pid", ctypes.c_int))


class _Sets(ctypes.Structure):
    _fields_ = tuple((f"{name}_{n}", ctypes.c_uint32) for n in (0, 1) for name in "epi")


@contextmanager
def permissions_bind() -> Iterator[None]:
    """Give up root's right to pass over permissions, and take it back at the end."""
    if os.getuid() != 0:
        yield
        return
    libc, header, sets = ctypes.CDLL(None, use_errno=True), _Header(VERSION_3, 0), _Sets()
    _call(libc.capget, header, sets)
    kept = sets.e_0
    sets.e_0 = kept & ~OVERRIDING
    _call(libc.capset, header, sets)
    try:
        yield
    finally:
        sets.e_0 = kept
        _call(libc.capset, header, sets)


def _call(function: ctypes._NamedFuncPointer, header: _Header, sets: _Sets) -> None:
    if function(ctypes.byref(header), ctypes.byref(sets)):
        raise OSError(ctypes.get_errno(), "capabilities cannot be changed")


def shut(folder: Path) -> None:
    """Take away the right to write in the folder and to its files, and see that it is gone."""
    for path in folder.iterdir():
        path.chmod(0o555 if path.is_dir() else 0o444)
    folder.chmod(0o555)
    try:
        (folder / "probe").touch()
    except PermissionError:
        return
    raise AssertionError("This system lets the tests write where nobody may.")


def open_again(folder: Path) -> None:
    """Give the right to write back."""
    folder.chmod(0o755)
    for path in folder.iterdir():
        path.chmod(0o755 if path.is_dir() else 0o644)
