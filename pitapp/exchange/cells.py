"""Cells of a sheet that no spreadsheet takes for a formula, and the way back.

Source: OWASP Foundation, "CSV Injection" (owasp.org/www-community/attacks/CSV_Injection), from
memory: a text that begins with = + - @, a tab or a line end is kept as text by an apostrophe before
it. Numbers stay numbers, also negative ones. A reader that takes a semicolon for the end of a cell
would begin a new one behind it, so that the same holds there, and behind spaces that it drops.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

Cell = str | float | int | None

_TRIGGERS = r"=+\-@\t\r\n＝＋－＠"
_RISKY = re.compile(rf"(^|;)(?=['\s]*[{_TRIGGERS}])")
_MADE_SAFE = re.compile(rf"(^|;)'(?=['\s]*[{_TRIGGERS}])")
_NUMBER = re.compile(r"[+-]?[0-9]{1,15}([.,][0-9]{1,15})?", re.ASCII)


@lru_cache(2048)
def safe(text: str) -> str:
    """The text as a cell that is no formula in any spreadsheet.

    >>> safe("=1+1"), safe("-1.5"), safe("rear; soft"), safe("a;@b")
    ("'=1+1", '-1.5', 'rear; soft', "a;'@b")
    """
    harmless = text[:1].isalnum() and ";" not in text
    return text if harmless or _NUMBER.fullmatch(text) else _RISKY.sub(r"\1'", text)


def unsafe(cell: str) -> str:
    """The text that `safe` was given.

    >>> unsafe("'=1+1"), unsafe("'tis")
    ('=1+1', "'tis")
    """
    return cell if _NUMBER.fullmatch(cell) else _MADE_SAFE.sub(r"\1", cell)


def written(value: Cell, *, comma: bool) -> str:
    """A value as the text of its cell: numbers in full precision, with a decimal comma if wished.

    >>> written(-2.5, comma=True), written(None, comma=False), written("@x", comma=False)
    ('-2,5', '', "'@x")
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return safe(value)
    text = repr(value).removesuffix(".0")
    return text.replace(".", ",") if comma else text


class Block(NamedTuple):
    """Lines that begin and end alike and differ in the texts between."""

    begin: tuple[Cell, ...]
    texts: tuple[tuple[str, ...], ...]
    end: tuple[Cell, ...]


def sheet(
    headings: Sequence[str], rows: Iterable[Sequence[Cell] | Block], *, comma: bool = False
) -> str:
    """A sheet as CSV (RFC 4180): UTF-8 with a mark that spreadsheets know it by.

    With a decimal comma the cells are parted by semicolons, as spreadsheets set to it expect.

    >>> sheet(["a", "b"], [Block((1,), (("x",), ("=y",)), ())]).splitlines()[1:]
    ['1,x', "1,'=y"]
    """
    out = io.StringIO()
    out.write("\ufeff")
    write = _writer(out, comma).writerow
    write([safe(heading) for heading in headings])
    for row in rows:
        if isinstance(row, Block):
            out.write(_block(row, comma))
        else:
            write([safe(cell) if type(cell) is str else written(cell, comma=comma) for cell in row])
    return out.getvalue()


def _writer(out: io.StringIO, comma: bool) -> Any:
    return csv.writer(out, delimiter=_between(comma), lineterminator="\r\n")


def _between(comma: bool) -> str:
    return ";" if comma else ","


def _block(block: Block, comma: bool) -> str:
    begin, end = (_cells(cells, comma) for cells in (block.begin, block.end))
    end = f"{end.removesuffix(_between(comma))}\r\n"
    if block.end:
        return "".join([f"{begin}{_texts(texts, comma)}{end}" for texts in block.texts])
    return "".join([f"{begin}{_texts(texts, comma)[:-1]}{end}" for texts in block.texts])


@lru_cache(8192)
def _texts(texts: tuple[str, ...], comma: bool) -> str:
    return _cells(texts, comma)


def _cells(cells: Sequence[Cell], comma: bool) -> str:
    """Cells with what parts them behind each."""
    out = io.StringIO()
    _writer(out, comma).writerow([*(written(cell, comma=comma) for cell in cells), "end"])
    return out.getvalue().removesuffix("end\r\n")
