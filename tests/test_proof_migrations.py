"""A season's data at every earlier schema: brought up whole, copied first, and whole when interrupted."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from pitapp import create_app
from pitapp.copies import store
from pitapp.db import migrate as migrating
from pitapp.db.connect import connect
from pitapp.db.migrate import migrations, statements, version_of
from pitapp.db.validate_copy import examine, expected_schema, schema
from pitapp.demo import fill
from pitapp.exchange import readers
from pitapp.web.view.nav import FOOT, MORE
from tests.support import Clock

GIVEN_UP = {"wrong_guesses"}
"""Tables that a later migration drops: nothing of a racer's stood in them."""
NUMBERS = [number for number, _ in migrations()]
NEWEST = NUMBERS[-1]
PAGES = [place.path for place in (*FOOT, *MORE)]
EVERY = 9

pytestmark = pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
Rows = dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The database of the invented season, at the newest schema."""
    folder = tmp_path_factory.mktemp("season")
    app = create_app(folder, clock=Clock(), invented=True)
    fill(app)
    app.extensions["pitapp.db"].close()
    return folder / "pitapp.sqlite3"


def at_schema(number: int, season: Path, folder: Path) -> Path:
    """A data folder as the pitapp of that schema would have left it, with the season's rows."""
    folder.mkdir()
    path = folder / "pitapp.sqlite3"
    with closing(sqlite3.connect(path, isolation_level=None)) as made:
        for each, file in migrations():
            if each <= number:
                for statement in statements(file.read_text(encoding="utf-8")):
                    made.execute(statement)
        made.execute(f"PRAGMA user_version = {number}")
        made.execute("ATTACH DATABASE ? AS season", (str(season),))
        there = tables(made)
        for table in (each for each in there if each not in GIVEN_UP):
            names = [row[1] for row in made.execute(f"PRAGMA main.table_info({table})")]
            references = made.execute(f"PRAGMA main.foreign_key_list({table})").fetchall()
            to_come = {row[3] for row in references if row[2] not in there}
            values = ", ".join("NULL" if name in to_come else name for name in names)
            made.execute(f"DELETE FROM main.{table}")
            made.execute(
                f"INSERT INTO main.{table} ({', '.join(names)}) SELECT {values} FROM season.{table}"
            )
        made.execute("PRAGMA main.journal_mode = WAL")
    return path


def tables(connection: sqlite3.Connection) -> list[str]:
    found = connection.execute(
        "SELECT name FROM main.sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    )
    return [row[0] for row in found]


def rows_of(path: Path) -> Rows:
    with closing(connect(path)) as connection:
        return {
            table: [dict(row) for row in connection.execute(f"SELECT * FROM {table} ORDER BY 1")]
            for table in tables(connection)
        }


def holds(rows: Rows, earlier: Rows) -> bool:
    """Whether every earlier row is there with every value that it had."""
    return all(
        [{name: row[name] for name in before} for before, row in zip(was, rows[table], strict=True)]
        == was
        for table, was in earlier.items()
        if table not in GIVEN_UP
    )


@pytest.mark.parametrize("number", NUMBERS[:-1])
def test_a_season_at_every_earlier_schema_is_brought_up_whole(
    number: int, season: Path, tmp_path: Path
) -> None:
    path = at_schema(number, season, tmp_path / "data")
    earlier = rows_of(path)
    assert sum(map(len, earlier.values())) > 50
    app = create_app(path.parent, clock=Clock())
    connection = app.extensions["pitapp.db"].connection()
    assert version_of(connection) == NEWEST
    assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    assert holds(rows_of(path), earlier)
    readers.read_all(connection)
    client = app.test_client()
    for page in PAGES:
        assert client.get(page, follow_redirects=True).status_code == 200, page
    (copy,) = store.list_copies(path.parent)
    assert copy.why == "before-update"
    kept = path.parent / "copies" / copy.name
    assert examine(kept).schema_version == number
    assert rows_of(kept) == earlier | {"undo_steps": []}, "a copy has no steps back"
    app.extensions["pitapp.db"].close()


def migrated_until(statement: int, folder: Path) -> bool:
    """Start pitapp in a child that is killed as it begins that statement; whether it came so far."""
    child = os.fork()
    if child == 0:
        begun = 0

        def count(_: str) -> None:
            nonlocal begun
            begun += 1
            if begun == statement:
                os.kill(os.getpid(), signal.SIGKILL)

        def counted(path: Path) -> sqlite3.Connection:
            connection = connect(path)
            connection.set_trace_callback(count)
            return connection

        vars(migrating)["connect"] = counted
        try:
            create_app(folder).extensions["pitapp.db"].close()
        finally:
            os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def test_a_kill_in_the_midst_leaves_a_whole_schema(season: Path, tmp_path: Path) -> None:
    first = at_schema(NUMBERS[0], season, tmp_path / "first")
    earlier = rows_of(first)
    seen = set()
    for statement in range(1, 100 * EVERY, EVERY):
        folder = tmp_path / "data"
        shutil.copytree(first.parent, folder)
        killed = migrated_until(statement, folder)
        with closing(connect(folder / "pitapp.sqlite3")) as connection:
            version = version_of(connection)
            assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            assert schema(connection) == expected_schema(version)
        seen.add(version)
        assert holds(rows_of(folder / "pitapp.sqlite3"), earlier)
        create_app(folder).extensions["pitapp.db"].close()
        assert holds(rows_of(folder / "pitapp.sqlite3"), earlier)
        shutil.rmtree(folder)
        if not killed:
            break
    assert not killed
    assert seen >= {NUMBERS[0], NEWEST}
    assert len(seen) >= 5
