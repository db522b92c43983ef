"""What a part has run, in words, and whether that is over its limit."""

from __future__ import annotations

from pitapp.kit.wear.models import Hours, WornPart


def hours_text(hours: Hours) -> str:
    """Runs and minutes, and what the minutes lack.

    >>> hours_text(Hours(1, 5.5)), hours_text(Hours(23, 118.2, 2))
    ('1 run, 6 min', '23 runs, 118 min (2 without a time)')
    """
    runs = f"{hours.runs} run{'' if hours.runs == 1 else 's'}"
    lacking = f" ({hours.untimed} without a time)" if hours.untimed else ""
    return f"{runs}, {round(hours.minutes)} min{lacking}"


def limit_text(part: WornPart) -> str:
    """The limit in words; empty without one."""
    runs = f"{part.most_runs} runs" if part.most_runs is not None else ""
    minutes = f"{part.most_minutes:.10g} min" if part.most_minutes is not None else ""
    return " or ".join(filter(None, (runs, minutes)))


def over_limit(part: WornPart, hours: Hours) -> bool:
    """Whether the part has run as much as its limit says, in runs or in minutes; that is due."""
    runs = part.most_runs is not None and hours.runs >= part.most_runs
    return runs or (part.most_minutes is not None and hours.minutes >= part.most_minutes)


def overdue_text(part: WornPart, hours: Hours) -> str:
    """How much a part has run against its limit, for the Board.

    >>> from datetime import UTC, datetime
    >>> belt = WornPart(car_id=1, name="Belt", since=datetime(2026, 5, 3, tzinfo=UTC), most_runs=40)
    >>> overdue_text(belt, Hours(41, 205))
    'Belt: 41 runs, 205 min (limit 40 runs)'
    """
    return f"{part.name}: {hours_text(hours)} (limit {limit_text(part)})"
