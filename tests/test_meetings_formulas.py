"""Wall-clock arithmetic, checked against the published rules of summer time."""

from __future__ import annotations

import calendar
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitapp.dates import moment_at as moment
from pitapp.meetings.formulas import (
    MeetingTimes,
    clock_text,
    clock_time,
    even_starts,
    meeting_of_now,
    pasted_timetable,
    until_text,
    with_marshalling,
)
from pitapp.meetings.models import Meeting

LISBON = ZoneInfo("Europe/Lisbon")
NEW_YORK = ZoneInfo("America/New_York")
RACE_DAY = date(2026, 5, 16)
# Directive 2000/84/EC of the European Parliament and of the Council, articles 2 and 3: summer time
# lasts from 1.00 a.m. GMT on the last Sunday of March to 1.00 a.m. GMT on the last Sunday of October.
SUMMER_BEGINS = date(2026, 3, 29)
SUMMER_ENDS = date(2026, 10, 25)


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc, arg-type]


def last_sunday(year: int, month: int) -> datetime:
    days = calendar.monthcalendar(year, month)
    day = max(week[calendar.SUNDAY] for week in days)
    return datetime(year, month, day, 1, tzinfo=UTC)


@given(
    st.dates(date(2003, 1, 1), date(2035, 12, 31)),
    st.times().map(lambda t: t.replace(second=0, microsecond=0)),
)
@settings(max_examples=300)
def test_lisbon_keeps_the_directive(day: date, clock: time) -> None:
    begins, ends = last_sunday(day.year, 3), last_sunday(day.year, 10)
    wall = datetime.combine(day, clock, UTC)
    summer = wall - timedelta(hours=1)
    if begins <= wall < begins + timedelta(hours=1):
        with pytest.raises(ValueError, match="summer time begins"):
            moment(day, clock, LISBON)
    else:
        expected = summer if begins <= summer < ends else wall
        assert moment(day, clock, LISBON) == expected


def test_an_even_timetable_passes_real_minutes_when_summer_time_ends() -> None:
    # 00:30 and 01:00 are summer time (UTC + 1); 01:00 GMT is 01:00 by the new time.
    starts = even_starts(moment(SUMMER_ENDS, time(0, 30), LISBON), 30, 4)
    assert starts == [
        utc(2026, 10, 24, 23, 30),
        utc(2026, 10, 25, 0, 0),
        utc(2026, 10, 25, 0, 30),
        utc(2026, 10, 25, 1, 0),
    ]
    walls = [f"{start.astimezone(LISBON):%H:%M}" for start in starts]
    assert walls == ["00:30", "01:00", "01:30", "01:00"]


def test_the_hour_that_comes_twice_is_taken_in_the_order_of_the_list() -> None:
    assert pasted_timetable(SUMMER_ENDS, "00:50\n01:20\n01:50\n01:20\n02:10", LISBON) == [
        utc(2026, 10, 24, 23, 50),
        utc(2026, 10, 25, 0, 20),
        utc(2026, 10, 25, 0, 50),
        utc(2026, 10, 25, 1, 20),
        utc(2026, 10, 25, 2, 10),
    ]


def test_a_time_that_the_clock_skips_is_refused_by_its_line() -> None:
    with pytest.raises(ValueError, match=r"Line 2, “01:20”: There is no 01:20 on this day"):
        pasted_timetable(SUMMER_BEGINS, "00:40\n01:20", LISBON)


def test_new_york_skips_its_hour_at_two() -> None:
    # Energy Policy Act of 2005 (Public Law 109-58), section 110: from the second Sunday of March to
    # the first Sunday of November; 15 U.S.C. 260a: at 2 o'clock antemeridian.
    with pytest.raises(ValueError, match="02:30"):
        moment(date(2026, 3, 8), time(2, 30), NEW_YORK)
    assert moment(date(2026, 3, 8), time(3, 0), NEW_YORK) == utc(2026, 3, 8, 7, 0)
    assert moment(date(2026, 11, 1), time(0, 59), NEW_YORK) == utc(2026, 11, 1, 4, 59)
    assert moment(date(2026, 11, 1), time(2, 0), NEW_YORK) == utc(2026, 11, 1, 7, 0)


def test_a_list_that_runs_past_midnight_goes_on_to_the_next_day() -> None:
    assert pasted_timetable(RACE_DAY, "22:50, 23:40, 00:05; 0:55", UTC) == [
        utc(2026, 5, 16, 22, 50),
        utc(2026, 5, 16, 23, 40),
        utc(2026, 5, 17, 0, 5),
        utc(2026, 5, 17, 0, 55),
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("9:30", ["09:30"]),
        ("930\n1010", ["09:30", "10:10"]),
        ("Heat 3   10:12\n\nHeat 7\t11:40\n", ["10:12", "11:40"]),
        ("Round, after lunch\n1:05 PM\n1:45 p.m.", ["13:05", "13:45"]),
        ("16.05.2026 10:12 touring cars", ["10:12"]),
        ("9h30\n10h10", ["09:30", "10:10"]),
        ("8.05 8.45 9.25", ["08:05", "08:45", "09:25"]),
    ],
)
def test_pasted_lines_are_understood(text: str, expected: list[str]) -> None:
    starts = pasted_timetable(RACE_DAY, text, LISBON)
    assert [f"{start.astimezone(LISBON):%H:%M}" for start in starts] == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "at least one time"),
        ("Qualifying", "at least one time"),
        ("9:30\nHeat 4", "Line 2, “Heat 4”: there is no time"),
        ("9:30 to 9:36", "more than one time"),
        ("25:10", "No clock"),
        ("9:75", "No clock"),
        ("10:00\n9:30", "Line 2, “9:30”: this is not later"),
        ("9:30\n9:30", "not later"),
        ("\n".join(f"{9 + n // 60:02}:{n % 60:02}" for n in range(61)), "at most 60"),
    ],
)
def test_pasted_lines_are_refused_by_name(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        pasted_timetable(RACE_DAY, text, UTC)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("930", time(9, 30)),
        ("0930", time(9, 30)),
        (" 9:30 ", time(9, 30)),
        ("9", time(9, 0)),
        ("2105", time(21, 5)),
        ("12:15 am", time(0, 15)),
        ("12:15 pm", time(12, 15)),
        ("9 PM", time(21, 0)),
    ],
)
def test_a_time_of_day_is_understood(text: str, expected: time) -> None:
    assert clock_time(text) == expected


