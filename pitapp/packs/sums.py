"""The sums of one pack put together: what its label says, and what a charge would be."""

from __future__ import annotations

from typing import NamedTuple

from pitapp.packs.cell import (
    ChargePhases,
    StorageStep,
    charge_phases,
    state_of_charge_percent,
    storage_step,
)
from pitapp.packs.label import cutoff_v, pack_energy_wh
from pitapp.packs.models import NOMINAL_CELL_V
from pitapp.packs.safety import AirTravel, air_travel, charge_current_a


class LabelSums(NamedTuple):
    """What follows from a label alone."""

    energy_wh: float
    travel: AirTravel
    most_a: float
    cutoff_v: float
    full_v: float


class ChargeSums(NamedTuple):
    """What follows from a resting voltage: how full, how long to full and to storage, all about."""

    percent: float
    phases: ChargePhases
    charge_mah: float
    storage: StorageStep

    @property
    def minutes(self) -> float:
        """Time to full in minutes."""
        return self.phases.total_s / 60


def label_sums(
    cells: int, capacity_mah: float, c_rate: float, nominal_v: float | None = None
) -> LabelSums:
    """Energy, what it means on an aircraft, most charge current, cut-off and full voltage.

    Raises:
        ValueError: a figure is out of range.

    >>> found = label_sums(2, 6000, 1)
    >>> round(found.energy_wh, 1), found.most_a, found.cutoff_v, found.full_v
    (44.4, 6.0, 6.4, 8.4)
    """
    energy = pack_energy_wh(capacity_mah, nominal_v or cells * NOMINAL_CELL_V)
    return LabelSums(
        energy_wh=energy,
        travel=air_travel(energy),
        most_a=charge_current_a(capacity_mah, c_rate),
        cutoff_v=cutoff_v(cells),
        full_v=cells * 4.2,
    )


def charge_sums(
    capacity_mah: float,
    current_a: float,
    cell_ohm: float,
    resting_cell_v: float,
    discharge_a: float,
) -> ChargeSums:
    """How full a cell resting at that voltage is, and what brings it to full or to storage.

    Raises:
        ValueError: a figure is out of range; a cell under 3.0 V must not be charged.
    """
    storage = storage_step(capacity_mah, resting_cell_v, current_a, discharge_a)
    percent = state_of_charge_percent(resting_cell_v)
    return ChargeSums(
        percent=percent,
        phases=charge_phases(capacity_mah, current_a, cell_ohm, percent),
        charge_mah=(100 - percent) / 100 * capacity_mah,
        storage=storage,
    )
