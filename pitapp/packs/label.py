"""What a pack's label comes to: its energy, and the voltage at which to stop."""

from __future__ import annotations

from collections.abc import Iterable
from string import ascii_uppercase

from pitapp.limits import number, whole


def next_mark(marks: Iterable[str]) -> str:
    """The first letter that is no pack's name yet, else the next number.

    >>> next_mark([]), next_mark(["A", "b", "7"])
    ('A', 'C')
    """
    taken = {mark.strip().upper() for mark in marks}
    letters = (letter for letter in ascii_uppercase if letter not in taken)
    return next(letters, str(len(taken) + 1))


def pack_energy_wh(capacity_mah: float, nominal_v: float) -> float:
    """Energy on a pack's label: capacity in Ah × nominal voltage.

    Args:
        capacity_mah: 10 to 100 000 mAh.
        nominal_v: of the whole pack, 1 to 80 V.

    Returns:
        The energy in Wh.

    Raises:
        ValueError: a figure is out of range.

    Source: 49 CFR 171.8, "watt-hour": rated capacity in ampere-hours × nominal voltage.

    >>> round(pack_energy_wh(6000, 7.4), 1)
    44.4
    """
    capacity = number(capacity_mah, "capacity", 10, 100_000, unit="mAh")
    return capacity / 1000 * number(nominal_v, "nominal voltage", 1, 80, unit="V")


def cutoff_v(cells: int, per_cell_v: float = 3.2) -> float:
    """Voltage of a pack under load at which to stop: cells × volts per cell.

    Args:
        cells: in series, 1 to 16.
        per_cell_v: 3.0 to 4.0 V (3.2: common practice, no source).

    Returns:
        The voltage in V.

    Raises:
        ValueError: a figure is out of range.

    Source: common practice, no source.

    >>> cutoff_v(2)
    6.4
    """
    count = whole(cells, "number of cells", 1, 16)
    return count * number(per_cell_v, "cut-off per cell", 3.0, 4.0, unit="V")