@pytest.mark.parametrize(
    "text", ["", "x", "24:00", "9:60", "13 pm", "0 am", "-930", "93012", "９30"]
)
def test_a_time_of_day_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"Write a time|No clock"):
        clock_time(text)


@pytest.mark.parametrize(
    ("interval", "many"),
    [(0, 5), (-5, 5), (float("nan"), 5), (float("inf"), 5), (721, 5), (40, 0), (40, -1), (40, 61)],
)
def test_an_impossible_timetable_is_refused(interval: float, many: int) -> None:
    with pytest.raises(ValueError, match=r"interval|number of heats"):
        even_starts(utc(2026, 5, 16, 9), interval, many)


def test_marshalling_follows_each_heat() -> None:
    starts = [utc(2026, 5, 16, 9, 0), utc(2026, 5, 16, 9, 40)]
    entries = with_marshalling(starts, "heat", 8)
    assert [(entry.kind, f"{entry.starts_at:%H:%M}") for entry in entries] == [
        ("heat", "09:00"),
        ("marshal", "09:08"),
        ("heat", "09:40"),
        ("marshal", "09:48"),
    ]
    assert [entry.kind for entry in with_marshalling(starts, "final", None)] == ["final", "final"]
    for minutes in (0, -8, 241, float("nan")):
        with pytest.raises(ValueError, match="minutes to marshalling"):
            with_marshalling(starts, "heat", minutes)


def meeting(day: date, zone: str = "Europe/Lisbon", number: int = 1) -> Meeting:
    return Meeting(id=number, day=day, time_zone=zone)


AHEAD = timedelta(hours=36)


@pytest.mark.parametrize(
    ("now", "is_on"),
    [
        (utc(2026, 5, 14, 10, 59), False),  # more than 36 hours before Lisbon's midnight
        (utc(2026, 5, 14, 11, 0), True),
        (utc(2026, 5, 16, 12, 0), True),
        (utc(2026, 5, 16, 22, 59), True),
        (utc(2026, 5, 16, 23, 0), False),  # midnight in Lisbon, UTC + 1 in May
    ],
)
def test_the_meeting_of_now_goes_by_the_day_at_the_track(now: datetime, is_on: bool) -> None:
    found = meeting_of_now([MeetingTimes(meeting(RACE_DAY))], now, AHEAD)
    assert (found is not None) is is_on


def test_a_meeting_in_tokyo_is_on_while_it_is_yesterday_in_greenwich() -> None:
    # Japan keeps UTC + 9 all year (from memory).
    at = utc(2026, 5, 15, 23, 30)
    assert (
        meeting_of_now([MeetingTimes(meeting(RACE_DAY, "Asia/Tokyo"))], at, timedelta()) is not None
    )


def test_a_meeting_past_midnight_lasts_an_hour_beyond_its_last_heat() -> None:
    evening, next_day = meeting(RACE_DAY), meeting(date(2026, 5, 17), number=2)
    listed = [
        MeetingTimes(evening, utc(2026, 5, 16, 23, 50)),
        MeetingTimes(next_day),
    ]  # 00:50 in Lisbon
    assert meeting_of_now(listed, utc(2026, 5, 17, 0, 49), AHEAD) == evening
    assert meeting_of_now(listed, utc(2026, 5, 17, 0, 50), AHEAD) == next_day


def test_of_two_classes_on_one_day_the_next_heat_decides() -> None:
    touring, buggy = meeting(RACE_DAY), meeting(RACE_DAY, number=2)
    last, now = utc(2026, 5, 16, 15), utc(2026, 5, 16, 9)

    def current(touring_next: datetime | None, buggy_next: datetime | None) -> Meeting | None:
        listed = [MeetingTimes(touring, last, touring_next), MeetingTimes(buggy, last, buggy_next)]
        return meeting_of_now(listed, now, AHEAD)

    assert current(utc(2026, 5, 16, 9, 10), utc(2026, 5, 16, 9, 30)) == touring
    assert current(utc(2026, 5, 16, 9, 50), utc(2026, 5, 16, 9, 30)) == buggy
    assert current(None, utc(2026, 5, 16, 9, 30)) == buggy
    assert current(None, None) == touring


def test_clock_text_names_the_day_of_a_heat_past_midnight() -> None:
    # 16 May 2026 is a Saturday (any calendar).
    assert clock_text(meeting(RACE_DAY), utc(2026, 5, 16, 22, 59)) == "23:59"
    assert clock_text(meeting(RACE_DAY), utc(2026, 5, 16, 23, 0)) == "Sun 00:00"


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        (0, "now"),
        (59, "now"),
        (60, "in 1 min"),
        (-1, "1 min ago"),
        (3600, "in 1 h 00 min"),
        (47 * 3600, "in 47 h 00 min"),
        (48 * 3600, "in 2 days"),
    ],
)
def test_until(seconds: int, expected: str) -> None:
    now = utc(2026, 5, 16, 9, 0)
    assert until_text(now + timedelta(seconds=seconds), now) == expected
