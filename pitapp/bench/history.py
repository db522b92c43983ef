"""A motor's checks as plots over time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta, tzinfo
from math import ceil

from pitapp.bench.models import MotorCheck
from pitapp.web.clock import moment_text
from pitapp.web.view.plot import Axis, Level, Plot, Point, Series, clock_axis, plot
from pitapp.web.view.ticks import nice_ticks

LONG_DAYS = 300
A_DAY_S = 86_400


def plots(checks: Sequence[MotorCheck], new: MotorCheck | None, zone: tzinfo) -> list[Plot]:
    """Kv and current over time, each where at least two checks have it."""
    measured: tuple[tuple[str, str, Axis, Callable[[MotorCheck], float | None]], ...] = (
        ("kv-plot", "Kv over time", Axis("Kv", "rpm/V", 0), lambda check: check.kv_rpm_per_v),
        ("current-plot", "Current over time", Axis("current", "A"), lambda check: check.current_a),
    )
    drawn = []
    for name, title, axis, read in measured:
        dated = [(check, value) for check in reversed(checks) if (value := read(check)) is not None]
        if len(dated) < 2:
            continue
        then = read(new) if new else None
        levels = [] if then is None else [Level(then, "when new")]
        across, place = _time_axis([check for check, _ in dated], zone)
        points = [
            Point(place(check), value, moment_text(check.checked_at), f"/bench/checks/{check.id}")
            for check, value in dated
        ]
        drawn.append(
            plot(name, title, across, axis, [Series(title, points, joined=True)], levels=levels)
        )
    return drawn


def _time_axis(
    checks: Sequence[MotorCheck], zone: tzinfo
) -> tuple[Axis, Callable[[MotorCheck], float]]:
    """An axis of days, or of the time of day when all was done within one."""
    first, last = checks[0].checked_at.astimezone(zone), checks[-1].checked_at.astimezone(zone)
    if first.date() == last.date():
        return clock_axis("time", zone), lambda check: check.checked_at.timestamp()
    start = first.date()
    span_days = (last.date() - start).days

    def text(days: float) -> str:
        day = start + timedelta(days=days)
        return f"{day:%b %y}" if span_days > LONG_DAYS else f"{day.day} {day:%b}"

    def place(check: MotorCheck) -> float:
        local = check.checked_at.astimezone(zone)
        into_day = local.hour * 3600 + local.minute * 60 + local.second
        return (local.date() - start).days + into_day / A_DAY_S

    return Axis("day", text=text, ticks=whole_days), place


def whole_days(low: float, high: float, most: int) -> list[float]:
    """At most `most` whole numbers in [low, high], evenly apart; the first one above if there is none.

    >>> whole_days(-0.2, 1.4, 4), whole_days(0, 30, 4)
    ([0.0, 1.0], [0.0, 10.0, 20.0, 30.0])
    """
    return [v for v in nice_ticks(low, high, most) if v == int(v)] or [float(ceil(low))]
