"""Two databases side by side, one of them attached as `brought`: compared, and one added to the other."""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from collections.abc import Iterator
from typing import Any, NamedTuple

from pitapp.copies.adding.identities import (
    BELONGS_TO,
    COUNTED,
    KINDS,
    NUMBERS_IN,
    ONLY_THERE,
    UNDER_ITS_NUMBER,
    WHAT_IS_OWNED,
    WHAT_WAS_DONE,
)
from pitapp.db.references import UNDECLARED
from pitapp.errors import Refused

HERE, THERE = "main", "brought"
NOT_COMPARED = ("id", "version", "removed_at", "sequence")
Identity = tuple[object, ...]


class Difference(NamedTuple):
    """Of one table: how many rows only one side has, and how many are not the same on both."""

    table: str
    singular: str
    plural: str
    only_here: int
    only_there: int
    unlike: int


def differences(connection: sqlite3.Connection) -> list[Difference]:
    """What one side has and the other has not, table by table; those that are the same are left out.

    Rows that were removed on the side that has them are not missed on the other.
    """
    here, there = Side(connection, HERE), Side(connection, THERE)
    listed = []
    for table, kind in COUNTED.items():
        own, brought = here.rows(table), there.rows(table)
        unlike = [
            identity
            for identity in own.keys() & brought.keys()
            if table in WHAT_WAS_DONE
            and here.said(table, own[identity]) != there.said(table, brought[identity])
        ]
        difference = Difference(
            table,
            kind.singular,
            kind.plural,
            _present(own[each] for each in own.keys() - brought.keys()),
            _present(brought[each] for each in brought.keys() - own.keys()),
            len(unlike),
        )
        if any(difference[3:]):
            listed.append(difference)
    return listed


def add(connection: sqlite3.Connection) -> dict[str, int]:
    """Add what only `brought` has, within the caller's transaction; returns how many of each table.

    What was removed here stays removed, unless something that is added belongs to it: then the same
    row is listed again, and counts.

    Raises:
        Refused: a row does not fit to what is here; the caller rolls back.
    """
    connection.execute("PRAGMA main.defer_foreign_keys = ON")
    adding = _Adding(connection)
    try:
        for table in COUNTED:
            for row in adding.there.rows(table).values():
                if row.get("removed_at") is None and adding.counterpart(table, row) is None:
                    adding.place(table, row["id"])
        adding.take_along()
    except sqlite3.IntegrityError as error:
        raise Refused(f"What is missing cannot be added: {error}. Nothing was changed.") from error
    if connection.execute("PRAGMA main.foreign_key_check").fetchone() is not None:
        raise Refused("What is missing does not fit to what is here. Nothing was changed.")
    amounts = {
        table: len(adding.added.get(table, ())) + len(adding.brought_back.get(table, ()))
        for table in COUNTED
    }
    return {table: many for table, many in amounts.items() if many}


def _present(rows: Iterator[dict[str, Any]]) -> int:
    return sum(row.get("removed_at") is None for row in rows)


class Side:
    """One of the two databases; rows are read once."""

    def __init__(self, connection: sqlite3.Connection, schema: str) -> None:
        self._connection, self._schema = connection, schema
        self._by_id: dict[str, dict[int, dict[str, Any]]] = {}
        self._by_identity: dict[str, dict[Identity, dict[str, Any]]] = {}
        self._identities: dict[str, dict[int, Identity]] = {}
        self._references: dict[str, dict[str, str]] = {}

    def by_id(self, table: str) -> dict[int, dict[str, Any]]:
        """Every row of a table by its number."""
        if table not in self._by_id:
            listed = self._connection.execute(f"SELECT * FROM {self._schema}.{table} ORDER BY id")  # noqa: S608
            self._by_id[table] = {row["id"]: dict(row) for row in listed}
        return self._by_id[table]

    def rows(self, table: str) -> dict[Identity, dict[str, Any]]:
        """The rows of a table by their identity."""
        if table not in self._by_identity:
            # What has an identity of its own keeps its turn when one before it is removed. Of what
            # is known by what it belongs to, the row that is listed comes first: it replaced others.
            listed = list(self.by_id(table).values())
            if not self.references(table).keys().isdisjoint(KINDS[table].columns):
                listed.sort(key=lambda row: row.get("removed_at") is not None)
            turns: Counter[Identity] = Counter()
            known: dict[Identity, dict[str, Any]] = {}
            for row in listed:
                same = self._columns(table, row)
                known[*same, turns[same]] = row
                turns[same] += 1
            self._by_identity[table] = known
            self._identities[table] = {row["id"]: identity for identity, row in known.items()}
        return self._by_identity[table]

    def identity(self, table: str, row: dict[str, Any]) -> Identity:
        """By what the row is known in another database; its turn among those of one name comes last."""
        self.rows(table)
        return self._identities[table][row["id"]]

    def _columns(self, table: str, row: dict[str, Any]) -> Identity:
        references, kind = self.references(table), KINDS[table]
        columns = (kind.alone,) if kind.alone and row[kind.alone] is not None else kind.columns
        return tuple(
            self._of(references[column], row[column])
            if column in references
            else _plain(row[column])
            for column in columns
        )

    def _of(self, table: str, number: int | None) -> Identity | None:
        row = self.by_id(table).get(number) if number is not None else None
        return self.identity(table, row) if row else None

    def references(self, table: str) -> dict[str, str]:
        """The columns that name a row of another table, with that table; declared or not."""
        if table not in self._references:
            listed = self._connection.execute(f"PRAGMA {self._schema}.foreign_key_list({table})")
            self._references[table] = {row["from"]: row["table"] for row in listed} | {
                each.column: each.meant for each in UNDECLARED if each.table == table
            }
        return self._references[table]

    def said(self, table: str, row: dict[str, Any]) -> dict[str, object]:
        """What the row says, without numbers that mean something in this database alone."""
        apart = {*NOT_COMPARED, *self.references(table)}
        apart |= {column for of, column in (*NUMBERS_IN, *ONLY_THERE) if of == table}
        return {name: value for name, value in row.items() if name not in apart}


