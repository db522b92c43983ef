"""The calendar file: by the rules of RFC 5545, read by another library, and moved when heats move."""

from __future__ import annotations

import io
import re
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
import vobject
from flask import Flask

from pitapp import create_app
from pitapp.db import transaction, undo
from pitapp.exchange import document
from pitapp.meetings import store
from pitapp.meetings.calendar.formulas import (
    Alarm,
    CalendarEntry,
    calendar_file,
    charge_entries,
    heat_entries,
)
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Heat, Meeting
from pitapp.packs.models import DayPlan, PlannedHeat, PlannedStep, PlanRecord
from tests.support import RACE_MORNING, PageClient

KEY = UUID("5b1f52c6-6a0c-4d0e-8f3c-0d5c1f2a7b11")
START = datetime(2026, 5, 16, 8, 30, tzinfo=UTC)
MOST_OCTETS = 75  # RFC 5545, 3.1: lines SHOULD NOT be longer than 75 octets, the break left out


def lines_of(data: bytes) -> list[str]:
    """The content lines, unfolded by the rule of RFC 5545, 3.1; fails on what breaks it."""
    assert data.endswith(b"\r\n")
    raw = data[:-2].split(b"\r\n")
    lines: list[bytes] = []
    for each in raw:
        assert b"\r" not in each
        assert b"\n" not in each
        assert len(each) <= MOST_OCTETS, each
        each.decode()  # no character is torn in two
        if each[:1] in (b" ", b"\t"):
            lines[-1] += each[1:]
        else:
            lines.append(each)
    return [line.decode() for line in lines]


def values(lines: list[str], name: str) -> list[str]:
    return [line.split(":", 1)[1] for line in lines if re.match(rf"{name}[;:]", line)]


def component(lines: list[str], name: str) -> list[list[str]]:
    """The lines of each component of that name."""
    parts: list[list[str]] = []
    inside = False
    for line in lines:
        if line == f"BEGIN:{name}":
            inside = True
            parts.append([])
        elif line == f"END:{name}":
            inside = False
        elif inside:
            parts[-1].append(line)
    return parts


def entry(title: str = "Heat 1", **more: Any) -> CalendarEntry:
    times = {"starts_at": START, "ends_at": START + timedelta(minutes=5)}
    return CalendarEntry(**{"key": "heat/1", "title": title, **times, **more})


def meeting(zone: str = "Europe/Lisbon", name: str = "") -> Meeting:
    return Meeting(id=1, day=START.date(), time_zone=zone, name=name)


def file_of(*entries: CalendarEntry, zone: str = "Europe/Lisbon", place: str = "") -> bytes:
    return calendar_file(meeting(zone), place, KEY, entries, RACE_MORNING)


def test_lines_are_folded_and_texts_escaped_as_the_standard_says() -> None:
    """RFC 5545, 3.1 (folding, CRLF) and 3.3.11: a comma, a semicolon, a backslash, a line break."""
    title = "Längster Läufer; der 3. von 4, \\ am Ende\nund noch ein Überhang " + "ü" * 80
    lines = lines_of(file_of(entry(title)))
    (written,) = values(lines, "SUMMARY")
    escaped = title.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    assert written == escaped.replace("\n", "\\n")
    (read,) = vobject.readOne(file_of(entry(title)).decode()).vevent_list
    assert read.summary.value == title


def test_the_reader_of_these_tests_unfolds_the_standards_own_example() -> None:
    """The example of RFC 5545, 3.1."""
    folded = b"DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"
    assert lines_of(folded) == [
        "DESCRIPTION:This is a long description that exists on a long line."
    ]


