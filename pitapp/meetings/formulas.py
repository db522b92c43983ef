"""Wall-clock arithmetic of a race day: timetables, summer-time changes, heats past midnight."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import NamedTuple

from pitapp.limits import number, whole
from pitapp.meetings.models import HeatKind, Meeting

MOST_HEATS = 60
LONGEST_GAP = timedelta(hours=12)
AFTER_LAST_HEAT = timedelta(hours=1)
_TIME = re.compile(r"(?<![\d:.])(\d{1,2})[:.h](\d{2})(?![\d:.])")


class Entry(NamedTuple):
    """An entry of a timetable to be: its kind, and its start (aware)."""

    kind: HeatKind
    starts_at: datetime


def moment(day: date, clock: time, zone: tzinfo, after: datetime | None = None) -> datetime:
    """The moment at which the wall clock of `zone` shows `clock` on `day`, in UTC.

    An hour that comes twice, when summer time ends, is taken the first time round, or the second
    if only that comes later than `after`.

    >>> from zoneinfo import ZoneInfo
    >>> moment(date(2026, 5, 3), time(9, 30), ZoneInfo("Europe/Lisbon")).isoformat()
    '2026-05-03T08:30:00+00:00'

    Raises:
        ValueError: the clock skips that time on that day.
    """
    found = [
        datetime.combine(day, clock, zone).replace(fold=fold).astimezone(UTC) for fold in (0, 1)
    ]
    if found[0].astimezone(zone).time() != clock:
        raise ValueError(
            f"There is no {clock:%H:%M} on this day: summer time begins and the clock skips it."
        )
    return found[1] if after is not None and found[0] <= after < found[1] else found[0]


def even_timetable(
    day: date, first: time, interval_min: float, heats: int, zone: tzinfo
) -> list[datetime]:
    """Starts that follow each other by the same interval, which is time that really passes.

    Valid for an interval of 1 to 720 minutes and 1 to 60 heats.

    >>> from zoneinfo import ZoneInfo
    >>> starts = even_timetable(date(2026, 5, 3), time(23, 40), 25, 2, ZoneInfo("Europe/Lisbon"))
    >>> [start.isoformat() for start in starts]
    ['2026-05-03T22:40:00+00:00', '2026-05-03T23:05:00+00:00']

    Raises:
        ValueError: a figure out of range, or the first time does not exist on that day.
    """
    interval = number(interval_min, "interval", 1, 720, unit="min")
    many = whole(heats, "number of heats", 1, MOST_HEATS)
    start = moment(day, first, zone)
    return [start + place * timedelta(minutes=interval) for place in range(many)]


def pasted_timetable(day: date, text: str, zone: tzinfo) -> list[datetime]:
    """The starts found in pasted lines, one time a line; other words on a line are ignored.

    A time up to 12 hours "earlier" than the line before is past midnight, on the next day.

    >>> from zoneinfo import ZoneInfo
    >>> starts = pasted_timetable(date(2026, 5, 3), "Heat 4  23:40", ZoneInfo("Europe/Lisbon"))
    >>> starts[0].isoformat()
    '2026-05-03T22:40:00+00:00'

    Raises:
        ValueError: names the line that has no time, more than one, or one out of order.
    """
    starts: list[datetime] = []
    for place, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        try:
            day, start = _following(day, _only_time(line), zone, starts[-1] if starts else None)
        except ValueError as error:
            raise ValueError(f"Line {place}, “{line.strip()[:40]}”: {error}") from None
        starts.append(start)
    if not starts:
        raise ValueError("Write at least one time, such as 9:30.")
    if len(starts) > MOST_HEATS:
        raise ValueError(f"That is {len(starts)} times; a day takes at most {MOST_HEATS}.")
    return starts


def _only_time(line: str) -> time:
    found = _TIME.findall(line)
    if not found:
        raise ValueError("there is no time such as 9:30.")
    if len(found) > 1:
        raise ValueError("there is more than one time; keep one a line.")
    try:
        return time(int(found[0][0]), int(found[0][1]))
    except ValueError:
        raise ValueError("no clock shows that time.") from None


def _following(
    day: date, clock: time, zone: tzinfo, before: datetime | None
) -> tuple[date, datetime]:
    start = moment(day, clock, zone, before)
    if before is None or start > before:
        return day, start
    day += timedelta(days=1)
    start = moment(day, clock, zone, before)
    if start - before > LONGEST_GAP:
        raise ValueError("this is not later than the line before.")
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
        entries += [Entry("marshal", start + gap) for start in starts]
    return sorted(entries, key=lambda entry: entry.starts_at)


def meeting_of_now(
    meetings: Sequence[tuple[Meeting, datetime | None]], now: datetime, ahead: timedelta
) -> Meeting | None:
    """The meeting that is on: by its day or its timetable, else the next one within `ahead`.

    Each meeting comes with the start of its last heat, or None, in the order of days. One whose
    timetable reaches past midnight stays the meeting of now until an hour after its last heat.
    """
    coming: Meeting | None = None
    for item, last_heat in meetings:
        begins = datetime.combine(item.day, time(0), item.zone)
        ends = datetime.combine(item.day + timedelta(days=1), time(0), item.zone)
        if last_heat is not None and last_heat + AFTER_LAST_HEAT > ends:
            ends = last_heat + AFTER_LAST_HEAT
        if begins <= now < ends:
            return item
        if coming is None and now < begins <= now + ahead:
            coming = item
    return coming
