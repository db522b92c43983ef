"""Migrations: in order, all or nothing, a copy first, a newer database refused."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from pitapp.dates import to_db
from pitapp.db.connect import connect, transaction
from pitapp.db.migrate import migrate, migrations, statements, version_of
from pitapp.errors import DataError, NewerDatabase
from tests.support import RACE_MORNING


def folder_of(tmp_path: Path, **scripts: str) -> Path:
    folder = tmp_path / "migrations"
    folder.mkdir(exist_ok=True)
    for name, script in scripts.items():
        (folder / f"{name.removeprefix('m')}.sql").write_text(script, encoding="utf-8")
    return folder


def test_the_apps_own_migrations_apply_to_an_empty_database(tmp_path: Path) -> None:
    path = tmp_path / "new.sqlite3"
    assert migrate(path) == [number for number, _ in migrations()]
    assert migrate(path) == []
    with closing(connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        assert connection.execute("PRAGMA synchronous").fetchone()[0] == 2
        assert connection.execute("PRAGMA foreign_keys").fetchone()[0] == 1


def test_a_copy_can_be_made_before_the_first_change(tmp_path: Path) -> None:
    path = tmp_path / "season.sqlite3"
    folder = folder_of(tmp_path, m0001_a="CREATE TABLE a (id INTEGER PRIMARY KEY);")
    seen: list[tuple[int, list[int]]] = []

    def look(connection: sqlite3.Connection) -> None:
        rows = [row[0] for row in connection.execute("SELECT id FROM a")]
        seen.append((version_of(connection), rows))

    migrate(path, folder, before=look)
    assert seen == [], "there is nothing to copy yet"
    with closing(connect(path)) as connection:
        connection.execute("INSERT INTO a VALUES (7)")
    folder_of(tmp_path, m0002_b="DROP TABLE a;", m0003_c="CREATE TABLE c (id INTEGER);")
    assert migrate(path, folder, before=look) == [2, 3]
    assert migrate(path, folder, before=look) == []
    assert seen == [(1, [7])]


@pytest.mark.parametrize(
    "script",
    [
        "CREATE TABLE b (id INTEGER); INSERT INTO nowhere VALUES (1);",
        "CREATE TABLE b (a_id INTEGER REFERENCES a (id)); INSERT INTO b VALUES (99);",
    ],
)
def test_a_migration_that_fails_changes_nothing(tmp_path: Path, script: str) -> None:
    path = tmp_path / "season.sqlite3"
    folder = folder_of(tmp_path, m0001_a="CREATE TABLE a (id INTEGER PRIMARY KEY);", m0002_b=script)
    with pytest.raises((sqlite3.OperationalError, DataError)):
        migrate(path, folder)
    with closing(connect(path)) as connection:
        assert version_of(connection) == 1
        names = connection.execute("SELECT name FROM sqlite_master").fetchall()
        assert [name for (name,) in names] == ["a"]


def test_a_newer_database_is_refused_by_name_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "pitapp.sqlite3"
    migrate(path)
    with closing(connect(path)) as connection:
        connection.execute("PRAGMA user_version = 9999")
    with pytest.raises(NewerDatabase, match=r"pitapp\.sqlite3 was written by a newer pitapp"):
        migrate(path)
    with closing(connect(path)) as connection:
        assert version_of(connection) == 9999


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "pitapp.sqlite3"
    path.write_text("these are not the rows you are looking for" * 100, encoding="utf-8")
    with pytest.raises(DataError, match="cannot be read as pitapp's database"):
        migrate(path)


def test_a_trigger_is_one_statement() -> None:
    script = "CREATE TABLE a (x);\nCREATE TRIGGER t AFTER INSERT ON a BEGIN\n  DELETE FROM a;\nEND;\n-- done\n"
    assert len(statements(script)) == 2


def halfway(connection: sqlite3.Connection) -> None:
    with transaction(connection):
        connection.execute("INSERT INTO a VALUES (1)")
        with transaction(connection):
            connection.execute("INSERT INTO a VALUES (2)")
        raise ZeroDivisionError


def test_a_transaction_is_all_or_nothing_and_nests(tmp_path: Path) -> None:
    with closing(connect(tmp_path / "x.sqlite3")) as connection:
        connection.execute("CREATE TABLE a (x)")
        with pytest.raises(ZeroDivisionError):
            halfway(connection)
        assert connection.execute("SELECT count(*) FROM a").fetchone()[0] == 0


def test_a_moment_without_its_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        to_db(RACE_MORNING.replace(tzinfo=None))
