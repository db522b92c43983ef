"""The start of a run as a sheet has it: by the wall clock at the track, in UTC, or both."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, tzinfo

from pitapp.meetings.formulas import moment
from pitapp.meetings.models import known_zone
from pitapp.web.clock import zone

_LOCAL = re.compile(
    r"(?:(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})"
    r"|(?P<day2>\d{1,2})\.(?P<month2>\d{1,2})\.(?P<year2>\d{4}))"
    r"[T ]+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,]0+)?)?",
    re.ASCII,
)
HOW = "Write the day and the time like 2026-05-03 10:32."


def read_start(local: str, zone_name: str, utc: str, home: tzinfo) -> tuple[datetime, str]:
    """The moment, and the name of its time zone (empty for the racer's own).

    An hour that comes twice when summer time ends is told apart by the UTC column.

    Raises:
        ValueError: nothing was written, or no such moment, or the two disagree.

    >>> read_start("2026-05-03 10:32", "Europe/Lisbon", "", UTC)[0].isoformat()
    '2026-05-03T09:32:00+00:00'
    """
    name = known_zone(zone_name) if zone_name else ""
    there = zone(name) if name else home
    exact = _utc(utc) if utc else None
    if not local:
        if exact is None:
            raise ValueError(f"started: When was it? {HOW}")
        return exact, name
    day, clock = _parts(local)
    if exact is not None:
        shown = exact.astimezone(there).replace(tzinfo=None)
        if abs((shown - datetime.combine(day, clock)).total_seconds()) >= 60:
            raise ValueError(
                "started: This and “started UTC” are not the same moment. Empty one of them."
            )
        return exact, name
    try:
        return moment(day, clock, there), name
    except ValueError as error:
        raise ValueError(f"started: {error}") from None


def _parts(text: str) -> tuple[date, time]:
    match = _LOCAL.fullmatch(text[:40])
    if match is None:
        raise ValueError(f"started: {HOW}")
    told = match.groupdict()
    try:
        day = date(
            int(told["year"] or told["year2"]),
            int(told["month"] or told["month2"]),
            int(told["day"] or told["day2"]),
        )
        clock = time(int(told["hour"]), int(told["minute"]), int(told["second"] or 0))
    except ValueError:
        raise ValueError(f"started: There is no such day or time. {HOW}") from None
    if not 2000 <= day.year <= 2999:
        raise ValueError("started: The year must lie between 2000 and 2999.")
    return day, clock


def _utc(text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text[:40])
        exact = found.astimezone(UTC) if found.tzinfo else found.replace(tzinfo=UTC)
    except (ValueError, OverflowError):
        raise ValueError(
            "started UTC: Write it like 2026-05-03T09:32:00Z, or leave it empty."
        ) from None
    if not 2000 <= exact.year <= 2999:
        raise ValueError("started UTC: The year must lie between 2000 and 2999.")
    return exact
