"""The screens of meetings and heats: quick entry, words at the field, nothing lost."""

from __future__ import annotations

import re
import sqlite3
from datetime import UTC, datetime
from typing import Any

import pytest

from pitapp.db import settings
from pitapp.meetings import store
from tests.support import Clock, PageClient

DAY: dict[str, Any] = {"day": "2026-05-16", "time_zone": "Europe/Lisbon", "version": "1"}
EVEN: dict[str, Any] = {"kind": "heat", "first": "930", "interval_min": "40", "many": "5"}


def undo_path(page: str) -> str:
    """The address of the newest undo on the page."""
    found: list[str] = re.findall(r'action="(/undo/[^"]+)"', page)
    return found[-1]


def made(client: PageClient, **more: str) -> str:
    answer = client.post_form("/meetings/new", DAY | EVEN | more)
    assert answer.status_code == 303, answer.get_data(as_text=True)
    return str(answer.location)


def walls(db: sqlite3.Connection, meeting_id: int = 1) -> list[str]:
    zone = store.meeting(db, meeting_id).zone
    return [
        f"{heat.title} {heat.starts_at.astimezone(zone):%H:%M}"
        for heat in store.heats(db, meeting_id)
    ]


def test_a_day_of_five_heats_is_one_form(client: PageClient, db: sqlite3.Connection) -> None:
    page = client.get(made(client)).get_data(as_text=True)
    assert walls(db) == [
        "Heat 1 09:30",
        "Heat 2 10:10",
        "Heat 3 10:50",
        "Heat 4 11:30",
        "Heat 5 12:10",
    ]
    assert store.heats(db, 1)[0].starts_at == datetime(2026, 5, 16, 8, 30, tzinfo=UTC)
    assert "09:30 Heat 1" in page
    client.post_form(undo_path(page))
    assert store.meetings(db) == []


def test_marshalling_is_made_on_wish(client: PageClient, db: sqlite3.Connection) -> None:
    made(client, many="2", marshal="y", marshal_after_min="8")
    assert walls(db) == ["Heat 1 09:30", "Marshal 1 09:38", "Heat 2 10:10", "Marshal 2 10:18"]


def test_pasted_times_go_before_the_figures(client: PageClient, db: sqlite3.Connection) -> None:
    made(client, lines="Heat 3  23:20\r\nHeat 9  00:05\r\n")
    assert walls(db) == ["Heat 1 23:20", "Heat 2 00:05"]
    assert "Sun 00:05 Heat 2" in client.get("/meetings/1").get_data(as_text=True)


def test_a_practice_day_needs_no_timetable(client: PageClient, db: sqlite3.Connection) -> None:
    where = client.post_form("/meetings/new", DAY).location
    assert walls(db) == []
    assert "practice day" in client.get(where).get_data(as_text=True)


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("day", "", "Which day is it?"),
        ("day", "tomorrow", "Write a day like"),
        ("day", "0001-01-01", "The year must lie between 2000 and 2200."),
        ("day", "9999-12-31", "The year must lie between 2000 and 2200."),
        ("time_zone", "Atlantis/Sunk", "No time zone has this name."),
        ("time_zone", "../../etc/passwd", "No time zone has this name."),
        ("time_zone", "", "Write it like Europe/Lisbon."),
        ("name", "x" * 61, "Keep this under 60 characters."),
        ("track_id", "77", "Not a valid choice."),
        ("first", "25:00", "No clock shows that time."),
        ("first", "🏁", "Write a time such as 9:30 or 930."),
        ("first", "", "When is the first?"),
        ("interval_min", "0", "The interval must be at least 1 min"),
        ("interval_min", "", "How many minutes lie between them?"),
        ("interval_min", "-40", "The interval must be at least 1 min"),
        ("interval_min", "soon", "Write a number here"),
        ("many", "0", "The number of heats must be at least 1"),
        ("many", "61", "The number of heats must be at most 60"),
        ("many", "2,5", "Write a whole number here."),
        ("lines", "9:30\n8:10", "this is not later than the time before it."),
        ("marshal_after_min", "", "How many minutes after your start?"),
        ("marshal_after_min", "9999", "must be at most 240"),
    ],
)
def test_bad_input_stays_with_a_sentence_at_its_field(
    client: PageClient, db: sqlite3.Connection, field: str, value: str, sentence: str
) -> None:
    typed = DAY | EVEN | {"name": "Kept name", "marshal": "y", "marshal_after_min": "8"}
    answer = client.post_form("/meetings/new", typed | {field: value})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert sentence in page.split(f'id="{field}-error"')[1][:400]
    assert field == "name" or "Kept name" in page
    assert store.meetings(db) == []


def test_a_first_time_that_the_clock_skips_is_told(client: PageClient) -> None:
    # Directive 2000/84/EC: summer time begins at 01:00 GMT on the last Sunday of March.
    answer = client.post_form("/meetings/new", DAY | EVEN | {"day": "2026-03-29", "first": "130"})
    assert answer.status_code == 422
    assert "There is no 01:30 on this day" in answer.get_data(as_text=True)


