"""A CSV file as a table: its encoding, its separator, its headings, and its lines."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from pitapp.errors import Refused

LARGEST_BYTES = 5 * 1024 * 1024
MOST_LINES = 2000
MOST_COLUMNS = 200
MOST_SEPARATORS = 10 * MOST_COLUMNS
TOO_WIDE = f"This file has more than {MOST_COLUMNS} columns. It is no sheet of runs."
WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


def tidy(heading: str) -> str:
    """A heading as it is compared: lower case, single spaces, no degree sign.

    >>> tidy(" Can  °C"), tidy("can C")
    ('can c', 'can c')
    """
    return " ".join(heading.replace("°", "").casefold().split())


class Table(NamedTuple):
    """Headings (as `tidy` has them) and numbered lines, each a cell by heading."""

    headings: list[str]
    lines: list[tuple[int, Mapping[str, str]]]

    @staticmethod
    def read(data: bytes, *, needed: Sequence[str]) -> Table:
        """The table in the bytes of a CSV file.

        Raises:
            Refused: it is no such file, too large, or a needed heading is missing.
        """
        text = _text(data)
        first = text.split("\n", 1)[0]
        separator = max(",;\t", key=first.count)
        if any(line.count(separator) > MOST_SEPARATORS for line in text.splitlines()):
            raise Refused(TOO_WIDE)
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        try:
            headings = [tidy(cell) for cell in next(reader, [])]
            _check(headings, needed)
            lines: list[tuple[int, Mapping[str, str]]] = []
            for cells in reader:
                if not any(cell.strip() for cell in cells):
                    continue
                if len(lines) >= MOST_LINES:
                    raise Refused(
                        f"This file has more than {MOST_LINES} lines. Take it in parts, with the "
                        "headings on top of each."
                    )
                lines.append((reader.line_num, dict(zip(headings, cells, strict=False))))
        except csv.Error as error:
            raise Refused(f"Line {reader.line_num} cannot be read: {error}.") from None
        if not lines:
            raise Refused("This file has headings and no line under them.")
        return Table(headings, lines)


def _text(data: bytes) -> str:
    if len(data) > LARGEST_BYTES:
        raise Refused("This file is too large: a sheet of runs has at most 5 MB.")
    if data.startswith(WORKBOOKS):
        raise Refused(
            "This is a workbook. Save it as CSV in the spreadsheet, and choose that file."
        )
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise Refused("This file is no text. Save it as CSV (UTF-8), and choose that file.")


def _check(headings: list[str], needed: Sequence[str]) -> None:
    if len(headings) > MOST_COLUMNS:
        raise Refused(TOO_WIDE)
    if missing := [name for name in needed if name not in headings]:
        raise Refused(
            f"The heading “{missing[0]}” is missing in the first line. "
            "The empty sheet below has all the headings."
        )
    twice = [name for name in headings if name and headings.count(name) > 1]
    if twice:
        raise Refused(f"The heading “{twice[0][:40]}” stands there twice. Keep one of them.")
