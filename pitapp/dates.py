"""Days and moments: one range for all of them, one way to write them down, one way to read them.

Whatever comes in (a form, a sheet, a file of everything, a row of a copy, an address, the clock) goes
by this module, so that what is taken can be shown, sent and read back. Pure: no clock.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, tzinfo
from typing import Annotated, Any

from pydantic import AfterValidator, AwareDatetime, BeforeValidator, PlainSerializer

FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2200, 12, 31)
EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
LATEST = datetime(2200, 12, 31, 23, 59, 59, tzinfo=UTC)
RANGE = "The year must lie between 2000 and 2200."
HOW_DAY = "Write a day like 2026-05-03."
HOW_MOMENT = "Write the day and the time like 2026-05-03 10:32."
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_STAMP = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z", re.ASCII)
_WALL_CLOCK = re.compile(
    r"(?:(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})"
    r"|(?P<day2>\d{1,2})\.(?P<month2>\d{1,2})\.(?P<year2>\d{4}))"
    r"[T ]+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,]0+)?)?",
    re.ASCII,
)


def day_in_range(day: date) -> date:
    """The day as it came, if its year is from 2000 to 2200.

    Raises:
        ValueError: it is not.
    """
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError(RANGE)
    return day


def moment_in_range(moment: datetime) -> datetime:
    """The moment as it came, if its year in UTC is from 2000 to 2200.

    Raises:
        ValueError: it is not, or it carries no time zone.
    """
    if moment.tzinfo is None:
        raise ValueError("A moment must carry its time zone.")
    if not EARLIEST <= moment <= LATEST:
        raise ValueError(RANGE)
    return moment


def nearest(moment: datetime) -> datetime:
    """The moment, or the end of the range that it lies beyond.

    >>> to_db(nearest(datetime(9999, 1, 1, tzinfo=UTC)))
    '2200-12-31T23:59:59Z'
    """
    return min(max(moment, EARLIEST), LATEST)


def to_db(moment: datetime) -> str:
    """An aware moment as it is kept and sent: UTC, whole seconds, sortable as text.

    >>> to_db(datetime(2026, 5, 3, 9, 30, tzinfo=UTC))
    '2026-05-03T09:30:00Z'
    """
    if moment.tzinfo is None:
        raise ValueError("A moment must carry its time zone.")
    text = moment.astimezone(UTC).replace(microsecond=0, tzinfo=None).isoformat()
    return f"{text}Z"


def from_db(text: str) -> datetime:
    """The moment that `stamp` wrote.

    Raises:
        ValueError: it is not written so, or out of range.

    >>> from_db('2026-05-03T09:30:00Z').hour
    9
    """
    if not _STAMP.fullmatch(text):
        raise ValueError("A moment is written like 2026-05-03T09:30:00Z.")
    return moment_in_range(datetime.fromisoformat(text))


def read_day(text: str) -> date:
    """A day as browsers, files and rows write it.

    Raises:
        ValueError: it is not written like 2026-05-03, or out of range.
    """
    if not _DAY.fullmatch(text.strip()):
        raise ValueError(HOW_DAY)
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f"There is no such day. {HOW_DAY}") from None
    return day_in_range(day)


def read_wall_clock(text: str) -> tuple[date, time]:
    """A day and a time as typed, picked, or written in a sheet; the range is `moment_at`'s to judge.

    Raises:
        ValueError: it is none.

    >>> read_wall_clock("3.5.2026 9:30") == read_wall_clock("2026-05-03T09:30")
    True
    """
    match = _WALL_CLOCK.fullmatch(text.strip()[:40])
    if match is None:
        raise ValueError(HOW_MOMENT)
    read = match.groupdict()
    try:
        day = date(
            int(read["year"] or read["year2"]),
            int(read["month"] or read["month2"]),
            int(read["day"] or read["day2"]),
        )
        return day, time(int(read["hour"]), int(read["minute"]), int(read["second"] or 0))
    except ValueError:
        raise ValueError(f"There is no such day or time. {HOW_MOMENT}") from None


def moment_at(day: date, clock: time, zone: tzinfo, after: datetime | None = None) -> datetime:
    """The moment at which the wall clock of `zone` shows `clock` on `day`, in UTC.

    An hour that comes twice, when summer time ends, is taken the first time round, or the second
    if only that comes later than `after`.

    >>> from zoneinfo import ZoneInfo
    >>> moment_at(date(2026, 5, 3), time(9, 30), ZoneInfo("Europe/Lisbon")).isoformat()
    '2026-05-03T08:30:00+00:00'

    Raises:
        ValueError: the clock skips that time on that day, or it is out of range.
    """
    if not FIRST_DAY.year - 1 <= day.year <= LAST_DAY.year + 1:
        raise ValueError(RANGE)
    candidates = [
        datetime.combine(day, clock, zone).replace(fold=fold).astimezone(UTC) for fold in (0, 1)
    ]
    if candidates[0].astimezone(zone).time() != clock:
        raise ValueError(
            f"There is no {clock:%H:%M} on this day: summer time begins and the clock skips it."
        )
    second_time = after is not None and candidates[0] <= after < candidates[1]
    return moment_in_range(candidates[second_time])


def _from_text(read: Any) -> BeforeValidator:
    return BeforeValidator(lambda value: read(value) if isinstance(value, str) else value)


Day = Annotated[date, _from_text(read_day), AfterValidator(day_in_range)]
Moment = Annotated[
    AwareDatetime,
    _from_text(from_db),
    AfterValidator(moment_in_range),
    PlainSerializer(to_db, return_type=str, when_used="json"),
]