def test_what_the_standard_asks_of_each_component_is_there() -> None:
    """RFC 5545, 3.6 to 3.6.6: what is REQUIRED."""
    alarms = (Alarm("Heat 1 at 09:30", 15), Alarm("over", at_end=True))
    lines = lines_of(file_of(entry(alarms=alarms)))
    assert (lines[0], lines[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    assert values(lines, "VERSION") == ["2.0"]
    assert len(values(lines, "PRODID")) == 1
    (event,) = component(lines, "VEVENT")
    for name in ("UID", "DTSTAMP", "DTSTART", "DTEND"):
        assert len(values(event, name)) == 1, name
    assert re.fullmatch(r"\d{8}T\d{6}Z", values(event, "DTSTAMP")[0])
    first, last = component(lines, "VALARM")
    assert values(first, "ACTION") == ["DISPLAY"]
    assert values(first, "DESCRIPTION") == ["Heat 1 at 09:30"]
    assert values(first, "TRIGGER") == ["-PT15M"]
    (trigger,) = [line for line in last if line.startswith("TRIGGER")]
    assert re.fullmatch("TRIGGER;RELATED=END:(PT0S|P0D)", trigger)  # 3.3.6: no time at all
    (zone,) = component(lines, "VTIMEZONE")
    assert values(zone, "TZID") == ["Europe/Lisbon"]
    for rule in component(lines, "STANDARD") + component(lines, "DAYLIGHT"):
        for name in ("DTSTART", "TZOFFSETFROM", "TZOFFSETTO"):
            assert len(values(rule, name)) == 1
    assert "DTSTART;TZID=Europe/Lisbon:20260516T093000" in event


def test_a_meeting_by_utc_needs_no_zone() -> None:
    """RFC 5545, 3.3.5, form 2: a moment in UTC ends with Z and has no TZID."""
    lines = lines_of(file_of(entry(), zone="UTC"))
    assert values(lines, "DTSTART") == ["20260516T083000Z"]
    assert component(lines, "VTIMEZONE") == []


@pytest.mark.parametrize(
    ("moment", "local", "offset_h"),
    [
        # New York's rule since 2007 as RFC 5545, 3.6.5 gives it: second Sunday of March to first of
        # November, -0500 and -0400.
        (datetime(2026, 3, 8, 6, 59, tzinfo=UTC), "20260308T015900", -5),
        (datetime(2026, 3, 8, 7, 1, tzinfo=UTC), "20260308T030100", -4),
        (datetime(2026, 11, 1, 7, 1, tzinfo=UTC), "20261101T020100", -5),
    ],
)
def test_the_time_zone_changes_when_the_standards_example_does(
    moment: datetime, local: str, offset_h: int
) -> None:
    data = file_of(
        entry(starts_at=moment, ends_at=moment + timedelta(minutes=5)), zone="America/New_York"
    )
    lines = lines_of(data)
    assert local in values(component(lines, "VEVENT")[0], "DTSTART")
    begun = []
    for kind in ("STANDARD", "DAYLIGHT"):
        for rule in component(lines, kind):
            (first,), (to,) = values(rule, "DTSTART"), values(rule, "TZOFFSETTO")
            for date in [first, *(",".join(values(rule, "RDATE")).split(","))]:
                if date and date <= local:
                    begun.append((date, to))
    assert max(begun)[1] == f"-{-offset_h:02d}00"
    (read,) = vobject.readOne(data.decode()).vevent_list
    assert read.dtstart.value.astimezone(UTC) == moment


def uids(data: bytes) -> dict[str, tuple[str, int, str, str]]:
    """Title → UID, SEQUENCE, DTSTART and STATUS of each event."""
    return {
        values(event, "SUMMARY")[0]: (
            values(event, "UID")[0],
            int(values(event, "SEQUENCE")[0]),
            values(event, "DTSTART")[0],
            values(event, "STATUS")[0],
        )
        for event in component(lines_of(data), "VEVENT")
    }


@pytest.fixture
def day(db: sqlite3.Connection) -> int:
    """A meeting with two heats and a marshalling."""
    item = Meeting(day=START.date(), time_zone="Europe/Lisbon", name="Invented day")
    times = [Entry("heat", START), Entry("marshal", START + timedelta(minutes=8))]
    times.append(Entry("heat", START + timedelta(minutes=40)))
    meeting_id, _ = store.save_meeting(db, item, RACE_MORNING, times)
    return meeting_id


def taken(client: PageClient, day: int, query: str = "") -> bytes:
    answer = client.get(f"/meetings/{day}/calendar.ics{query}")
    assert answer.status_code == 200
    assert answer.content_type == "text/calendar; charset=utf-8"
    return answer.get_data()


def test_a_moved_heat_moves_in_the_calendar_and_so_does_one_put_back(
    client: PageClient, db: sqlite3.Connection, day: int
) -> None:
    first = uids(taken(client, day))
    assert list(first) == ["Heat 1", "Marshal 1", "Heat 2"]
    heat = store.heats(db, day)[2]
    tokens = [
        store.shift_heats(
            db, store.heat(db, heat.id), timedelta(minutes=5), following=False, now=RACE_MORNING
        )
        for _ in range(2)
    ]
    moved = uids(taken(client, day))
    assert moved["Heat 1"] == first["Heat 1"]
    assert moved["Heat 2"][0] == first["Heat 2"][0]
    assert moved["Heat 2"][1] > first["Heat 2"][1]
    assert (first["Heat 2"][2], moved["Heat 2"][2]) == ("20260516T101000", "20260516T102000")
    for token in reversed(tokens):
        undo.undo(db, token, RACE_MORNING)
    back = uids(taken(client, day))
    assert back["Heat 2"][2] == first["Heat 2"][2]
    assert back["Heat 2"][1] > moved["Heat 2"][1]


def test_a_removed_heat_is_cancelled_and_a_done_one_rings_no_more(
    client: PageClient, db: sqlite3.Connection, day: int
) -> None:
    before = uids(taken(client, day))
    heats = store.heats(db, day)
    store.remove(db, "heats", heats[2].id, RACE_MORNING)
    store.finish_heat(db, heats[0].id, RACE_MORNING)
    data = taken(client, day)
    after = uids(data)
    assert after["Heat 2"][0] == before["Heat 2"][0]
    assert after["Heat 2"][1] > before["Heat 2"][1]
    assert after["Heat 2"][3] == "CANCELLED"
    assert len(component(lines_of(data), "VALARM")) == 1  # marshalling alone
    assert component(lines_of(taken(client, day, "?ring=0")), "VALARM") == []


def test_entries_keep_their_uid_in_a_copy_on_another_machine(
    client: PageClient, db: sqlite3.Connection, day: int, tmp_path: Any
) -> None:
    text = "".join(document.write(db, RACE_MORNING))
    other: Flask = create_app(tmp_path / "other")
    other.test_client_class = PageClient
    there = other.extensions["pitapp.db"].connection()
    with closing(document.read(io.BytesIO(text.encode()))) as contents, transaction(there):
        document.take(there, contents)
    elsewhere: Any = other.test_client()
    assert uids(taken(elsewhere, day)) == uids(taken(client, day))
    other.extensions["pitapp.db"].close()


def plan_record(sequence: int = 0, *steps: PlannedStep) -> PlanRecord:
    heats = tuple(
        PlannedHeat(
            heat_id=number,
            title=f"Heat {number}",
            starts_at=START + timedelta(minutes=40 * number),
            pack_id=number,
            percent=100,
            cell_v=4.2,
            full=True,
        )
        for number in (1, 2)
    )
    plan = DayPlan(heats=heats, steps=steps)
    return PlanRecord(
        meeting_id=1, used_mah=2000, made_at=RACE_MORNING, plan=plan, sequence=sequence
    )


def step(pack_id: int, kind: Any, begins_min: int, amps: float = 5.0) -> PlannedStep:
    begins = START + timedelta(minutes=begins_min)
    return PlannedStep(
        pack_id=pack_id,
        kind=kind,
        begins_at=begins,
        ends_at=begins + timedelta(minutes=30),
        amps=amps,
        output=1,
    )


def heats(*numbers: int) -> list[Heat]:
    return [
        Heat(id=each, meeting_id=1, number=each, starts_at=START + timedelta(minutes=40 * each))
        for each in numbers
    ]


def test_charges_ring_as_they_begin_and_end_and_a_new_plan_moves_them() -> None:
    first = plan_record(0, step(1, "charge", 0), step(2, "charge", 40), step(1, "storage", 120, 0))
    entries = charge_entries(first, heats(1, 2), {1: "A", 2: "B"})
    assert [each.key for each in entries] == ["charge/heat/1", "charge/heat/2"]
    assert [each.before_min for each in entries[0].alarms] == [0, 0]
    assert [each.at_end for each in entries[0].alarms] == [False, True]
    assert entries[0].title == "Charge pack A: 5.0 A, output 1"
    (named, *_) = charge_entries(first, heats(1), {1: "A"}, {None: "Large one"})
    assert named.title == "Charge pack A: 5.0 A, Large one, output 1"
    again = charge_entries(
        plan_record(1, step(2, "charge", 35), step(2, "storage", 120, -1)), heats(1, 2), {2: "B"}
    )
    by_key = {each.key: each for each in again}
    assert by_key["charge/heat/2"].starts_at == START + timedelta(minutes=35)
    assert by_key["charge/heat/2"].sequence == 1
    assert by_key["charge/heat/1"].cancelled
    assert not by_key["storage/pack/2"].cancelled


def test_a_charge_that_is_stopped_and_taken_up_again_is_two_entries() -> None:
    pieces = [
        step(1, "charge", begins).model_copy(update={"piece": piece, "pieces": 2})
        for piece, begins in ((1, -40), (2, -5))
    ]
    entries = charge_entries(plan_record(0, *pieces), heats(1, 2), {1: "A"})
    assert [each.key for each in entries] == ["charge/heat/1", "charge/heat/1/2"]


def test_a_heat_lasts_as_long_as_the_class_says() -> None:
    entries = heat_entries(meeting(), heats(1), [], 300, 10)
    assert entries[0].ends_at - entries[0].starts_at == timedelta(minutes=5)
    assert entries[0].alarms == (Alarm("Heat 1 at 10:10", 10),)


def test_the_screen_leads_to_the_file(client: PageClient, day: int) -> None:
    assert f'href="/meetings/{day}/calendar"' in client.get(f"/meetings/{day}").get_data(
        as_text=True
    )
    page = client.get(f"/meetings/{day}/calendar").get_data(as_text=True)
    assert f'action="/meetings/{day}/calendar.ics"' in page
    assert client.get("/meetings/99/calendar").status_code == 404


@pytest.mark.parametrize("name", ["Round\n3", "Round \r\n 3", "Round\u20283"])
def test_a_name_of_several_lines_is_one_line_in_the_file(
    client: PageClient, db: sqlite3.Connection, day: int, name: str
) -> None:
    with transaction(db):
        db.execute("UPDATE meetings SET name = ? WHERE id = ?", (name, day))
    answer = client.get(f"/meetings/{day}/calendar.ics")
    assert answer.status_code == 200
    assert b"\r\nNAME:Round 3\r\n" in answer.data
