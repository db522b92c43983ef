"""An undo that would leave a row without what it belongs to is refused, with the reason, and changes nothing."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from pitapp.db import references, undo
from pitapp.db.connect import connect
from pitapp.db.migrate import migrate, migrations
from pitapp.errors import Refused
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.faulty import disk_full
from tests.runs_support import form_values
from tests.support import RACE_MORNING, Clock, PageClient

CAR = Car(name="Heron", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
BY_NAME = {
    ("forecast_inputs", "car_id", "cars"),
    ("forecast_inputs", "motor_id", "motors"),
    ("forecast_inputs", "track_id", "tracks"),
    ("track_feels", "track_id", "tracks"),
}
"""References that the schema does not declare."""


def declared() -> list[tuple[str, str, str]]:
    """Every reference that the migrations write down: table, column, and the table meant."""
    found = set()
    for _, file in migrations():
        table = ""
        for line in file.read_text(encoding="utf-8").splitlines():
            if made := re.match(r"CREATE TABLE (\w+)", line):
                table = made[1]
            if added := re.match(r"ALTER TABLE (\w+) ADD COLUMN (\w+) .*REFERENCES (\w+)", line):
                found.add((added[1], added[2], added[3]))
            elif named := re.match(r"\s*(\w+) .*REFERENCES (\w+)", line):
                found.add((table, named[1], named[2]))
    return sorted(found)


ALL = sorted({*declared(), *BY_NAME})


def row(db: sqlite3.Connection, table: str, **known: Any) -> dict[str, Any]:
    """The values of a row of a table that the schema takes, whatever they mean."""
    sql = db.execute("SELECT sql FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0]
    values: dict[str, Any] = {}
    for column in db.execute(f"PRAGMA table_info({table})"):
        name, kind = column["name"], column["type"]
        choice = re.search(rf"\b{name}\b[^,]*CHECK \({name} IN \((.*?)[,)]", sql)
        if name in known:
            values[name] = known[name]
        elif column["notnull"] and column["dflt_value"] is None and not column["pk"]:
            plain: Any = {"INTEGER": 1, "REAL": 1.0, "TEXT": "x"}[kind]
            values[name] = choice[1].strip("'") if choice and kind == "TEXT" else plain
    return values


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("references") / "empty.sqlite3"
    migrate(path)
    return path


@pytest.fixture
def bare(made: Path, tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """A database with no app around it."""
    shutil.copyfile(made, tmp_path / "bare.sqlite3")
    with closing(connect(tmp_path / "bare.sqlite3")) as connection:
        yield connection


def dump(db: sqlite3.Connection) -> list[str]:
    return list(db.iterdump())


@pytest.mark.parametrize(("table", "column", "parent"), ALL)
def test_what_is_referred_to_is_not_undone(
    bare: sqlite3.Connection, table: str, column: str, parent: str
) -> None:
    db = bare
    db.execute("PRAGMA foreign_keys = OFF")
    with undo.step(db, "Added that", RACE_MORNING) as added:
        parent_id = added.insert(parent, row(db, parent))
    with undo.step(db, "Added this", RACE_MORNING) as later:
        later.insert(table, row(db, table, **{column: parent_id}))
    db.execute("PRAGMA foreign_keys = ON")
    before = dump(db)
    with pytest.raises(Refused, match=r"“Added that” cannot be undone: an? .+ by now\.") as refused:
        undo.undo(db, added.token, RACE_MORNING)
    assert "_" not in str(refused.value)
    assert dump(db) == before
    undo.undo(db, later.token, RACE_MORNING)
    assert undo.undo(db, added.token, RACE_MORNING) == "Added that"


@pytest.mark.parametrize(("table", "column", "parent"), ALL)
def test_what_refers_to_nothing_any_more_is_not_put_back(
    bare: sqlite3.Connection, table: str, column: str, parent: str
) -> None:
    db = bare
    db.execute("PRAGMA foreign_keys = OFF")
    with undo.step(db, "Added that", RACE_MORNING) as added:
        parent_id = added.insert(parent, row(db, parent))
    child = row(db, table, **{column: parent_id})
    with undo.step(db, "Added this", RACE_MORNING) as later:
        child_id = later.insert(table, child)
    with undo.step(db, "Deleted this", RACE_MORNING) as deleted:
        deleted.delete(table, child_id)
    others = [name for name in child if name.endswith("_id") and name != column]
    for name in others:
        other = next((meant for each, own, meant in ALL if (each, own) == (table, name)), None)
        if other:
            db.execute(
                f"INSERT INTO {other} ({', '.join(row(db, other))}) "
                f"VALUES ({', '.join('?' * len(row(db, other)))}) ON CONFLICT DO NOTHING",
                list(row(db, other).values()),
            )
    db.execute("PRAGMA foreign_keys = ON")
    undo.undo(db, added.token, RACE_MORNING)
    before = dump(db)
    with pytest.raises(Refused, match=r"“Deleted this” cannot be undone: .+ is gone\.") as refused:
        undo.undo(db, deleted.token, RACE_MORNING)
    assert "_" not in str(refused.value)
    assert dump(db) == before


def test_every_column_that_names_a_row_is_known_as_a_reference(bare: sqlite3.Connection) -> None:
    columns = {
        (table[0], column["name"])
        for table in bare.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        for column in bare.execute(f"PRAGMA table_info({table[0]})").fetchall()
        if column["name"].endswith("_id")
    }
    assert columns == {(table, column) for table, column, _ in ALL}
    known = {(each.table, each.column, each.meant) for each in references.of(bare)}
    assert known == set(ALL)


def test_what_was_made_anew_since_is_not_doubled(db: sqlite3.Connection) -> None:
    kit.add_gears(db, "pinion", "dp:64", [20, 21], RACE_MORNING)
    _, removed = kit.remove_gear(db, 1, RACE_MORNING)
    kit.add_gears(db, "pinion", "dp:64", [20], RACE_MORNING)
    before = dump(db)
    with pytest.raises(Refused, match="the same is there again"):
        undo.undo(db, removed, RACE_MORNING)
    assert dump(db) == before


def test_a_car_that_has_a_run_by_now_is_not_undone(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    client.post_form(
        "/kit/cars/new",
        {"name": "Heron", "internal_ratio": "1.9", "pitch": "dp:64", "tyre_diameter_mm": "63"},
    )
    added = re.findall(r'action="(/undo/[^"]+)"', client.get("/kit").text)
    assert len(added) == 1
    other = client.application.test_client()
    logged = other.post_form("/runs/new", form_values(other.get("/runs/new").text))  # type: ignore[attr-defined]
    assert logged.status_code == 303
    (run,) = re.findall(r'action="(/undo/[^"]+)"', other.get("/runs").text)
    before = dump(db)
    refused = client.post_form(
        added[0], headers={"Idempotency-Key": "0b2b5d0e-3c60-4f0c-9a2e-6c1f2f6f1a11"}
    )
    assert refused.status_code == 409
    assert "“Added Heron” cannot be undone: a run belongs to it by now." in refused.text
    assert "Undone" not in refused.text + client.get("/kit").text
    assert dump(db) == before
    assert client.post_form(run).status_code == 303
    assert client.post_form(added[0]).status_code == 303
    assert kit.cars(db) == []


def test_no_error_of_the_disk_is_taken_for_a_reason(
    db: sqlite3.Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, added = kit.save_car(db, CAR, RACE_MORNING)

    def full(*_: Any) -> None:
        raise disk_full()

    monkeypatch.setattr(references, "broken", full)
    with pytest.raises(sqlite3.OperationalError):
        undo.undo(db, added, RACE_MORNING)
    assert len(kit.cars(db)) == 1