def test_the_track_s_time_zone_rules_and_not_the_phone_s(
    client: PageClient, db: sqlite3.Connection
) -> None:
    settings.save(db, "time_zone", "Asia/Tokyo")
    page = client.get(made(client)).get_data(as_text=True)
    assert "09:30 Heat 1" in page


def test_the_first_meeting_is_at_the_only_track(client: PageClient) -> None:
    offered = '<option selected value="1">Beck Lane</option>'
    client.post_form("/tracks/new", {"name": "Beck Lane"})
    assert offered in client.get("/meetings/new").text
    client.post_form("/tracks/new", {"name": "Far End"})
    assert offered not in client.get("/meetings/new").text


def test_a_new_meeting_offers_what_was_last(client: PageClient, db: sqlite3.Connection) -> None:
    client.post_form("/meetings/classes/new", {"name": "Invented spec", "heats_a_day": "6"})
    client.post_form("/meetings/new", DAY | {"race_class_id": "1", "time_zone": "Asia/Tokyo"})
    page = client.get("/meetings/new").get_data(as_text=True)
    assert re.search(r'<option selected value="1">Invented spec', page)
    assert 'value="Asia/Tokyo"' in page
    assert re.search(r'id="many" name="many" value="6"', page)
    assert 'value="2026-05-16"' in page


@pytest.mark.parametrize(
    ("following", "expected"),
    [
        ({}, ["Heat 1 09:30", "Heat 2 10:15", "Heat 3 10:50"]),
        ({"following": "yes"}, ["Heat 1 09:30", "Heat 2 10:15", "Heat 3 10:55"]),
    ],
)
def test_five_minutes_later(
    client: PageClient, db: sqlite3.Connection, following: dict[str, str], expected: list[str]
) -> None:
    made(client, many="3")
    answer = client.post_form("/meetings/heats/2/shift", {"minutes": "5", **following})
    assert walls(db) == expected
    client.post_form(undo_path(client.get(answer.location).get_data(as_text=True)))
    assert walls(db) == ["Heat 1 09:30", "Heat 2 10:10", "Heat 3 10:50"]


@pytest.mark.parametrize("minutes", ["", "0", "x", "721", "-721", "5.5", "9" * 5000])
def test_an_impossible_shift_is_refused(
    client: PageClient, db: sqlite3.Connection, minutes: str
) -> None:
    made(client)
    answer = client.post_form("/meetings/heats/2/shift", {"minutes": minutes})
    assert answer.status_code == 400
    assert walls(db)[1] == "Heat 2 10:10"


@pytest.mark.parametrize(
    ("origin", "page", "part"),
    [
        ("board", "/", "/part"),
        ("heat", "/meetings/heats/1", "/meetings/heats/1/part"),
        ("meeting", "/meetings/1", "/meetings/1/part"),
    ],
)
def test_a_shift_leads_back_to_where_it_was_made(
    client: PageClient, origin: str, page: str, part: str
) -> None:
    made(client)
    sent = {"minutes": "5", "from": origin}
    assert client.post_form("/meetings/heats/1/shift", sent).location == page
    asked = client.post_form("/meetings/heats/1/shift", sent, headers={"HX-Request": "true"})
    assert asked.location == part
    answer = client.get(part, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert "<html" not in answer.get_data(as_text=True)


def test_one_heat_is_edited(client: PageClient, db: sqlite3.Connection) -> None:
    made(client)
    page = client.get("/meetings/heats/5").get_data(as_text=True)
    assert 'value="12:10"' in page
    sent = {"kind": "final", "number": "1", "at": "0:05", "day": "2026-05-17"}
    client.post_form("/meetings/heats/5", sent)
    heat = store.heat(db, 5)
    assert (heat.title, heat.starts_at) == ("Final 1", datetime(2026, 5, 16, 23, 5, tzinfo=UTC))


@pytest.mark.parametrize(
    ("other", "said"),
    [
        (("", {"kind": "heat", "number": "7", "at": "12:10", "day": "2026-05-16"}), "became 7."),
        (("/shift", {"minutes": "5"}), "became 12:15."),
    ],
)
def test_two_screens_that_edit_one_heat_meet(
    client: PageClient, db: sqlite3.Connection, other: tuple[str, dict[str, str]], said: str
) -> None:
    made(client)
    assert 'name="version" type="hidden" value="1"' in client.get("/meetings/heats/5").text
    client.post_form(f"/meetings/heats/5{other[0]}", {"version": "1", **other[1]})
    before = store.heat(db, 5)
    sent = {"kind": "final", "number": "1", "at": "12:30", "day": "2026-05-16", "version": "1"}
    answer = client.post_form("/meetings/heats/5", sent)
    assert answer.status_code == 409
    assert "changed on another screen" in answer.text
    assert said in answer.text
    assert 'value="12:30"' in answer.text
    assert store.heat(db, 5) == before
    assert client.post_form("/meetings/heats/5", sent | {"version": "2"}).status_code == 303
    assert walls(db)[4] == "Final 1 12:30"


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("at", "", "This is needed."),
        ("at", "99", "No clock shows that time."),
        ("number", "0", "This must be at least 1."),
        ("number", "1000", "This must be at most 999."),
        ("kind", "parade", "Not a valid choice."),
        ("day", "soon", "Write a day like"),
    ],
)
def test_a_bad_heat_is_refused_at_its_field(
    client: PageClient, db: sqlite3.Connection, field: str, value: str, sentence: str
) -> None:
    made(client)
    sent = {"kind": "heat", "number": "5", "at": "12:10", "day": "2026-05-16"}
    answer = client.post_form("/meetings/heats/5", sent | {field: value})
    assert answer.status_code == 422
    assert sentence in answer.get_data(as_text=True)
    assert walls(db)[4] == "Heat 5 12:10"


