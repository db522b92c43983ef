"""What is due next, from the timetable and the readiness lines: the Board's one large button."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from pitapp.board.models import Due, ReadyLine
from pitapp.meetings.models import CAR_KINDS, Heat

GO = timedelta(minutes=5)
MARSHAL_LENGTH = timedelta(minutes=10)
ON_FOR = timedelta(minutes=30)


class Day(NamedTuple):
    """A timetable seen from a moment of its day."""

    coming: tuple[Heat, ...]
    """The entries still to come, marshalling included."""
    outing: Heat | None
    """The car's next outing still to come."""
    unlogged: tuple[Heat, ...]
    """Outings whose time has passed with no run logged, the latest first."""
    over: bool
    """Whether there were outings, and none is left."""


def over_at(heat: Heat) -> datetime:
    """When an entry makes room for the next: an outing at its start, marshalling ten minutes later."""
    return heat.starts_at + (MARSHAL_LENGTH if heat.kind == "marshal" else timedelta())


def log(heat: Heat) -> Due:
    """The due action "log the run of this heat"."""
    return Due(label=f"Log the run of {heat.title}", href=f"/runs/new?heat={heat.id}")


def day_at(heats: Sequence[Heat], now: datetime) -> Day:
    """Sort a timetable (in the order of time) by what is still to come at `now`."""
    opened = [heat for heat in heats if heat.done_at is None]
    outings = [heat for heat in opened if heat.kind in CAR_KINDS]
    coming = tuple(heat for heat in opened if over_at(heat) > now)
    outing = next((heat for heat in outings if heat.starts_at > now), None)
    unlogged = tuple(heat for heat in reversed(outings) if heat.starts_at <= now)
    any_outing = any(heat.kind in CAR_KINDS for heat in heats)
    return Day(coming, outing, unlogged, any_outing and not outings)


def flaggable(day: Day, now: datetime) -> Heat | None:
    """The outing that is on, or just was: begun, not logged, and no flag noted yet."""
    latest = next(iter(day.unlogged), None)
    on = latest is not None and latest.flag_at is None and now - latest.starts_at < ON_FOR
    return latest if on else None


def movable(day: Day, now: datetime) -> Heat | None:
    """From which entry on the day is moved: a heat due up to five minutes ago may be late, too."""
    if day.unlogged and now - day.unlogged[0].starts_at < GO:
        return day.unlogged[0]
    return next(iter(day.coming), None)


def due(
    day: Day,
    lines: Sequence[tuple[str, ReadyLine]],
    now: datetime,
    storage_href: str | None,
    copy_href: str | None = None,
) -> Due:
    """The one thing to do now: log, else mend what is not ready, else go; at the end, storage and a copy.

    Each line comes with the words for mending it, or none where it is never due. A line of level
    "look" is due until five
    minutes before the start; one of level "stop" stays due. Without a `storage_href` every
    pack is at storage already, without a `copy_href` no copy is wanted.
    """
    if day.unlogged:
        return log(day.unlogged[0])
    if day.over and storage_href:
        return Due(label="Packs to storage", href=storage_href)
    if day.over and copy_href:
        return Due(label="Take a copy away", href=copy_href)
    if day.over:
        return Due(label="See the day's runs", href="/runs")
    hurry = day.outing is not None and day.outing.starts_at - now < GO
    for level in ("stop",) if hurry else ("stop", "look"):
        for mend, line in lines:
            if mend and line.level == level:
                return Due(label=mend, href=line.href)
    if day.outing is not None:
        return Due(label=f"Go: {day.outing.title}", href=f"/meetings/heats/{day.outing.id}")
    return Due(label="Log a run", href="/runs/new")
