"""Pages of long lists: newest first, no row twice and none left out, removed ones gone."""

from __future__ import annotations

import sqlite3

import pytest

from pitapp.db import undo
from pitapp.db.pages import newest, split_page
from pitapp.meetings.models import Meeting
from tests.support import RACE_MORNING

DAYS = ("2026-05-16", "2026-05-16", "2026-04-02", "2026-06-20", "2026-05-16", "2026-04-02")


@pytest.fixture(autouse=True)
def _meetings(db: sqlite3.Connection) -> None:
    with undo.step(db, "Added", RACE_MORNING) as step:
        for name, day in enumerate(DAYS):
            step.insert("meetings", {"day": day, "time_zone": "UTC", "name": str(name)})
        step.remove("meetings", 2, RACE_MORNING)


@pytest.mark.parametrize("length", [1, 2, 3, 4, 5, 6])
def test_pages_go_through_all_of_it(db: sqlite3.Connection, length: int) -> None:
    seen: list[int] = []
    before = None
    for _ in range(9):
        found = newest(db, Meeting, "meetings", "day", limit=length + 1, before=before)
        shown, before = split_page(found, length)
        assert len(shown) <= length
        seen += [row.id for row in shown]
        if before is None:
            break
    assert seen == [4, 5, 1, 6, 3]


def test_only_rows_with_the_values_asked_for(db: sqlite3.Connection) -> None:
    db.execute("INSERT INTO tracks (id, name) VALUES (7, 'Beck Lane')")
    db.execute("UPDATE meetings SET track_id = 7 WHERE id IN (1, 2, 3)")
    found = newest(db, Meeting, "meetings", "day", track_id=7, limit=9)
    assert [row.id for row in found] == [1, 3]
    assert newest(db, Meeting, "meetings", "day", track_id=8, limit=9) == []
    assert newest(db, Meeting, "meetings", "day", limit=9, before=99) == []
