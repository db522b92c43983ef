"""A pack's readings as plots over time."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pitapp.packs.health.condition import cell_spread_v
from pitapp.packs.models import Reading
from pitapp.web.clock import moment_text
from pitapp.web.view.plot import Axis, Plot, Point, Series, plot

A_DAY_S = 86_400.0


def plots(readings: Sequence[Reading]) -> list[Plot]:
    """Resistance of the worst cell, and how far the cells are apart after a charge.

    Each where at least two of the readings (newest first) have it.
    """
    quantities: tuple[tuple[str, str, Axis, Callable[[Reading], float | None]], ...] = (
        ("resistance-plot", "Resistance of the worst cell", Axis("resistance", "mΩ"), _worst_mohm),
        ("spread-plot", "Cells apart after a charge", Axis("apart", "mV", 0), _spread_mv),
    )
    drawn = []
    for name, title, axis, read in quantities:
        measured = [
            (item, value) for item in reversed(readings) if (value := read(item)) is not None
        ]
        if len(measured) < 2:
            continue
        first = measured[0][0].read_at
        points = [
            Point(
                (item.read_at - first).total_seconds() / A_DAY_S, value, moment_text(item.read_at)
            )
            for item, value in measured
        ]
        across = Axis("days since the first", digits=0)
        drawn.append(plot(name, title, across, axis, [Series(title, points, joined=True)]))
    return drawn


def _worst_mohm(item: Reading) -> float | None:
    return max(item.cell_ohm) * 1000 if item.cell_ohm else None


def _spread_mv(item: Reading) -> float | None:
    return cell_spread_v(item.cell_v) * 1000 if item.cell_v and item.after_charge else None
