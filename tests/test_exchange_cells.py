"""Sheets that no spreadsheet takes for formulas, and the tables read from them.

Source of the dangerous beginnings: OWASP Foundation, "CSV Injection" (= + - @, tab, carriage return,
line feed, and full-width forms, also behind a field separator or a quote), read in a copy of 2026.
Unicode's database in Python says what is invisible and what counts as a form of the four signs.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitapp.errors import Refused
from pitapp.exchange import cells
from pitapp.exchange.cells import Block, Cell, sheet
from pitapp.exchange.table import MOST_LINES, Table

SIGNS = "=+-@＝＋－＠"
ENDS = "\t\r\n"
SEPARATORS = ",;|\t\r\n"
INVISIBLE = " \u00a0\u200b\u200d\u2060\ufeff\u00ad\u3000\u2028\x00"
NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")
CELL = st.one_of(st.none(), st.integers(), st.floats(allow_nan=False), st.text(max_size=5))
NASTY = st.text(st.sampled_from([*SIGNS, *SEPARATORS, *INVISIBLE, "'", "1", ".", "a", '"']))


def begins_a_formula(cell: str) -> bool:
    """What a spreadsheet would run: one of the beginnings, quotes and what has no width dropped."""
    bare = cell.lstrip(INVISIBLE + '"')
    return bare[:1] in tuple(SIGNS) or cell.lstrip('"')[:1] in tuple(ENDS)


def parts(cell: str) -> list[str]:
    """The cells that readers would make of it: none split, or split at one of the separators."""
    found = [cell]
    for separator in SEPARATORS:
        found += cell.split(separator)[1:]
    return found


@settings(max_examples=1000, deadline=None)
@given(NASTY | st.text())
def test_no_cell_begins_a_formula_and_every_text_comes_back(text: str) -> None:
    cell = cells.escape_formula(text)
    if not NUMBER.fullmatch(cell):
        whole, *split = parts(cell)
        assert not begins_a_formula(whole)
        for part in split:
            assert part.lstrip(INVISIBLE + ENDS + '"')[:1] not in tuple(SIGNS)
    assert cells.unsafe(cell) == text


@pytest.mark.parametrize("before", ["", "soft;", "soft,", "soft\t", "soft|", "soft\n", "soft\r"])
def test_whatever_is_invisible_or_another_form_of_a_sign_changes_nothing(before: str) -> None:
    kinds = {"Cc", "Cf", "Zs", "Zl", "Zp"}
    every = [chr(code) for code in range(0x110000) if not 0xD800 <= code < 0xE000]
    invisible = [one for one in every if unicodedata.category(one) in kinds]
    signs = [one for one in every if unicodedata.normalize("NFKC", one)[:1] in set("=+-@")]
    assert len(invisible) > 200
    assert len(signs) >= 12
    for begin in [*invisible, "\u115f", "\u3164", "\ufe0f", *signs]:
        text = f"{before}{begin}=1+1" if begin not in signs else f"{before}{begin}1+1"
        cell = cells.escape_formula(text)
        assert cell.startswith(f"{before}'"), ascii(text)
        assert cells.unsafe(cell) == text


@pytest.mark.parametrize(
    "hidden", ["\t" * 500, "\t'" * 300, " " * 1000, "'\u200b\t" * 99, "\ufeff" * 41]
)
def test_a_sign_behind_many_that_are_skipped_is_found(hidden: str) -> None:
    for text in (f"{hidden}=1", f"a;{hidden}=1", hidden, f"'{hidden}'"):
        cell = cells.escape_formula(text)
        assert not text.endswith("=1") or cell.removeprefix("a;").startswith("'")
        assert cells.unsafe(cell) == text


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(NASTY | st.floats(-1e9, 1e9) | st.none(), min_size=3, max_size=3)))
@pytest.mark.parametrize("comma", [False, True])
def test_a_sheet_is_read_back_as_it_was_written(comma: bool, rows: list[list[object]]) -> None:
    text = cells.sheet(("a", "b", "c"), rows, comma=comma)  # type: ignore[arg-type]
    assert text.startswith("\ufeff")
    read = list(csv.reader(io.StringIO(text[1:], newline=""), delimiter=";" if comma else ","))
    assert read[0] == ["a", "b", "c"]
    for wrote, found in zip(rows, read[1:], strict=True):
        for value, cell in zip(wrote, found, strict=True):
            if isinstance(value, float):
                assert float(cell.replace(",", ".")) == value
            else:
                assert cells.unsafe(cell) == (value or "")


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        (-2.5, "-2.5"),
        (-3, "-3"),
        (63.0, "63"),
        (15.27, "15.27"),
        (None, ""),
        ("-1.5", "-1.5"),
        ("+49 17", "'+49 17"),
        ("=cmd|' /C calc'!A0", "'=cmd|' /C calc'!A0"),
        ('=HYPERLINK("http://a.example")', '\'=HYPERLINK("http://a.example")'),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("-2+3", "'-2+3"),
        ("\tx", "'\tx"),
        ("＝1+1", "'＝1+1"),
        ("soft; =1+1", "soft;' =1+1"),
        ("soft;=1+1", "soft;'=1+1"),
        ("soft\t=1+1", "soft\t'=1+1"),
        ("soft,=1+1", "soft,'=1+1"),
        ("soft\n=1+1", "soft\n'=1+1"),
        ('soft;"=1+1"', 'soft;\'"=1+1"'),
        ("\u200b=1+1", "'\u200b=1+1"),
        ("\u00a0=1+1", "'\u00a0=1+1"),
        ("\ufeff=1+1", "'\ufeff=1+1"),
        ("﹦1+1", "'﹦1+1"),
        ("first line\n\nsecond - not third", "first line\n\nsecond - not third"),
        ("45/66", "45/66"),
    ],
)
def test_cells(value: cells.Cell, cell: str) -> None:
    assert cells.written(value, comma=False) == cell


@pytest.mark.parametrize(
    "data",
    [
        b"a,b\n1,2\n",
        "\ufeffa;b\r\n1;2\r\n".encode(),
        b"a\tb\n1\t2\n\n \t \n",
        "A , B\n1,2".encode("utf-16"),
        b'"a","b"\n"1","2"',
    ],
)
def test_tables_of_every_common_kind_are_read(data: bytes) -> None:
    table = Table.read(data, needed=("a",))
    assert table.headings == ["a", "b"]
    assert [dict(cells) for _, cells in table.lines] == [{"a": "1", "b": "2"}]
    assert table.lines[0][0] == 2


def test_the_old_encoding_of_spreadsheets_is_read() -> None:
    table = Table.read("a,can °C\nMüller,60\n".encode("cp1252"), needed=("can c",))
    assert table.lines[0][1] == {"a": "Müller", "can c": "60"}


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x03\x04rest", "workbook"),
        (b"\xd0\xcf\x11\xe0rest", "workbook"),
        (b"\xff\xfe\x00", "no text"),
        (b"a\x00b,c\n1,2", "no text"),
        (b"\x81\x8d\x8f", "no text"),
        (b"b,c\n1,2", "“a” is missing"),
        (b"", "“a” is missing"),
        (b"a,a\n1,2", "stands there twice"),
        (b"a,b\n", "no line"),
        (b'a,b\n"1"x,2', "Line 2 cannot be read"),
        (b'a,b\n1,"2', "cannot be read"),
        (b"a," + b"b," * 300 + b"\n1", "columns"),
        (b"a\n" + b"1\n" * (MOST_LINES + 1), "more than 2000 lines"),
        (b"a" * (6 * 1024 * 1024), "too large"),
        (b"a\n" + b"x" * 200_000, "Line 2 cannot be read"),
    ],
)
def test_what_is_no_sheet_is_refused_with_a_sentence(data: bytes, said: str) -> None:
    with pytest.raises(Refused, match=said):
        Table.read(data, needed=("a",))


@given(
    st.lists(CELL, max_size=3),
    st.lists(st.lists(st.text(max_size=5), min_size=1, max_size=3), min_size=1, max_size=3),
    st.lists(CELL, min_size=1, max_size=3),
    st.booleans(),
)
def test_a_block_is_its_lines_one_by_one(
    begin: list[Cell], texts: list[list[str]], end: list[Cell], comma: bool
) -> None:
    block = Block(tuple(begin), tuple(map(tuple, texts)), tuple(end))
    lines: list[Sequence[Cell]] = [[*begin, *each, *end] for each in texts]
    assert sheet(["a"], [block], comma=comma) == sheet(["a"], lines, comma=comma)
