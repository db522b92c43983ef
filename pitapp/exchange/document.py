"""The file of everything: written, looked at, and read back."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from datetime import datetime
from typing import Any, NamedTuple

import pydantic_core
from pydantic import ValidationError

from pitapp import __version__
from pitapp.db import answers, identity, stamp, when
from pitapp.errors import Refused
from pitapp.exchange import readers, store
from pitapp.exchange.layout import FORMAT, VERSION, Head, everything

LARGEST_BYTES = 64 * 1024 * 1024
MOST_FINDINGS = 5
NOT_OURS = (
    "This is no file of everything that pitapp wrote. Choose the one that you saved from here; "
    "runs from a spreadsheet have a place of their own below."
)


class Found(NamedTuple):
    """A file that can be read back: when it was written, its rows by table, the keys of their writes, its origins."""

    written_at: datetime
    tables: dict[str, list[dict[str, Any]]]
    write_keys: tuple[tuple[str, str], ...] = ()
    origins: tuple[str, ...] = ()


def write(connection: sqlite3.Connection, now: datetime) -> Iterator[str]:
    """The file of everything, a row a line. Read it within one transaction.

    The same database gives the same text but for the moment of writing.
    """
    head = {
        "format": FORMAT,
        "version": VERSION,
        "schema_version": store.schema_version(connection),
        "written_at": stamp(now),
        "written_by": f"pitapp {__version__}",
        "origin": identity.own(connection),
        "earlier_origins": identity.origins(connection),
    }
    yield json.dumps(head, ensure_ascii=False)[:-1] + ', "tables": {'
    for index, table in enumerate(store.tables(connection)):
        yield f'{"," if index else ""}\n"{table}": ['
        for number, row in enumerate(store.rows(connection, table)):
            yield ("," if number else "") + "\n" + _line(row)
        yield "]"
    yield '},\n"write_keys": ['
    for number, (key, made_at) in enumerate(answers.keys(connection)):
        yield ("," if number else "") + "\n" + _line({"key": key, "made_at": made_at})
    yield "]}\n"


def _line(row: dict[str, Any]) -> str:
    return json.dumps(row, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def read(data: bytes) -> Found:
    """What is in a file of everything, tried on an empty database.

    Raises:
        Refused: it is no such file, or not one that can be taken; the sentence says why.
    """
    if len(data) > LARGEST_BYTES:
        raise Refused("This file is too large: a file of everything has at most 64 MB.")
    try:
        raw = pydantic_core.from_json(data, allow_inf_nan=False)
        head = Head.model_validate(raw)
    except ValueError:
        raise Refused(NOT_OURS) from None
    with store.empty_database() as empty:
        return _tried(raw, head, empty)


def _tried(raw: Any, head: Head, empty: sqlite3.Connection) -> Found:
    known = store.schema_version(empty)
    if head.version > VERSION or head.schema_version > known:
        raise Refused(
            f"A newer pitapp wrote this file (tables {head.schema_version}; this one knows {known}). "
            "Bring this one up to date, then read it."
        )
    try:
        found = everything(empty).model_validate(raw)
    except ValidationError as error:
        raise Refused(_in_words(error)) from None
    content = found.model_dump(exclude_unset=True)
    keys = tuple((each["key"], each["made_at"]) for each in content.get("write_keys", ()))
    origins = content.get("origin", ""), *content.get("earlier_origins", ())
    result = Found(when(content["written_at"]), content["tables"], keys, origins)
    take(empty, result)
    try:
        readers.read_all(empty)
    except ValueError as error:
        raise Refused(f"This file cannot be taken. {error}") from None
    return result


def take(connection: sqlite3.Connection, found: Found) -> None:
    """Put what was found in the place of all that is here, within the caller's transaction.

    Raises:
        Refused: a row breaks a rule; the caller rolls back.
    """
    try:
        store.replace_all(connection, found.tables)
    except ValueError as error:
        raise Refused(f"This file cannot be taken. {error}") from None
    answers.know_only(connection, found.write_keys)
    identity.set_origins(connection, found.origins)


def _in_words(error: ValidationError) -> str:
    listed = error.errors(include_url=False)
    said = "; ".join(_finding(finding) for finding in listed[:MOST_FINDINGS])
    more = f" and {len(listed) - MOST_FINDINGS} more" if len(listed) > MOST_FINDINGS else ""
    return f"This file cannot be taken: {said}{more}."


def _finding(finding: Any) -> str:
    place = [str(part) for part in finding["loc"] if part != "tables"]
    if len(place) >= 2 and place[1].isdecimal():
        place[1] = f"row {int(place[1]) + 1}"
    return f"{', '.join(place)}: {str(finding['msg']).removeprefix('Value error, ').lower()}"[:200]
