"""One lithium cell: open-circuit voltage, and charging at constant current, then constant voltage.

Open-circuit voltage of an LCO/graphite pouch cell at 0, 10 … 100 % (W. Ai et al., "Electrochemical
thermal-mechanical modelling of stress inhomogeneity in lithium-ion pouch cells", J. Electrochem.
Soc. 167 (2020) 013512, doi 10.1149/2.0122001JES, as computed by PyBaMM 26.10's parameter set
`Ai2020`), taken as straight between the points. It is a model of one cell: say "about". Cells
charged over 4.20 V are not described.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal, NamedTuple

from pitapp.limits import number

FULL_CELL_V = 4.20
EMPTY_CELL_V = 3.0
STORAGE_CELL_V = (3.80, 3.85)
"""Full and never under: University of Washington EH&S, "Stay safe when using lithium batteries"; 3.0 V
is a cut-off with margin, not the point of damage (Guo et al., Sci. Rep. 6:30248, 2016). Storage:
common practice, no source. The pack's label comes first."""

OCV_TABLE = (
    (0.0, 3.000),
    (10.0, 3.640),
    (20.0, 3.695),
    (30.0, 3.733),
    (40.0, 3.762),
    (50.0, 3.793),
    (60.0, 3.837),
    (70.0, 3.909),
    (80.0, 3.995),
    (90.0, 4.088),
    (100.0, 4.200),
)

MODEL_CELL_OHM_AH = 0.175
"""Resistance × capacity of the model cell: 71 mΩ × 2.466 Ah.

Derived: at 0.92C (2.28 A) the model cell's constant-current part ends after 54.9 min, at 84.6 %
where the table gives 4.038 V, so the rest up to 4.20 V is 2.28 A × 71 mΩ. It includes diffusion,
so it is several times what a resistance meter shows, and a high-energy cell has more of it than a
race pack: charge times computed with it come out long rather than short.
"""


def _capacity_ah(capacity_mah: float) -> float:
    return number(capacity_mah, "capacity", 10, 100_000, unit="mAh") / 1000