class _Adding:
    """Rows on their way from `brought`: where each is here, and which were added or brought back."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self.here, self.there = Side(connection, HERE), Side(connection, THERE)
        self.added: dict[str, dict[int, int]] = {}
        self.brought_back: dict[str, set[int]] = {}
        self._places: dict[tuple[str, int], int] = {}

    def place(self, table: str, number: int | None) -> int | None:
        """The number here of a row of `brought`, which is added if it is not here."""
        row = self.there.by_id(table).get(number) if number is not None else None
        if number is None or row is None:
            return None
        if (table, number) not in self._places:
            here = self.counterpart(table, row)
            if here is None:
                self._places[table, number] = self._insert(table, row)
                self.added.setdefault(table, {})[number] = self._places[table, number]
            else:
                self._places[table, number] = here["id"]
                if _is_gone(here, row, table):
                    self._bring_back(table, here["id"], row)
        return self._places[table, number]

    def counterpart(self, table: str, row: dict[str, Any]) -> dict[str, Any] | None:
        """The row here, removed or not, that a row of `brought` is."""
        identity = self.there.identity(table, row)
        here = self.here.rows(table).get(identity)
        if here is None and table not in WHAT_WAS_DONE:
            here = self._renamed(table, row["id"])
            if here is not None and self.here.identity(table, here)[:-1] == identity[:-1]:
                return None  # Of the same name, and already the counterpart of another.
        return here

    def take_along(self) -> None:
        """Add what belongs to the rows that were added."""
        for table, owners in BELONGS_TO.items():
            for row in list(self.there.by_id(table).values()):
                owned = any(
                    row[owner] in self.added.get(self.there.references(table)[owner], ())
                    for owner in owners
                )
                if owned and (table, row["id"]) not in self._places:
                    self._places[table, row["id"]] = self._insert(table, row)
        for table, owner in UNDER_ITS_NUMBER.items():
            listed = self._connection.execute(f"PRAGMA brought.table_info({table})")
            others = ", ".join(row["name"] for row in listed if row["name"] != "id")
            for there, here in self.added.get(owner, {}).items():
                self._connection.execute(
                    f"INSERT INTO main.{table} (id, {others}) "  # noqa: S608
                    f"SELECT ?, {others} FROM brought.{table} WHERE id = ?",
                    (here, there),
                )

    def _renamed(self, table: str, number: int) -> dict[str, Any] | None:
        """The row here to which the runs that both sides have refer, where theirs refer to this one."""
        column = next(
            (name for name, other in self.there.references("runs").items() if other == table), None
        )
        if column is None:
            return None
        own = self.here.rows("runs")
        numbers = {
            own[identity][column]
            for identity, run in self.there.rows("runs").items()
            if run[column] == number and identity in own
        }
        return self.here.by_id(table).get(numbers.pop() or 0) if len(numbers) == 1 else None

    def _bring_back(self, table: str, number: int, row: dict[str, Any]) -> None:
        """List again what was removed here, and what it belongs to."""
        fresh: dict[str, object] = {"removed_at": None}
        fresh |= {column: value for (of, column), value in ONLY_THERE.items() if of == table}
        values = ", ".join(f"{name} = ?" for name in fresh)
        self._connection.execute(
            f"UPDATE main.{table} SET {values} WHERE id = ?",  # noqa: S608
            [*fresh.values(), number],
        )
        self.brought_back.setdefault(table, set()).add(number)
        for column, other in self.there.references(table).items():
            self.place(other, row[column])

    def _insert(self, table: str, row: dict[str, Any]) -> int:
        fresh = {name: value for name, value in row.items() if name != "id"}
        for column, other in self.there.references(table).items():
            fresh[column] = self.place(other, row[column])
        for (of, column), keys in NUMBERS_IN.items():
            if of == table and row[column]:
                fresh[column] = self._with_numbers(row[column], keys)
        fresh |= {column: value for (of, column), value in ONLY_THERE.items() if of == table}
        cursor = self._connection.execute(
            f"INSERT INTO main.{table} ({', '.join(fresh)}) VALUES ({', '.join('?' * len(fresh))})",  # noqa: S608
            list(fresh.values()),
        )
        return int(cursor.lastrowid or 0)

    def _with_numbers(self, text: str, keys: dict[str, str]) -> str:
        content = json.loads(text)
        for key, table in keys.items():
            part = content.get(key)
            if isinstance(part, dict) and "id" in part:
                part["id"] = self.place(table, part["id"]) or 0
        return json.dumps(content, ensure_ascii=False, separators=(",", ":"))


def _is_gone(here: dict[str, Any], there: dict[str, Any], table: str) -> bool:
    """Whether something owned was removed here and is still there. What was done stays removed."""
    removed = here.get("removed_at") is not None and there.get("removed_at") is None
    return removed and table in WHAT_IS_OWNED


def _plain(value: object) -> object:
    return value.casefold() if isinstance(value, str) else value
