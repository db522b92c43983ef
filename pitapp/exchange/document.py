"""The file of everything: written, looked at, and read back."""

from __future__ import annotations

import io
import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, BinaryIO, NamedTuple

from pydantic import ValidationError

from pitapp import __version__
from pitapp.db import from_db, idempotency, identity, to_db
from pitapp.errors import Refused
from pitapp.exchange import readers, store
from pitapp.exchange.layout import FORMAT, VERSION, Head, everything
from pitapp.exchange.pieces import Misshapen, pieces
from pitapp.exchange.rows import MOST_FINDINGS, RowReader, plain
from pitapp.record import finding_sentence

LARGEST_BYTES = 64 * 1024 * 1024
NEEDED = set(Head.model_fields)
NOT_OURS = (
    "This is no file of everything that pitapp wrote. Choose the one that you saved from here; "
    "runs from a spreadsheet have a place of their own below."
)


class FileContents(NamedTuple):
    """A file that can be read back: when it was written, its rows by table, the keys of their writes, its origins."""

    written_at: datetime
    tables: Mapping[str, Collection[Mapping[str, Any]]]
    write_keys: Iterable[tuple[str, str]] = ()
    origins: tuple[str, ...] = ()
    scratch: sqlite3.Connection | None = None
    """Where the rows are, until it is closed."""

    def close(self) -> None:
        """Let go of the rows."""
        if self.scratch is not None:
            self.scratch.close()


class Rows(Collection[dict[str, Any]]):
    """The rows of a table, read one by one where they are."""

    def __init__(self, connection: sqlite3.Connection, table: str) -> None:
        self._connection, self._table = connection, table

    def __len__(self) -> int:
        return store.count(self._connection, self._table)

    def __iter__(self) -> Iterator[dict[str, Any]]:
        return store.rows(self._connection, self._table)

    def __contains__(self, row: object) -> bool:
        return any(each == row for each in self)


def write(
    connection: sqlite3.Connection, now: datetime, *, pictures: bool = False
) -> Iterator[str]:
    """The file of everything, a row a line. Read it within one transaction.

    Photographs are named in it; their pictures are in it only if asked for. The same database gives
    the same text but for the moment of writing.
    """
    head = {
        "format": FORMAT,
        "version": VERSION,
        "schema_version": store.schema_version(connection),
        "written_at": to_db(now),
        "written_by": f"pitapp {__version__}",
        "origin": identity.own(connection),
        "earlier_origins": identity.origins(connection),
    }
    yield json.dumps(head, ensure_ascii=False)[:-1] + ', "tables": {'
    for index, table in enumerate(store.tables(connection)):
        yield f'{"," if index else ""}\n"{table}": ['
        left_out = table == store.PICTURES and not pictures
        for number, row in enumerate(() if left_out else store.rows(connection, table)):
            yield ("," if number else "") + "\n" + _line(row)
        yield "]"
    yield '},\n"write_keys": ['
    for number, (key, made_at) in enumerate(idempotency.keys(connection)):
        yield ("," if number else "") + "\n" + _line({"key": key, "made_at": made_at})
    yield "]}\n"


def _line(row: dict[str, Any]) -> str:
    return json.dumps(row, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def read(source: bytes | BinaryIO) -> FileContents:
    """What is in a file of everything, tried on an empty database. Close what is found.

    The file is read piece by piece and its rows go to a database on disk, so that a large or hostile
    one takes little memory.

    Raises:
        Refused: it is no such file, or not one that can be taken; the sentence says why.
    """
    file = io.BytesIO(source) if isinstance(source, bytes) else source
    if file.seek(0, io.SEEK_END) > LARGEST_BYTES:
        raise Refused("This file is too large: a file of everything has at most 64 MB.")
    scratch = store.empty_database()
    try:
        _check_version(_head(file), store.schema_version(scratch))
        return _tried(file, scratch)
    except BaseException:
        scratch.close()
        raise


def _head(file: BinaryIO) -> Head:
    """How the file begins; where it begins with its rows, it is read to the end for that."""
    head: dict[str, Any] = {}
    try:
        for piece in pieces(file):
            if piece.row is None:
                head[piece.place[0]] = plain(piece.text)
            elif not NEEDED - head.keys():
                break
    except Misshapen:
        pass
    except ValueError:
        raise Refused(NOT_OURS) from None
    try:
        return Head.model_validate(head)
    except ValidationError:
        raise Refused(NOT_OURS) from None


def _check_version(head: Head, known: int) -> None:
    if head.version > VERSION or head.schema_version > known:
        raise Refused(
            f"A newer pitapp wrote this file (tables {head.schema_version}; this one knows {known}). "
            "Bring this one up to date, then read it."
        )


def _tried(file: BinaryIO, scratch: sqlite3.Connection) -> FileContents:
    reading, findings = RowReader(scratch), []
    try:
        store.replace_all(scratch, reading.tables(file))
        if not reading.findings:
            content = everything(scratch).model_validate(reading.head).model_dump()
            readers.read_all(scratch)
    except Misshapen as misshapen:
        raise Refused(
            f"This file cannot be taken: {misshapen} is not as pitapp writes it."
        ) from None
    except ValidationError as error:
        findings = error.errors(include_url=False)
    except ValueError as error:
        if not reading.findings:
            raise Refused(f"This file cannot be taken. {error}") from None
    if findings := reading.findings or findings:
        raise Refused(f"This file cannot be taken: {_in_words(findings)}")
    tables = {table: Rows(scratch, table) for table in store.tables(scratch)}
    keys = ((row["key"], row["made_at"]) for row in store.rows(scratch, "answered_writes"))
    origins = content["origin"], *content["earlier_origins"]
    return FileContents(from_db(content["written_at"]), tables, keys, origins, scratch)


def take(connection: sqlite3.Connection, contents: FileContents) -> None:
    """Replace all data with the file's, within the caller's transaction.

    Raises:
        Refused: a row breaks a rule; the caller rolls back.
    """
    try:
        store.replace_all(connection, contents.tables.items())
    except ValueError as error:
        raise Refused(f"This file cannot be taken. {error}") from None
    idempotency.replace_keys(connection, contents.write_keys)
    identity.set_origins(connection, contents.origins)


def _in_words(listed: Sequence[Any]) -> str:
    said = "; ".join(_finding(finding) for finding in listed[:MOST_FINDINGS])
    more = " and more" if len(listed) > MOST_FINDINGS else ""
    return f"{said}{more}."


def _finding(finding: Any) -> str:
    place = [str(part) for part in finding["loc"] if part != "tables"]
    if len(place) >= 2 and place[1].isdecimal():
        place[1] = f"row {int(place[1]) + 1}"
    return f"{', '.join(place)}: {finding_sentence(finding).lower()}"[:200]
