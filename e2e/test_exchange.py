"""Import and export on a phone: saved, looked at, taken, and put back."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.exchange import InAndOut
from e2e.server import Live
from pitapp.demo import fill


def runs_logged(live: Live) -> int:
    with closing(sqlite3.connect(live.database)) as database:
        found = database.execute("SELECT count(*) FROM runs WHERE removed_at IS NULL")
        return int(found.fetchone()[0])


@pytest.mark.every_engine
def test_everything_goes_out_and_comes_back(live: Live, page: Page, tmp_path: Path) -> None:
    fill(live.app)
    many = runs_logged(live)
    screen = InAndOut(page, live.url).open()
    screen.check_usable()
    saved = screen.save("Save everything", tmp_path)
    content = json.loads(saved.read_text(encoding="utf-8"))
    assert sum(run["removed_at"] is None for run in content["tables"]["runs"]) == many
    sheet = screen.save("Runs Every run", tmp_path)
    assert len(sheet.read_text(encoding="utf-8-sig").splitlines()) == many + 1

    with closing(sqlite3.connect(live.database)) as database, database:
        database.execute("UPDATE runs SET removed_at = '2026-01-01T00:00:00Z'")
    screen.look_at_everything(saved)
    expect(page.get_by_text("Bringing it back replaces everything here.")).to_be_visible()
    screen.check_usable()
    assert runs_logged(live) == 0
    screen.press("Replace what is here")
    expect(page.get_by_role("button", name="Put back what was here before")).to_be_visible()
    assert runs_logged(live) == many
    screen.press("Put back what was here before")
    for _ in range(600):
        if runs_logged(live) == 0:
            break
        page.wait_for_timeout(100)
    assert runs_logged(live) == 0


def test_runs_from_a_sheet_are_looked_at_first(live: Live, page: Page, tmp_path: Path) -> None:
    fill(live.app)
    many = runs_logged(live)
    sheet = tmp_path / "runs.csv"
    sheet.write_text(
        "started;car;track;pinion;spur;can °C\n"
        "2026-05-03 10:32;Invented TC;Mossy Hollow;45;66;61,5\n"
        "2026-05-03 11:12;Invented TC;Far Corner;46;66;64\n"
        "2026-05-03 11:52;Invented TC;Mossy Hollow;0;66;hot\n",
        encoding="utf-8",
    )
    screen = InAndOut(page, live.url).open()
    screen.look_at_runs(sheet)
    screen.expect_figure("lines-good", "2")
    expect(page.get_by_text("Line 4")).to_be_visible()
    expect(page.get_by_text("New track: Far Corner.")).to_be_visible()
    screen.check_usable()
    assert runs_logged(live) == many
    screen.press("Add 2 runs")
    expect(page.get_by_role("button", name="Undo")).to_be_visible()
    assert runs_logged(live) == many + 2
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_text("Undone: Added 2 runs from a file")).to_be_visible()
    assert runs_logged(live) == many
