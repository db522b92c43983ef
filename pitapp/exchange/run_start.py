"""The start of a run as a sheet has it: by the wall clock at the track, in UTC, or both."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

from pitapp.dates import HOW_MOMENT, moment_at, moment_in_range, read_wall_clock
from pitapp.meetings.models import known_zone
from pitapp.web.clock import zone


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
            raise ValueError(f"started: When was it? {HOW_MOMENT}")
        return exact, name
    try:
        day, clock = read_wall_clock(local)
    except ValueError as error:
        raise ValueError(f"started: {error}") from None
    if exact is not None:
        in_zone = exact.astimezone(there).replace(tzinfo=None)
        if abs((in_zone - datetime.combine(day, clock)).total_seconds()) >= 60:
            raise ValueError(
                "started: This and “started UTC” are not the same moment. Empty one of them."
            )
        return exact, name
    try:
        return moment_at(day, clock, there), name
    except ValueError as error:
        raise ValueError(f"started: {error}") from None


def _utc(text: str) -> datetime:
    try:
        parsed = datetime.fromisoformat(text[:40])
        exact = parsed.astimezone(UTC) if parsed.tzinfo else parsed.replace(tzinfo=UTC)
    except (ValueError, OverflowError):
        raise ValueError(
            "started UTC: Write it like 2026-05-03T09:32:00Z, or leave it empty."
        ) from None
    try:
        return moment_in_range(exact)
    except ValueError as error:
        raise ValueError(f"started UTC: {error}") from None