def test_done_not_done_and_removed(client: PageClient, db: sqlite3.Connection) -> None:
    made(client)
    client.post_form("/meetings/heats/1/done", {})
    assert store.heat(db, 1).done_at is not None
    client.post_form("/meetings/heats/1/done", {"done": "no"})
    assert store.heat(db, 1).done_at is None
    answer = client.post_form("/meetings/heats/1/remove")
    assert len(walls(db)) == 4
    client.post_form(undo_path(client.get(answer.location).get_data(as_text=True)))
    assert len(walls(db)) == 5


def test_more_heats_are_added_later(client: PageClient, db: sqlite3.Connection) -> None:
    made(client, many="1")
    client.post_form("/meetings/1/heats", {"kind": "final", "first": "1500"})
    assert walls(db) == ["Heat 1 09:30", "Final 1 15:00"]
    empty = client.post_form("/meetings/1/heats", {"kind": "final"})
    assert empty.status_code == 422
    assert "Write when the first one is" in empty.get_data(as_text=True)


def test_a_second_device_is_told_and_loses_nothing(
    client: PageClient, db: sqlite3.Connection
) -> None:
    made(client)
    client.post_form("/meetings/1/edit", DAY | {"name": "Spring"})
    answer = client.post_form("/meetings/1/edit", DAY | {"name": "Autumn", "remarks": "Bring fan"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 409
    assert "On the other screen this became Spring." in page
    assert 'value="Autumn"' in page
    assert "Bring fan" in page
    again = client.post_form("/meetings/1/edit", DAY | {"name": "Autumn", "version": "2"})
    assert again.status_code == 303
    assert store.meeting(db, 1).name == "Autumn"
    assert len(walls(db)) == 5


def test_a_removed_meeting_comes_back(client: PageClient, db: sqlite3.Connection) -> None:
    made(client)
    answer = client.post_form("/meetings/1/remove")
    assert store.meetings(db) == []
    client.post_form(undo_path(client.get(answer.location).get_data(as_text=True)))
    assert len(store.meetings(db)) == 1


def test_what_is_removed_stays_chosen_in_an_old_meeting(
    client: PageClient, db: sqlite3.Connection
) -> None:
    client.post_form("/meetings/classes/new", {"name": "Invented spec"})
    client.post_form("/meetings/new", DAY | {"race_class_id": "1"})
    client.post_form("/meetings/classes/1/remove")
    assert "Invented spec" in client.get("/meetings/1/edit").get_data(as_text=True)
    answer = client.post_form("/meetings/1/edit", DAY | {"race_class_id": "1", "name": "Kept"})
    assert answer.status_code == 303
    assert store.meeting(db, 1).race_class_id == 1


@pytest.mark.parametrize(
    "path",
    [
        "/meetings/9",
        "/meetings/9/part",
        "/meetings/9/edit",
        "/meetings/9/heats",
        "/meetings/heats/9",
        "/meetings/heats/9/part",
        "/meetings/classes/9",
        "/meetings/99999999999999999999",
    ],
)
def test_unknown_things_are_not_there(client: PageClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_a_phone_keeps_the_day_for_when_there_is_no_server(client: PageClient) -> None:
    made(client, many="2")
    client.post_form("/meetings/heats/1/done", {})
    kept = client.get("/offline/pages").get_json()["pages"]
    assert {path for path in kept if path.startswith("/meetings")} == {
        "/meetings/1",
        "/meetings/heats/2",
    }


def test_meetings_are_listed_in_pages(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    with db:
        db.executemany(
            "INSERT INTO meetings (day, time_zone, name) VALUES (?, 'UTC', ?)",
            [(f"2025-{1 + n // 28:02}-{1 + n % 28:02}", f"Day {n}") for n in range(60)],
        )
    page = client.get("/meetings").get_data(as_text=True)
    assert (
        page.count('class="row" href="/meetings/') == 32
    )  # thirty, and the rows to classes and seasons
    older = re.findall(r'href="(/meetings\?before=\d+)"', page)
    page = client.get(older[0]).get_data(as_text=True)
    assert "Day 0<" in page
    assert page.count('class="row" href="/meetings/') == 30