def open_circuit_cell_v(percent: float) -> float:
    """Resting voltage of a cell at a state of charge, from the table, straight between its points.

    Args:
        percent: 0 to 100 %.

    Returns:
        The cell's voltage in V, about.

    Raises:
        ValueError: the percentage is out of range.

    Source: the table in this module's docstring.

    >>> round(open_circuit_cell_v(50), 3), round(open_circuit_cell_v(95), 3)
    (3.793, 4.144)
    """
    charge = number(percent, "state of charge", 0, 100, unit="%")
    place = min(int(charge // 10), len(OCV_TABLE) - 2)
    (low, low_v), (high, high_v) = OCV_TABLE[place : place + 2]
    return low_v + (charge - low) / (high - low) * (high_v - low_v)


def state_of_charge_percent(resting_cell_v: float) -> float:
    """State of charge from a cell's resting voltage: the table read the other way.

    Let the pack rest before measuring: half an hour (common practice, no source).

    Args:
        resting_cell_v: per cell, 0 to 4.4 V; at and under 3.0 V it is 0 %, from 4.20 V on 100 %.

    Returns:
        0 to 100 %, about: between 20 and 60 % a hundredth of a volt is 2 to 3 %.

    Raises:
        ValueError: no single cell rests at this voltage.

    Source: the table in this module's docstring.

    >>> round(state_of_charge_percent(3.793), 1), round(state_of_charge_percent(3.85), 1)
    (50.0, 61.8)
    """
    volts = number(resting_cell_v, "resting cell voltage", 0, 4.4, unit="V")
    if volts <= EMPTY_CELL_V:
        return 0.0
    for (low, low_v), (high, high_v) in pairwise(OCV_TABLE):
        if volts <= high_v:
            return low + (volts - low_v) / (high_v - low_v) * (high - low)
    return 100.0


class ChargePhases(NamedTuple):
    """A charge in its two parts, in seconds, and the state of charge where the first ends."""

    constant_current_s: float
    constant_voltage_s: float
    turning_percent: float

    @property
    def total_s(self) -> float:
        return self.constant_current_s + self.constant_voltage_s


def charge_phases(
    capacity_mah: float,
    current_a: float,
    cell_resistance_ohm: float,
    start_percent: float = 0.0,
    end_current_a: float | None = None,
) -> ChargePhases:
    """Both parts of a charge to 4.20 V/cell: constant current, then constant voltage.

    With OCV(s) the table and R the resistance, current I flows until OCV(s) + I·R = 4.20 V. After
    that I = (4.20 − OCV)/R, and as OCV is straight in charge between two points of the table, the
    current decays there as e^(−t/τ), τ = R·ΔQ/ΔOCV: each part of the table takes
    τ·ln(I before / I after). It ends when the current has fallen to the end current. The cells of a
    pack are taken as alike and the charge as going in without loss.

    Args:
        capacity_mah: 10 to 100 000 mAh.
        current_a: 0.01 to 500 A.
        cell_resistance_ohm: one cell's, diffusion included, 0.00001 to 5 ohm.
        start_percent: state of charge at the start, 0 to 100 %.
        end_current_a: 0.0001 to 500 A; a twentieth of the capacity per hour (C/20) if not given.

    Returns:
        A `ChargePhases`, times in s.

    Raises:
        ValueError: a figure is out of range.

    Source: circuit law on the table of this module; see `MODEL_CELL_OHM_AH` for a resistance.

    >>> phases = charge_phases(2466, 2.28, 0.071)
    >>> round(phases.constant_current_s / 60, 1), round(phases.constant_voltage_s / 60, 1)
    (54.9, 28.1)
    """
    coulombs = _capacity_ah(capacity_mah) * 3600
    current = number(current_a, "charge current", 0.01, 500, unit="A")
    resistance = number(cell_resistance_ohm, "cell resistance", 1e-5, 5, unit="ohm")
    start = number(start_percent, "state of charge", 0, 100, unit="%")
    end_a = coulombs / 72_000 if end_current_a is None else end_current_a
    end_a = min(current, number(end_a, "end current", 1e-4, 500, unit="A"))

    turning = max(start, state_of_charge_percent(max(0.0, FULL_CELL_V - current * resistance)))
    constant_current_s = (turning - start) / 100 * coulombs / current

    constant_voltage_s = 0.0
    end_gap_v = end_a * resistance
    for (low, low_v), (high, high_v) in pairwise(OCV_TABLE):
        if high <= turning:
            continue
        slope_v = (high_v - low_v) / (high - low)
        gap_before = FULL_CELL_V - (low_v + (max(low, turning) - low) * slope_v)
        gap_after = max(end_gap_v, FULL_CELL_V - high_v)
        if gap_before > gap_after:
            tau_s = resistance * coulombs / 100 / slope_v
            constant_voltage_s += tau_s * math.log(gap_before / gap_after)
    return ChargePhases(constant_current_s, constant_voltage_s, turning)


def charge_time_s(
    capacity_mah: float,
    current_a: float,
    cell_resistance_ohm: float,
    start_percent: float = 0.0,
    end_current_a: float | None = None,
) -> float:
    """Time to full: constant current, then constant voltage at 4.20 V/cell; see `charge_phases`.

    Args:
        capacity_mah: 10 to 100 000 mAh.
        current_a: 0.01 to 500 A.
        cell_resistance_ohm: one cell's, diffusion included, 0.00001 to 5 ohm.
        start_percent: state of charge at the start, 0 to 100 %.
        end_current_a: 0.0001 to 500 A; C/20 if not given.

    Returns:
        The time in s, about; balancing is not counted.

    Raises:
        ValueError: a figure is out of range.

    Source: see `charge_phases`.

    >>> round(charge_time_s(6000, 6, 0.005, start_percent=20) / 60)
    51
    """
    return charge_phases(
        capacity_mah, current_a, cell_resistance_ohm, start_percent, end_current_a
    ).total_s


class StorageStep(NamedTuple):
    """What brings a pack to storage: what to do, for how long, and how much goes in or out."""

    action: Literal["charge", "discharge", "none"]
    minutes: float
    charge_mah: float
    target_cell_v: float


def storage_step(
    capacity_mah: float, resting_cell_v: float, charge_a: float, discharge_a: float
) -> StorageStep:
    """Charge or discharge to storage, 3.80 to 3.85 V/cell: (s − s at 3.825 V)·capacity / current.

    Args:
        capacity_mah: 10 to 100 000 mAh.
        resting_cell_v: per cell, 3.0 to 4.3 V; a cell under 3.0 V must not be charged.
        charge_a: charging current, 0.01 to 500 A.
        discharge_a: the charger's discharging current, 0.01 to 500 A.

    Returns:
        A `StorageStep`: minutes and mAh, both 0 for a pack that is there already.

    Raises:
        ValueError: a figure is out of range.

    Source: the table in this module's docstring; 3.80–3.85 V/cell is common practice, no source.

    >>> step = storage_step(6000, 4.2, 6.0, 2.0)
    >>> step.action, round(step.minutes), round(step.charge_mah)
    ('discharge', 77, 2564)
    """
    capacity = _capacity_ah(capacity_mah) * 1000
    volts = number(resting_cell_v, "resting cell voltage", EMPTY_CELL_V, 4.3, unit="V")
    charge = number(charge_a, "charge current", 0.01, 500, unit="A")
    discharge = number(discharge_a, "discharge current", 0.01, 500, unit="A")
    low_v, high_v = STORAGE_CELL_V
    target_v = (low_v + high_v) / 2
    if low_v <= volts <= high_v:
        return StorageStep("none", 0.0, 0.0, volts)
    missing_percent = state_of_charge_percent(target_v) - state_of_charge_percent(volts)
    charge_mah = abs(missing_percent) / 100 * capacity
    if missing_percent > 0:
        return StorageStep("charge", charge_mah * 0.06 / charge, charge_mah, target_v)
    return StorageStep("discharge", charge_mah * 0.06 / discharge, charge_mah, target_v)
