"""Records in their tables: what a store gets back is what it gave, and each change can be undone."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from pitapp.db import records, undo
from pitapp.db.connect import connect
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.record import Record

NOW = datetime(2026, 5, 3, 10, 0, tzinfo=UTC)
MISSING = "There is no such thing."


class Thing(Record):
    id: int = 0
    owner_id: int
    name: str
    day: date
    seen_at: datetime | None = None
    whole: bool = True
    version: int = 1


class Listing(Thing):
    values: tuple[str, ...] = ()


@pytest.fixture
def connection(tmp_path: Path) -> Iterator[sqlite3.Connection]:

    opened = connect(tmp_path / "things.db")
    opened.execute(
        "CREATE TABLE things (id INTEGER PRIMARY KEY, owner_id INTEGER NOT NULL, name TEXT NOT NULL, "
        "day TEXT NOT NULL, seen_at TEXT, whole INTEGER NOT NULL, removed_at TEXT, "
        "version INTEGER NOT NULL DEFAULT 1) STRICT"
    )
    opened.execute(
        "CREATE TABLE undo_steps (id INTEGER PRIMARY KEY, token TEXT, label TEXT, made_at TEXT, "
        "images TEXT, undone_at TEXT)"
    )
    yield opened
    opened.close()


def thing(name: str, owner_id: int = 1, **more: object) -> Thing:
    return Thing.model_validate(
        {"owner_id": owner_id, "name": name, "day": date(2026, 5, 3), **more}
    )


def read(connection: sqlite3.Connection, thing_id: int, *, listed: bool = False) -> Thing:
    return records.by_id(connection, Thing, "things", thing_id, missing=MISSING, listed=listed)


def test_what_is_added_comes_back_as_it_was(connection: sqlite3.Connection) -> None:
    given = thing("Größe 5", seen_at=NOW, whole=False)
    new_id, token = records.save(connection, "things", given, given.name, NOW)
    assert read(connection, new_id) == given.model_copy(update={"id": new_id})
    assert undo.undo(connection, token, NOW) == "Added Größe 5"
    with pytest.raises(NotThere, match="no such thing"):
        read(connection, new_id)


def test_a_change_counts_the_version_up_and_refuses_an_older_one(
    connection: sqlite3.Connection,
) -> None:
    new_id, _ = records.add(connection, "things", thing("a"), "Added it", NOW)
    stored = read(connection, new_id)
    changed = stored.model_copy(update={"name": "b", "day": date(2026, 5, 4)})
    assert records.save(connection, "things", changed, "b", NOW)[0] == new_id
    assert read(connection, new_id) == changed.model_copy(update={"version": stored.version + 1})
    with pytest.raises(ChangedMeanwhile):
        records.save(connection, "things", changed, "b", NOW)


def test_what_is_removed_is_listed_no_more_and_can_be_put_back(
    connection: sqlite3.Connection,
) -> None:
    ids = [
        records.add(connection, "things", thing(name, owner), "Added it", NOW)[0]
        for name, owner in (("c", 1), ("a", 1), ("b", 2))
    ]
    token = records.remove(connection, "things", ids[1], "Removed a", NOW + timedelta(hours=1))
    everything = records.listed(connection, Thing, "things", "name")
    assert [each.name for each in everything] == ["b", "c"]
    assert read(connection, ids[1]).name == "a"
    with pytest.raises(NotThere):
        read(connection, ids[1], listed=True)
    undo.undo(connection, token, NOW + timedelta(hours=2))
    own = records.listed(connection, Thing, "things", "name DESC", owner_id=1)
    assert [each.name for each in own] == ["c", "a"]


def test_lists_and_moments_are_text_in_the_table() -> None:
    item = Listing(
        owner_id=3, name="x", day=date(2026, 5, 3), seen_at=NOW, values=("0°", "soft"), version=7
    )
    assert records.columns(item, "whole") == {
        "owner_id": 3,
        "name": "x",
        "day": "2026-05-03",
        "seen_at": "2026-05-03T10:00:00Z",
        "values": '["0°", "soft"]',
    }


def test_a_change_by_others_stops_a_form_opened_before(connection: sqlite3.Connection) -> None:
    new_id, _ = records.add(connection, "things", thing("a"), "Added it", NOW)
    opened = read(connection, new_id)
    with undo.step(connection, "Changed the owner", NOW) as step:
        step.change("things", new_id, {"owner_id": 2}, new_version=True)
    with pytest.raises(ChangedMeanwhile):
        records.save(connection, "things", opened, "a", NOW)
    undo.undo(connection, step.token, NOW)
    assert read(connection, new_id) == opened
