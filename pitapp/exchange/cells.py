"""Cells of a sheet that no spreadsheet takes for a formula, and the way back.

Source: OWASP Foundation, "CSV Injection" (owasp.org/www-community/attacks/CSV_Injection, read in a
copy of 2026): a text that begins with = + - @, a tab, a carriage return, a line feed or a full-width
form of one of the four is kept as text by an apostrophe before it, and so is what comes behind a
field separator or a quote within it. Further than that list go, by our own choice: every separator
that a spreadsheet offers but the space (each remark would be torn), every character that Unicode's
compatibility form (NFKC) turns into one of the four, and invisible characters before it. Numbers stay
numbers, also negative ones.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

Cell = str | float | int | None

_SIGNS = r"=+\-@＝＋－＠﹦﹢﹣﹫⁼⁺₌₊⩵⩶﬩"
_ENDS = r"\t\r\n\v\f\x1c-\x1e\x85\u2028\u2029"
# Quotes, white space, and what has no width: Unicode's categories Cc, Cf and Z and what its property
# Default_Ignorable_Code_Point holds.
_SKIPPED = (
    r"'\"\s\x00-\x20\x7f-\xa0\xad\u034f\u0600-\u0605\u061c\u06dd\u070f\u0890\u0891\u08e2"
    r"\u115f\u1160\u1680\u17b4\u17b5\u180b-\u180f\u2000-\u200f\u2028-\u202f\u205f-\u206f"
    r"\u3000\u3164\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufffb\U000110bd\U000110cd"
    r"\U00013430-\U0001343f\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff"
)
# So many that could be skipped count as a sign, so that a search takes no longer than its text.
_MANY = 40
_SIGN_AHEAD = rf"[{_SKIPPED}]{{{_MANY}}}|[{_SKIPPED}]{{0,{_MANY}}}[{_SIGNS}]"
_AFTER_SEPARATOR = rf"(?={_SIGN_AHEAD}|['\"]{{0,{_MANY}}}[{_ENDS}])"
_RISKY = re.compile(rf"(?:\A|[,;|]){_AFTER_SEPARATOR}|[{_ENDS}](?={_SIGN_AHEAD})")
_MADE_SAFE = re.compile(rf"(\A|[,;|])'{_AFTER_SEPARATOR}|([{_ENDS}])'(?={_SIGN_AHEAD})")
_NUMBER = re.compile(r"[+-]?[0-9]{1,15}([.,][0-9]{1,15})?", re.ASCII)
_NEVER_RISKY = re.compile(rf"[^{_SIGNS}{_ENDS}]{{0,{_MANY}}}")


@lru_cache(2048)
def escape_formula(text: str) -> str:
    """The text as a cell that is no formula in any spreadsheet.

    >>> escape_formula("=1+1"), escape_formula("-1.5"), escape_formula("rear; soft"), escape_formula("a;@b")
    ("'=1+1", '-1.5', 'rear; soft', "a;'@b")
    """
    harmless = _NEVER_RISKY.fullmatch(text) or _NUMBER.fullmatch(text)
    return text if harmless else _RISKY.sub(r"\g<0>'", text)


def unsafe(cell: str) -> str:
    """The text that `escape_formula` was given.

    >>> unsafe("'=1+1"), unsafe("'tis")
    ('=1+1', "'tis")
    """
    return cell if _NUMBER.fullmatch(cell) else _MADE_SAFE.sub(r"\1\2", cell)


def written(value: Cell, *, comma: bool) -> str:
    """A value as the text of its cell: numbers in full precision, with a decimal comma if wished.

    >>> written(-2.5, comma=True), written(None, comma=False), written("@x", comma=False)
    ('-2,5', '', "'@x")
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return escape_formula(value)
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
    write([escape_formula(heading) for heading in headings])
    for row in rows:
        if isinstance(row, Block):
            out.write(_block(row, comma))
        else:
            write(
                [
                    escape_formula(cell) if type(cell) is str else written(cell, comma=comma)
                    for cell in row
                ]
            )
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
