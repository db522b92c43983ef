"""A large JSON file (RFC 8259) taken apart as it is read: nothing but the piece at hand is held.

What it may look like is fixed: an object whose values are small, but for the lists of rows named in
`ROWS` and the object of such lists named in `TABLES`. A row is an object of plain values.
"""

from __future__ import annotations

import re
from collections.abc import Generator, Iterator
from typing import BinaryIO, NamedTuple

TABLES, ROWS = "tables", ("write_keys",)
WINDOW = 256 * 1024
LONGEST_HEAD = 64 * 1024
LONGEST_ROW = 4 * 1024 * 1024
MOST_KEYS, MOST_COLUMNS = 200, 200
MOST_ROWS = 500_000

_SPACE = rb"[ \t\r\n]*+"
_STRING = rb'"(?:[^"\\]++|\\.)*+"'
_PLAIN = rb"(?:" + _STRING + rb"|[-+.\w]++)"
_PAIR = _STRING + _SPACE + b":" + _SPACE + _PLAIN + _SPACE
_LIST = rb"\[%b(?:%b%b(?:,%b%b%b){0,%d}+)?\]" % (
    _SPACE,
    _PLAIN,
    _SPACE,
    _SPACE,
    _PLAIN,
    _SPACE,
    MOST_COLUMNS - 1,
)
_FLAT = rb"\{%b(?:%b(?:,%b%b){0,%d}+)?\}" % (_SPACE, _PAIR, _SPACE, _PAIR, MOST_COLUMNS - 1)
SPACE = re.compile(_SPACE)
STRING = re.compile(_STRING, re.DOTALL)
ROW = re.compile(_FLAT, re.DOTALL)
VALUE = re.compile(_PLAIN + b"|" + _FLAT + b"|" + _LIST, re.DOTALL)


class Misshapen(ValueError):
    """The file is not of that shape; the text says where it is not."""


class Piece(NamedTuple):
    """A piece as it stands in the file: a value of the head, or a row of the list at that place.

    `row` counts from 0; it is None for a value of the head, and -1 where a list begins. The tables
    are an empty object in the head.
    """

    place: tuple[str, ...]
    text: bytes
    row: int | None = None


def pieces(file: BinaryIO) -> Iterator[Piece]:
    """The pieces of a file, from its beginning, in their order.

    Raises:
        Misshapen: it is no such file.
    """
    file.seek(0)
    window, rows = _Window(file), 0
    for key in window.keys("its beginning", MOST_KEYS):
        if key == TABLES:
            yield Piece((TABLES,), b"{}")
            for table in window.keys(TABLES, MOST_KEYS):
                rows += yield from _rows(window, (TABLES, table), MOST_ROWS - rows)
        elif key in ROWS:
            rows += yield from _rows(window, (key,), MOST_ROWS - rows)
        else:
            yield Piece((key,), window.take(VALUE, LONGEST_HEAD, key))
    window.end()


def _rows(window: _Window, place: tuple[str, ...], most: int) -> Generator[Piece, None, int]:
    name = place[-1]
    window.sign(b"[", name)
    yield Piece(place, b"", -1)
    number = 0
    while not window.next_is(b"]", first=number == 0, place=name):
        if number >= most:
            raise Misshapen(f"a file of more than {MOST_ROWS} rows")
        yield Piece(place, window.take(ROW, LONGEST_ROW, f"{name}, row {number + 1}"), number)
        number += 1
    return number


class _Window:
    """What was read ahead of a file."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._text, self._at, self._over = b"", 0, False

    def keys(self, place: str, most: int) -> Iterator[str]:
        """The keys of an object; after each its value is to be taken."""
        self.sign(b"{", place)
        seen: set[str] = set()
        while not self.next_is(b"}", first=not seen, place=place):
            key = self.take(STRING, LONGEST_HEAD, place)[1:-1].decode("utf-8", "replace")
            if key in seen or len(seen) >= most:
                raise Misshapen(key[:40])
            seen.add(key)
            self.sign(b":", key)
            yield key

    def sign(self, sign: bytes, place: str) -> None:
        """Take a single sign."""
        if self._peek() != sign:
            raise Misshapen(place)
        self._at += 1

    def next_is(self, closing: bytes, *, first: bool, place: str) -> bool:
        """Whether a list or an object ends here; if not, what comes next is its next member."""
        if self._peek() == closing:
            self._at += 1
            return True
        if not first:
            self.sign(b",", place)
            self._peek()
        return False

    def take(self, what: re.Pattern[bytes], most: int, place: str) -> bytes:
        """Take what matches here, of so many bytes at most."""
        self._peek()
        while True:
            token = what.match(self._text, self._at)
            whole = token is not None and (token.end() < len(self._text) or self._over)
            if token is not None and whole and len(token[0]) <= most:
                self._at = token.end()
                return token[0]
            if whole or self._over or len(self._text) - self._at > most:
                raise Misshapen(place)
            self._more(len(self._text) - self._at)

    def end(self) -> None:
        """Make sure that nothing comes any more."""
        if self._peek():
            raise Misshapen("its end")

    def _peek(self) -> bytes:
        """The next sign that is no space; nothing at the end."""
        while True:
            space = SPACE.match(self._text, self._at)
            self._at = space.end() if space else self._at
            if self._at < len(self._text) or self._over:
                return self._text[self._at : self._at + 1]
            self._more(0)

    def _more(self, at_least: int) -> None:
        more = self._file.read(max(WINDOW, at_least))
        self._over = not more
        self._text, self._at = self._text[self._at :] + more, 0
