"""Copies with one impossible cell: each is refused whole, or every page of the app opens on it."""

from __future__ import annotations

import io
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from random import Random
from typing import NamedTuple, cast

import pytest
from click.testing import CliRunner
from flask import Flask

from pitapp import create_app
from pitapp.cli import cli
from pitapp.copies import store
from pitapp.db.connect import connect
from pitapp.demo import fill
from pitapp.errors import Refused
from pitapp.exchange import document
from tests import hostile
from tests.hostile import Cell
from tests.support import RACE_MORNING, Clock, PageClient

COPIES = int(os.environ.get("PITAPP_HOSTILE_COPIES", "64"))
SHARES = 8


class Season(NamedTuple):
    """The demo's season with no table empty, a copy of it, and how each of its pages answers."""

    app: Flask
    folder: Path
    copy: Path
    answers: dict[str, int]

    @property
    def db(self) -> sqlite3.Connection:
        return cast(sqlite3.Connection, self.app.extensions["pitapp.db"].connection())

    def spoilt(self, cell: Cell) -> Path | None:
        """A copy with that cell, or None where SQLite does not take the value or it is there already."""
        path = self.copy.with_name("spoilt.sqlite3")
        shutil.copyfile(self.copy, path)
        return path if hostile.plant(path, cell) else None

    def held(self) -> list[str]:
        """Everything that the database holds, and the copies and half-done files beside it."""
        files = [*self.folder.glob("copies/*"), *self.folder.glob(".*")]
        return [*sorted(path.name for path in files), *self.db.iterdump()]


@pytest.fixture(scope="module")
def season() -> Iterator[Season]:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as place:
        folder = Path(place) / "data"
        app = create_app(folder, clock=Clock(), invented=True)
        app.test_client_class = PageClient
        app.testing = False
        fill(app)
        hostile.furnish(app)
        copy = Path(place) / "season.sqlite3"
        found = Season(app, folder, copy, {})
        store.write_copy(found.db, copy)
        client = app.test_client()
        found.answers.update({page: client.get(page).status_code for page in hostile.pages(app)})
        yield found
        app.extensions["pitapp.db"].close()


def test_the_season_leaves_nothing_out(season: Season) -> None:
    with closing(sqlite3.connect(season.copy)) as copy:
        tables = {table for table, _, _ in hostile.columns(copy)}
        for table in tables:
            assert copy.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0, table
    assert len(tables) > 30
    assert set(season.answers.values()) <= {200, 303, 400, 404}
    assert sum(status == 200 for status in season.answers.values()) > 120
    rules = {season.app.url_map.bind("localhost").match(page)[0] for page in season.answers}
    reading = {
        rule.endpoint
        for rule in season.app.url_map.iter_rules()
        if "GET" in (rule.methods or ()) and rule.endpoint not in hostile.APART
    }
    assert rules == reading


