"""A pack's readings as plots over time."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pitapp.packs.care import cell_spread_v
from pitapp.packs.models import Reading
from pitapp.web.clock import moment_text
from pitapp.web.plot import Axis, Plot, Point, Series, plot

A_DAY_S = 86_400.0


def plots(readings: Sequence[Reading]) -> list[Plot]:
    """Resistance of the worst cell, and how far the cells are apart after a charge.

    Each where at least two of the readings (newest first) have it.
    """
    wanted: tuple[tuple[str, str, Axis, Callable[[Reading], float | None]], ...] = (
        ("resistance-plot", "Resistance of the worst cell", Axis("resistance", "mΩ"), _worst_mohm),
        ("spread-plot", "Cells apart after a charge", Axis("apart", "mV", 0), _spread_mv),
    )
    found = []
    for name, title, axis, read in wanted:
        known = [(one, value) for one in reversed(readings) if (value := read(one)) is not None]
        if len(known) < 2:
            continue
        first = known[0][0].read_at
        points = [
            Point((one.read_at - first).total_seconds() / A_DAY_S, value, moment_text(one.read_at))
            for one, value in known
        ]
        across = Axis("days since the first", digits=0)
        found.append(plot(name, title, across, axis, [Series(title, points, joined=True)]))
    return found


def _worst_mohm(one: Reading) -> float | None:
    return max(one.cell_ohm) * 1000 if one.cell_ohm else None


def _spread_mv(one: Reading) -> float | None:
    return cell_spread_v(one.cell_v) * 1000 if one.cell_v and one.after_charge else None
