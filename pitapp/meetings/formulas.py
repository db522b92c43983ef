"""Wall-clock arithmetic of a race day: timetables, summer-time changes, heats past midnight."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import NamedTuple

from pitapp.dates import moment_at, moment_in_range
from pitapp.limits import number, whole
from pitapp.meetings.models import Heat, HeatKind, Meeting

MOST_HEATS = 60
LONGEST_GAP = timedelta(hours=12)
AFTER_LAST_HEAT = timedelta(hours=1)
_TIME = re.compile(
    r"(?<![\d:.])(\d{1,2})([:.h])(\d{2})(?![\d:.]\d)(?!\d)(?:\s*([ap])\.?m\b\.?)?", re.IGNORECASE
)
_TYPED = re.compile(r"(\d{1,2}?)[:.,h]?(\d{2})?\s*(?:([ap])\.?m\.?)?", re.IGNORECASE)


class Entry(NamedTuple):
    """An entry of a timetable to be: its kind, and its start (aware)."""

    kind: HeatKind
    starts_at: datetime


def even_starts(first: datetime, interval_min: float, heats: int) -> list[datetime]:
    """Starts that follow each other by the same interval, which is time that really passes.

    Valid for an interval of 1 to 720 minutes and 1 to 60 heats.

    >>> starts = even_starts(datetime(2026, 5, 3, 23, 40, tzinfo=UTC), 25, 2)
    >>> [start.isoformat() for start in starts]
    ['2026-05-03T23:40:00+00:00', '2026-05-04T00:05:00+00:00']

    Raises:
        ValueError: a figure out of range.
    """
    interval = timedelta(minutes=number(interval_min, "interval", 1, 720, unit="min"))
    many = whole(heats, "number of heats", 1, MOST_HEATS)
    first = first.astimezone(UTC)
    return [moment_in_range(first + place * interval) for place in range(many)]


def pasted_timetable(day: date, text: str, zone: tzinfo) -> list[datetime]:
    """The starts found in pasted lines; other words on a line, and lines of words, are ignored.

    A time that comes round again within 12 hours of the one before is past midnight.

    >>> from zoneinfo import ZoneInfo
    >>> starts = pasted_timetable(date(2026, 5, 3), "Heat 4  23:40", ZoneInfo("Europe/Lisbon"))
    >>> starts[0].isoformat()
    '2026-05-03T22:40:00+00:00'

    Raises:
        ValueError: names the line that has no time, more than one, or one out of order.
    """
    starts: list[datetime] = []
    for place, line in enumerate(text.splitlines(), 1):
        if not any(character.isdigit() for character in line):
            continue
        try:
            for clock in _times(line):
                day, start = _following(day, clock, zone, starts[-1] if starts else None)
                starts.append(start)
        except ValueError as error:
            raise ValueError(f"Line {place}, “{line.strip()[:40]}”: {error}") from None
    if not starts:
        raise ValueError("Write at least one time, such as 9:30.")
    if len(starts) > MOST_HEATS:
        raise ValueError(f"That is {len(starts)} times; a day takes at most {MOST_HEATS}.")
    return starts


def clock_time(text: str) -> time:
    """The time of day that was typed; the colon may be left out.

    >>> clock_time("930"), clock_time("9:30"), clock_time("21.05"), clock_time("9:30 pm")
    (datetime.time(9, 30), datetime.time(9, 30), datetime.time(21, 5), datetime.time(21, 30))

    Raises:
        ValueError: that is no time of day.
    """
    match = _TYPED.fullmatch(text.strip()) if text.isascii() else None
    if match is None:
        raise ValueError("Write a time such as 9:30 or 930.")
    return _time(match[1], match[2] or "0", match[3])


def _time(hours: str, minutes: str, half: str | None) -> time:
    hour = int(hours)
    if half:
        if not 1 <= hour <= 12:
            raise ValueError("No clock shows that time.")
        hour = hour % 12 + (12 if half.lower() == "p" else 0)
    try:
        return time(hour, int(minutes))
    except ValueError:
        raise ValueError("No clock shows that time.") from None


def _times(line: str) -> list[time]:
    """The times on a line: one among words, or several with nothing but separators between."""
    matches = list(_TIME.finditer(line))
    with_colon = [each for each in matches if each[2] == ":"]
    if len(with_colon) == 1:
        matches = with_colon
    if not matches and re.fullmatch(r"\s*\d{3,4}\s*", line, re.ASCII):
        return [clock_time(line)]
    if not matches:
        raise ValueError("there is no time such as 9:30.")
    if len(matches) > 1 and _TIME.sub("", line).strip(" ,;\t"):
        raise ValueError("there is more than one time among the words; keep one a line.")
    return [_time(each[1], each[3], each[4]) for each in matches]


def _following(
    day: date, clock: time, zone: tzinfo, before: datetime | None
) -> tuple[date, datetime]:
    start = moment_at(day, clock, zone, before)
    if before is None or start > before:
        return day, start
    day += timedelta(days=1)
    start = moment_at(day, clock, zone, before)
    if start - before > LONGEST_GAP:
        raise ValueError("this is not later than the time before it.")
    return day, start


def with_marshalling(
    starts: Sequence[datetime], kind: HeatKind, marshal_after_min: float | None
) -> list[Entry]:
    """The entries of a timetable, each followed by marshalling that many minutes later if given.

    >>> start = datetime(2026, 5, 3, 9, 30, tzinfo=UTC)
    >>> [entry.kind for entry in with_marshalling([start], "heat", 8)]
    ['heat', 'marshal']

    Raises:
        ValueError: the minutes are not from 1 to 240.
    """
    entries = [Entry(kind, start) for start in starts]
    if marshal_after_min is not None:
        gap = timedelta(minutes=number(marshal_after_min, "minutes to marshalling", 1, 240))
        entries += [Entry("marshal", moment_in_range(start + gap)) for start in starts]
    return sorted(entries, key=lambda entry: entry.starts_at)


def clock_text(meeting: Meeting, starts_at: datetime) -> str:
    """A start on the wall clock of the track, with the weekday when it is not the meeting's day.

    >>> meeting = Meeting(day=date(2026, 5, 3), time_zone="Europe/Lisbon")
    >>> clock_text(meeting, datetime(2026, 5, 3, 23, 5, tzinfo=UTC))
    'Mon 00:05'
    """
    local = starts_at.astimezone(meeting.zone)
    return f"{local:%H:%M}" if local.date() == meeting.day else f"{local:%a %H:%M}"


def until_text(starts_at: datetime, now: datetime) -> str:
    """How far off a start is, in whole minutes or days.

    >>> now = datetime(2026, 5, 3, 9, 0, tzinfo=UTC)
    >>> until_text(now + timedelta(minutes=125), now), until_text(now - timedelta(minutes=3), now)
    ('in 2 h 05 min', '3 min ago')
    """
    minutes = math.floor((starts_at - now).total_seconds() / 60)
    if abs(minutes) >= 2 * 24 * 60:
        length = f"{abs(minutes) // (24 * 60)} days"
    elif abs(minutes) >= 60:
        length = f"{abs(minutes) // 60} h {abs(minutes) % 60:02} min"
    else:
        length = f"{abs(minutes)} min"
    return "now" if minutes == 0 else f"in {length}" if minutes > 0 else f"{length} ago"


class MeetingTimes(NamedTuple):
    """A meeting with what its timetable says of now."""

    meeting: Meeting
    last_heat: datetime | None = None
    next_heat: datetime | None = None
    """The start of the first entry that is neither done nor long past."""


def meeting_of_now(
    planned: Sequence[MeetingTimes], now: datetime, ahead: timedelta
) -> Meeting | None:
    """The meeting that is on: by its day or its timetable, else the next one within `ahead`.

    The meetings come in the order of days. One whose timetable reaches past midnight stays on
    until an hour after its last heat. Of several that are on, as with two classes on one day, it
    is the one whose next heat comes first.
    """
    going = [each for each in planned if _is_on(each, now)]
    if going:
        far = datetime.max.replace(tzinfo=UTC)
        return min(going, key=lambda each: each.next_heat or far).meeting
    coming = (each.meeting for each in planned if now < _midnight(each.meeting, 0) <= now + ahead)
    return next(coming, None)


def _is_on(planned: MeetingTimes, now: datetime) -> bool:
    ends = _midnight(planned.meeting, 1)
    if planned.last_heat is not None:
        ends = max(ends, planned.last_heat + AFTER_LAST_HEAT)
    return _midnight(planned.meeting, 0) <= now < ends


def _midnight(meeting: Meeting, days_later: int) -> datetime:
    """The midnight that begins the meeting's day, or one of a later day."""
    day = meeting.day + timedelta(days=days_later)
    return datetime.combine(day, time(0), meeting.zone)


def copied_entries(meeting: Meeting, heats: Sequence[Heat], day: date) -> list[Entry]:
    """A timetable at the same times of day on another day, at the meeting's place.

    What was past midnight stays past it.

    >>> meeting = Meeting(day=date(2026, 3, 22), time_zone="Europe/Lisbon")
    >>> heat = Heat(meeting_id=1, number=1, starts_at=datetime(2026, 3, 22, 9, 30, tzinfo=UTC))
    >>> copied_entries(meeting, [heat], date(2026, 3, 29))[0].starts_at.isoformat()
    '2026-03-29T08:30:00+00:00'

    Raises:
        ValueError: the clock of that place skips one of the times on that day, or it is out of range.
    """
    entries: list[Entry] = []
    for heat in heats:
        local = heat.starts_at.astimezone(meeting.zone)
        moved = day + (local.date() - meeting.day)
        after = entries[-1].starts_at if entries else None
        starts_at = moment_at(moved, local.time(), meeting.zone, after)
        entries.append(Entry(heat.kind, starts_at))
    return entries