@pytest.mark.parametrize("share", range(SHARES))
def test_a_copy_with_one_impossible_cell_is_refused_whole_or_every_page_opens(
    season: Season, share: int
) -> None:
    many = -(-COPIES // SHARES)
    spoilt = ((cell, season.spoilt(cell)) for cell in hostile.picks(season.copy, share))
    tried = islice(((cell, path) for cell, path in spoilt if path), many)
    taken = [is_brought_back_whole_or_refused(season, path, cell) for cell, path in tried]
    assert len(taken) == many
    assert not all(taken)


@pytest.mark.parametrize("share", range(SHARES))
def test_so_is_a_copy_in_which_many_rows_were_changed(season: Season, share: int) -> None:
    all_changes = hostile.changes(season.copy)
    Random(share).shuffle(all_changes)
    chosen = all_changes[share::SHARES][: -(-COPIES // SHARES // 8)]
    for change in chosen:
        path = season.copy.with_name("spoilt.sqlite3")
        shutil.copyfile(season.copy, path)
        hostile.change(path, change)
        is_brought_back_whole_or_refused(season, path, change)
    assert chosen


def is_brought_back_whole_or_refused(season: Season, path: Path, what: object) -> bool:
    before = season.held()
    try:
        store.restore(season.db, path, season.folder, RACE_MORNING)
    except Refused:
        assert season.held() == before, what
        assert season.db.execute("PRAGMA foreign_keys").fetchone()[0] == 1
        return False
    assert_every_page_opens(season, what)
    return True


def may_answer(page: str, what: object, known: int) -> set[int]:
    """How a page may answer: as it did, and where its rows may be gone, that they are."""
    of_a_row = any(figure in page for figure in "0123456789")
    return {known, 200, 302, 303, 404, 409} if of_a_row or not isinstance(what, Cell) else {known}


def assert_every_page_opens(season: Season, what: object) -> None:
    client = season.app.test_client()
    for page in hostile.pages(season.app):
        status = client.get(page).status_code
        expected = may_answer(page, what, season.answers.get(page, 200))
        assert status in expected, f"{page} answers {status} after {what}"


NAMED = [
    ("cars", "internal_ratio", 0),
    ("cars", "tyre_diameter_mm", 1e308),
    ("gear_fits", "pinion_teeth", 0),
    ("heats", "starts_at", "x"),
    ("run_setups", "body", "[[["),
    ("pack_charge_answers", "shown", "["),
    ("track_straights", "length_m", 1000),
    ("settings", "value", "x" * 5000),
    ("answered_writes", "key", "no key"),
    ("cars", "name", hostile.BROKEN_UTF8),
    ("cars", "mass_g", float("inf")),
    ("cars", "id", -1),
    ("gears", "kind", "wheel"),
    ("runs", "car_id", 9999),
]


@pytest.mark.parametrize(("table", "column", "value"), NAMED)
def test_it_is_refused_at_every_door(
    season: Season, table: str, column: str, value: object
) -> None:
    path = season.spoilt(Cell(table, column, 0, value))
    assert path is not None
    client: PageClient = season.app.test_client()  # type: ignore[assignment]
    before = season.held()
    sent = {"file": (io.BytesIO(path.read_bytes()), "copy.sqlite3")}
    looked = client.post_form("/copies/uploaded", sent, content_type="multipart/form-data")
    assert looked.status_code == 422
    assert 'id="file-error"' in looked.text
    planted = season.folder / store.FOLDER / "2026-05-16T080000Z-by-hand.sqlite3"
    planted.parent.mkdir(exist_ok=True)
    shutil.copyfile(path, planted)
    assert client.get(f"/copies/{planted.name}/look").status_code == 409
    assert client.post_form(f"/copies/{planted.name}/restore").status_code == 409
    planted.unlink()
    command = ["restore", str(path), "--yes", "--data", str(season.folder)]
    run = CliRunner().invoke(cli, command)
    assert isinstance(run.exception, Refused), run.output
    assert season.held() == before


def test_damaged_data_is_not_set_aside_for_a_hostile_copy(season: Season, tmp_path: Path) -> None:
    path = season.spoilt(Cell("cars", "internal_ratio", 0, 0))
    assert path is not None
    (tmp_path / "pitapp.sqlite3").write_bytes(b"damaged")
    run = CliRunner().invoke(cli, ["restore", str(path), "--yes", "--data", str(tmp_path)])
    assert isinstance(run.exception, Refused), run.output
    assert (tmp_path / "pitapp.sqlite3").read_bytes() == b"damaged"


@pytest.mark.parametrize("share", range(SHARES))
def test_a_file_of_everything_is_judged_as_a_copy_is(season: Season, share: int) -> None:
    spoilt = ((cell, season.spoilt(cell)) for cell in hostile.picks(season.copy, 100 + share))
    tried = islice(((cell, path) for cell, path in spoilt if path), 5)
    judged = [
        (cell, is_taken_as_a_copy(season, path), is_taken_as_a_file(path)) for cell, path in tried
    ]
    assert [(cell, copy) for cell, copy, _ in judged] == [(cell, file) for cell, _, file in judged]
    assert not all(copy for _, copy, _ in judged)


def is_taken_as_a_copy(season: Season, path: Path) -> bool:
    try:
        with store.looked_through(path, season.folder):
            return True
    except Refused:
        return False


def is_taken_as_a_file(path: Path) -> bool:
    with closing(connect(path)) as connection:
        try:
            document.read("".join(document.write(connection, RACE_MORNING)).encode())
        except (Refused, sqlite3.OperationalError, ValueError):
            return False
    return True
