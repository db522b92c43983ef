"""The file of everything: no table forgotten, read back equal, and refused when it is not sound."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.demo import fill
from pitapp.errors import Refused
from pitapp.exchange import document, readers, store
from pitapp.exchange.layout import VERSION, everything, json_schema
from tests.support import Clock

NOW = datetime(2026, 9, 12, 11, 3, tzinfo=UTC)
SECRET = ("secret", "password", "token", "code", "salt", "hash", "cookie")
NO_SECRETS = {"run_setups.digest", "check_answers.key"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    app = create_app(tmp_path_factory.mktemp("demo"), clock=Clock(NOW), invented=True)
    fill(app)
    yield app
    app.extensions["pitapp.db"].close()


@pytest.fixture
def full(demo: Flask) -> sqlite3.Connection:
    found: sqlite3.Connection = demo.extensions["pitapp.db"].connection()
    return found


@pytest.fixture
def saved(full: sqlite3.Connection) -> dict[str, Any]:
    found: dict[str, Any] = json.loads("".join(document.write(full, NOW, pictures=True)))
    return found


def dump(connection: sqlite3.Connection) -> dict[str, list[tuple[Any, ...]]]:
    """Every table that SQLite itself lists, row by row; not by the way of the code under test."""
    names = [
        row[0]
        for row in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        )
    ]
    kept = [name for name in names if name not in store.LEFT_OUT]
    return {
        name: [tuple(row) for row in connection.execute(f"SELECT * FROM {name} ORDER BY 1, 2")]
        for name in kept
    }


def test_every_table_of_the_database_is_taken_or_left_out_by_name(
    full: sqlite3.Connection, saved: dict[str, Any]
) -> None:
    present = {
        row[0]
        for row in full.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        if not row[0].startswith("sqlite_")
    }
    assert set(saved["tables"]) | set(store.LEFT_OUT) == present
    assert set(saved["tables"]).isdisjoint(store.LEFT_OUT)


def test_every_table_has_a_reader_or_a_reason_to_need_none(full: sqlite3.Connection) -> None:
    assert set(store.tables(full)) == set(readers.MODELS) | set(readers.PLAIN)


def test_nothing_secret_is_taken_along(full: sqlite3.Connection) -> None:
    for table in store.tables(full):
        for column in store.columns(full, table):
            name = f"{table}.{column.name}"
            assert name in NO_SECRETS or not any(word in column.name for word in SECRET), name


def test_read_back_it_gives_an_equal_database(
    full: sqlite3.Connection, saved: dict[str, Any], tmp_path: Path
) -> None:
    other = create_app(tmp_path / "other", clock=Clock(NOW))
    connection = other.extensions["pitapp.db"].connection()
    found = document.read(json.dumps(saved).encode())
    connection.execute("BEGIN IMMEDIATE")
    document.take(connection, found)
    connection.execute("COMMIT")
    assert dump(connection) == dump(full)
    assert sum(map(len, dump(connection).values())) > 300
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    other.extensions["pitapp.db"].close()


def test_every_row_of_the_demo_can_be_read_by_its_room(full: sqlite3.Connection) -> None:
    readers.read_all(full)
    assert store.count(full, "runs") > 50


def test_it_names_its_version_and_keeps_to_its_schema(
    full: sqlite3.Connection, saved: dict[str, Any]
) -> None:
    assert saved["version"] == VERSION
    assert saved["schema_version"] == full.execute("PRAGMA user_version").fetchone()[0]
    assert everything(full).model_validate(saved)
    schema = json_schema(full)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    row = schema["$defs"]["row_of_gears"]
    assert row["properties"]["teeth"]["type"] == "integer"
    assert row["required"] == ["id", "kind", "teeth", "pitch"]
    assert row["additionalProperties"] is False


def test_an_older_file_lacks_what_came_later(saved: dict[str, Any]) -> None:
    old = json.loads(json.dumps(saved))
    old["schema_version"] = 1
    old["tables"] = {"motors": [{"id": 1, "name": "Old", "kv_rpm_per_v": 2000.0}]}
    (motor,) = document.read(json.dumps(old).encode()).tables["motors"]
    assert motor["name"] == "Old"


def car(saved: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = saved["tables"]["cars"][0]
    return found


def run(saved: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = saved["tables"]["runs"][0]
    return found


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda s: s.update(format="other"), "no file of everything"),
        (lambda s: s.update(version=2), "newer pitapp"),
        (lambda s: s.update(schema_version=9999), "newer pitapp"),
        (lambda s: s.update(extra=1), "extra"),
        (lambda s: s["tables"].update(sqlite_master=[]), "sqlite_master"),
        (lambda s: s["tables"].update(undo_steps=[]), "undo_steps"),
        (lambda s: s["tables"].update(cars={}), "cars"),
        (lambda s: car(s).pop("name"), "name"),
        (lambda s: car(s).update({"name) VALUES ('x'); --": 1}), "row 1"),
        (lambda s: car(s).update(name=5), "name"),
        (lambda s: car(s).update(id=2**70), "id"),
        (lambda s: car(s).update(id=True), "id"),
        (lambda s: car(s).update(internal_ratio="1.9"), "internal_ratio"),
        (lambda s: car(s).update(internal_ratio=-1), "internal_ratio"),
        (lambda s: car(s).update(pitch="dp:0"), "pitch"),
        (lambda s: car(s).update(name="x" * 2_000_000), "name"),
        (lambda s: car(s).update(name=""), "name"),
        (lambda s: car(s).update(motor_id=999), "motors"),
        (lambda s: s["tables"]["cars"].append(car(s)), "cars"),
        (lambda s: run(s).update(started_at="yesterday"), "started_at"),
        (lambda s: run(s).update(snapshot="{"), "cannot be taken"),
        (lambda s: run(s).update(snapshot="[" * 3000), "cannot be taken"),
        (lambda s: run(s).update(snapshot='{"car": {"id": "x"}}'), "snapshot"),
        (lambda s: run(s).update(can_c=9000.0), "can_c"),
        (lambda s: run(s).update(uuid="no key"), "uuid"),
        (lambda s: s["tables"]["meetings"][0].update(time_zone="Moon/Base"), "time_zone"),
        (lambda s: s["tables"]["meetings"][0].update(day="2026-13-01"), "day"),
        (lambda s: s["tables"]["gears"][0].update(kind="wheel"), "gears"),
        (lambda s: s["tables"]["tracks"][0].update(lap_length_m=1e300), "lap_length_m"),
        (lambda s: s["tables"]["gear_fits"][0].update(internal_ratio=0.0), "gear_fits, row 1"),
        (
            lambda s: s["tables"].update(
                track_feels=[
                    {"id": 1, "track_id": 1, "longest_straight_m": 1e9, "corners": "tight"}
                ]
            ),
            "longest straight",
        ),
        (lambda s: s["tables"]["run_setups"][0].update(body='{"x": 1}'), "run_setups"),
    ],
)
def test_a_spoilt_file_is_refused_with_a_sentence(
    saved: dict[str, Any], spoil: Callable[[dict[str, Any]], object], said: str
) -> None:
    spoil(saved)
    with pytest.raises(Refused, match=said) as refused:
        document.read(json.dumps(saved).encode())
    assert len(str(refused.value)) < 2000


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b"\xff\xfe\x00\x01",
        b"[" * 100_000,
        b'{"format": "pitapp everything", "version": 1, "schema_version": 1e999}',
        b'{"format": "pitapp everything", "version": NaN, "schema_version": 1}',
        b'{"format": "\\ud800"}',
        b"started,car\n2026-05-03 10:32,Invented TC",
    ],
)
def test_what_is_no_such_file_is_refused(data: bytes) -> None:
    with pytest.raises(Refused, match=r"pitapp wrote|cannot be taken"):
        document.read(data)


def test_a_text_that_no_encoding_holds_is_refused(saved: dict[str, Any]) -> None:
    car(saved)["name"] = "\ud800"
    with pytest.raises(Refused):
        document.read(json.dumps(saved).encode())


def test_a_huge_file_is_refused_unread() -> None:
    with pytest.raises(Refused, match="64 MB"):
        document.read(b" " * (document.LARGEST_BYTES + 1))


def test_what_cannot_be_taken_leaves_all_as_it_was(
    full: sqlite3.Connection, saved: dict[str, Any]
) -> None:
    before = dump(full)
    found = document.FileContents(NOW, {"cars": [{"id": 1}]})
    full.execute("BEGIN IMMEDIATE")
    with pytest.raises(Refused):
        document.take(full, found)
    full.execute("ROLLBACK")
    assert dump(full) == before
