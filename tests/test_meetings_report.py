"""The report of a meeting, what goes out with it, and a meeting copied for the next."""

from __future__ import annotations

import re
import sqlite3
from datetime import UTC, date, datetime, timedelta

import pytest

from pitapp.meetings import store
from pitapp.meetings.formulas import Entry, copied_entries
from pitapp.meetings.models import Heat, Meeting
from pitapp.meetings.results import store as results
from pitapp.meetings.results.models import MeetingResult
from pitapp.runs import store as runs
from tests.runs_support import Pit, a_run, furnish
from tests.support import RACE_MORNING, Clock, PageClient

PRIVATE = "borrowed a belt, owe twenty"


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    """A meeting with two logged heats and a place."""
    pit = furnish(db)
    values = {"meeting_id": pit.meeting, "pack_id": pit.pack, "time_zone": "Europe/Lisbon"}
    first = a_run(
        **values, heat_id=pit.heats[0], best_lap_s=15.02, laps=20, can_c=61, grip="medium"
    )
    second = a_run(
        **values,
        heat_id=pit.heats[1],
        best_lap_s=14.87,
        pinion_teeth=45,
        can_c=66,
        position=3,
        started_at=RACE_MORNING + timedelta(minutes=40),
        remarks=PRIVATE,
    )
    for item in (first, second):
        runs.save_run(db, item, RACE_MORNING)
    results.save_result(db, MeetingResult(meeting_id=pit.meeting, place=4), RACE_MORNING)
    return pit


def text_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page))


def test_the_report_says_what_ran_what_changed_and_what_came_of_it(
    client: PageClient, pit: Pit
) -> None:
    text = text_of(client.get(f"/meetings/{pit.meeting}/report").get_data(as_text=True))
    for part in (
        "Example hall, Example class, Example car",
        "Place 4",
        "Heat 1, 10:00, gear 43 / 66, FDR 2.92, best lap 15.02, 20 laps",
        "medium grip",
        "Heat 2, 10:40, gear 45 / 66, FDR 2.79, best lap 14.87",
        "Changed: pinion 43 → 45, FDR 2.92 → 2.79",
        "Quickest: 14.87 on 45 / 66",
        PRIVATE,
    ):
        assert part in text


def test_what_is_passed_on_holds_nothing_private(client: PageClient, pit: Pit) -> None:
    answer = client.get(f"/meetings/{pit.meeting}/report.html")
    page = answer.get_data(as_text=True)
    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert "best lap 14.87" in text_of(page)
    for private in (PRIVATE, "href", "src=", "/runs/", "token", "data-database", "http", "<form"):
        assert private not in page
    with_them = client.get(f"/meetings/{pit.meeting}/report.html?remarks=yes")
    assert PRIVATE in with_them.get_data(as_text=True)


def test_a_meeting_with_no_run_says_so(client: PageClient, db: sqlite3.Connection) -> None:
    meeting_id, _ = store.save_meeting(
        db, Meeting(day=RACE_MORNING.date(), time_zone="UTC"), RACE_MORNING
    )
    page = client.get(f"/meetings/{meeting_id}/report").get_data(as_text=True)
    assert "No run of this meeting" in page


def test_copied_times_are_those_of_the_wall_clock_through_summer_time() -> None:
    """Lisbon's summer time begins on 29 March 2026 and ends on 25 October (EU rule)."""
    item = Meeting(day=date(2026, 3, 22), time_zone="Europe/Lisbon")
    times = (datetime(2026, 3, 22, 9, 30, tzinfo=UTC), datetime(2026, 3, 23, 0, 10, tzinfo=UTC))
    heats = [Heat(meeting_id=1, number=1, starts_at=each, kind="final") for each in times]
    assert copied_entries(item, heats, date(2026, 4, 5)) == [
        Entry("final", datetime(2026, 4, 5, 8, 30, tzinfo=UTC)),
        Entry("final", datetime(2026, 4, 5, 23, 10, tzinfo=UTC)),
    ]
    skipped = [Heat(meeting_id=1, number=1, starts_at=datetime(2026, 3, 22, 1, 30, tzinfo=UTC))]
    with pytest.raises(ValueError, match="clock"):
        copied_entries(item, skipped, date(2026, 3, 29))


def test_a_copy_takes_the_place_and_the_times_and_nothing_that_was_driven(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    client.post_form(f"/meetings/{pit.meeting}/edit", {})  # a refused edit changes nothing
    answer = client.post_form(f"/meetings/{pit.meeting}/copy", {"day": "2026-05-30"})
    assert answer.status_code == 303
    made = store.meeting(db, store.meetings(db)[0].id)
    old = store.meeting(db, pit.meeting)
    assert (made.day, made.track_id, made.race_class_id, made.remarks) == (
        date(2026, 5, 30),
        old.track_id,
        old.race_class_id,
        "",
    )
    shift = timedelta(days=14)
    assert [
        (each.kind, each.starts_at - shift, each.done_at) for each in store.heats(db, made.id)
    ] == [(each.kind, each.starts_at, None) for each in store.heats(db, old.id)]
    assert runs.runs(db, meeting_id=made.id) == []
    assert results.result(db, made.id).id == 0
    assert store.calendar_key(db, made.id) != store.calendar_key(db, old.id)
    page = client.get(str(answer.location)).get_data(as_text=True)
    client.post_form(re.findall(r'action="(/undo/[^"]+)"', page)[-1])
    assert [each.id for each in store.meetings(db)] == [pit.meeting]
    wrong = client.post_form(f"/meetings/{pit.meeting}/copy", {"day": ""})
    assert (wrong.status_code, 'id="day-error"' in wrong.text) == (422, True)
