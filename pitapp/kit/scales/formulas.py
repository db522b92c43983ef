"""Where a part must go for a wanted balance."""

from __future__ import annotations

from pitapp.limits import number


def move_for_shift_mm(
    now_percent: float, wanted_percent: float, part_g: float, total_g: float, span_mm: float
) -> float:
    """How far a part must move for a wanted front or left share: (wanted − now)/100·total·span/part.

    Args:
        now_percent: share of the total in front (on the left) now, 0 to 100 %.
        wanted_percent: the share wanted, 0 to 100 %.
        part_g: what is moved, more than 0 to `total_g`.
        total_g: car ready to race, 10 to 50 000 g.
        span_mm: wheelbase (track width), 20 to 2000 mm.

    Returns:
        The move in mm, positive to the front (the left); it may be farther than the car is long.

    Raises:
        ValueError: a figure is out of range or the part is heavier than the car.

    Source: moment balance (statics).

    >>> round(move_for_shift_mm(51, 50, 50, 1350, 160), 1)
    -43.2
    """
    total = number(total_g, "car's weight", 10, 50_000, unit="g")
    part = number(part_g, "part's weight", 0.01, total, unit="g")
    span = number(span_mm, "span", 20, 2000, unit="mm")
    now = number(now_percent, "share now", 0, 100, unit="%")
    target = number(wanted_percent, "share wanted", 0, 100, unit="%")
    return (target - now) / 100 * total * span / part
