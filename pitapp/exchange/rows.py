"""The rows of a file of everything, checked one by one as they are read."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from itertools import groupby
from typing import Any, BinaryIO

import pydantic_core
from pydantic import ValidationError

from pitapp.db import idempotency
from pitapp.exchange import store
from pitapp.exchange.layout import WriteKey, row_of
from pitapp.exchange.pieces import TABLES, Piece, pieces

MOST_FINDINGS = 5


class RowReader:
    """Reads rows as the tables of a database have them.

    Afterwards `head` has the values beside the rows, and `findings`, in pydantic's form, what is
    wrong with rows that are not so; those are left out, and after a few nothing more is read.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.head: dict[str, Any] = {}
        self.findings: list[Any] = []
        self._connection = connection
        self._known = set(store.tables(connection))

    def tables(self, file: BinaryIO) -> Iterator[tuple[str, Iterator[dict[str, Any]]]]:
        """Each table of the file with its rows, to be read in their order.

        The keys of writes go into the database by themselves.

        Raises:
            Misshapen: it is no such file.
        """
        for place, those in groupby(self._rows(file), lambda piece: piece.place):
            if place[0] != TABLES:
                rows = self._checked(those, WriteKey)
                keys = ((row["key"], row["made_at"]) for row in rows)
                idempotency.replace_keys(self._connection, keys)
            elif place[1] in self._known:
                yield place[1], self._checked(those, row_of(self._connection, place[1]))
            else:
                self.findings.append({"loc": place, "msg": "There is no such table"})

    def _rows(self, file: BinaryIO) -> Iterator[Piece]:
        for piece in pieces(file):
            if piece.row is not None:
                yield piece
            else:
                self.head[piece.place[0]] = plain(piece.text)
            if len(self.findings) > MOST_FINDINGS:
                return

    def _checked(self, those: Iterator[Piece], model: Any) -> Iterator[dict[str, Any]]:
        for place, text, number in those:
            if number is None or number < 0:
                continue
            try:
                row = model.model_validate(plain(text)).model_dump(exclude_unset=True)
            except ValidationError as error:
                for finding in error.errors(include_url=False):
                    self.findings.append({**finding, "loc": (*place, number, *finding["loc"])})
            except ValueError as error:
                self.findings.append({"loc": (*place, number), "msg": str(error)})
            else:
                yield row


def plain(text: bytes) -> Any:
    """A piece of JSON as Python has it.

    Raises:
        ValueError: it is none.
    """
    return pydantic_core.from_json(text, allow_inf_nan=False)
