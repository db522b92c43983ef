"""Leads and balance: wire gauge, resistance, voltage drop, copper mass, corner weights."""

from __future__ import annotations

import math
from typing import NamedTuple

from pitapp.limits import number, whole

COPPER_OHM_M_20C = 1.7241e-8
COPPER_PER_K_20C = 0.00393
COPPER_G_PER_CM3 = 8.89


def awg_diameter_mm(awg: int) -> float:
    """Diameter of a solid wire of a gauge number: 0.127·92^((36 − n)/39) mm.

    A stranded lead of the same gauge has the same copper area and a larger outside.

    Args:
        awg: gauge number, 0 to 40, whole.

    Returns:
        The diameter in mm.

    Raises:
        ValueError: the gauge is not a whole number from 0 to 40.

    Source: ASTM B258, standard nominal diameters of solid round wire.

    >>> round(awg_diameter_mm(12), 3)
    2.053
    """
    return 0.127 * float(92 ** ((36 - whole(awg, "wire gauge", 0, 40)) / 39))


def _copper_area_mm2(awg: int) -> float:
    return math.pi * awg_diameter_mm(awg) ** 2 / 4


def _length_mm(value: float) -> float:
    return number(value, "lead's length", 0, 100_000, unit="mm")


def lead_resistance_ohm(awg: int, length_mm: float, temperature_c: float = 20.0) -> float:
    """Resistance of copper along its length: ρ₂₀·(1 + α₂₀·(t − 20))·l/A.

    Args:
        awg: gauge number, 0 to 40.
        length_mm: 0 to 100 000 mm; there and back is two lengths.
        temperature_c: of the copper, −50 to 200 °C.

    Returns:
        The resistance in ohm; plugs and solder joints are not counted.

    Raises:
        ValueError: a figure is out of range.

    Source: IEC 60028, annealed copper: ρ₂₀ = 1.7241e-8 Ω·m, α₂₀ = 0.00393 per K.

    >>> round(lead_resistance_ohm(12, 1000) * 1000, 3)
    5.211
    """
    area_m2 = _copper_area_mm2(awg) * 1e-6
    length_m = _length_mm(length_mm) / 1000
    warmer_k = number(temperature_c, "lead's temperature", -50, 200, unit="°C") - 20
    return COPPER_OHM_M_20C * (1 + COPPER_PER_K_20C * warmer_k) * length_m / area_m2


def lead_drop_v(awg: int, length_mm: float, current_a: float, temperature_c: float = 20.0) -> float:
    """Voltage lost along a lead: I·R.

    Args:
        awg: gauge number, 0 to 40.
        length_mm: 0 to 100 000 mm; there and back is two lengths.
        current_a: 0 to 1000 A.
        temperature_c: of the copper, −50 to 200 °C.

    Returns:
        The drop in V.

    Raises:
        ValueError: a figure is out of range.

    Source: Ohm's law with `lead_resistance_ohm`.

    >>> round(lead_drop_v(12, 200, 50), 4)
    0.0521
    """
    current = number(current_a, "current", 0, 1000, unit="A")
    return current * lead_resistance_ohm(awg, length_mm, temperature_c)


def lead_mass_g(awg: int, length_mm: float) -> float:
    """Mass of a lead's copper: density·A·l. The insulation is not counted: a real lead is heavier.

    Args:
        awg: gauge number, 0 to 40.
        length_mm: 0 to 100 000 mm.

    Returns:
        The copper's mass in grams.

    Raises:
        ValueError: a figure is out of range.

    Source: IEC 60028, density of annealed copper 8.89 g/cm³ at 20 °C.

    >>> round(lead_mass_g(12, 1000), 1)
    29.4
    """
    return COPPER_G_PER_CM3 * _copper_area_mm2(awg) * _length_mm(length_mm) / 1000


class CornerWeights(NamedTuple):
    """Four scales under four tyres, summed up; percentages of the total."""

    total_g: float
    front_percent: float
    left_percent: float
    cross_percent: float


def corner_weights(
    front_left_g: float, front_right_g: float, rear_left_g: float, rear_right_g: float
) -> CornerWeights:
    """Total, front %, left % and cross % (front right + rear left) of a car on four scales.

    Args:
        front_left_g: 0 to 50 000 g, as are `front_right_g`, `rear_left_g` and `rear_right_g`.

    Returns:
        A `CornerWeights`: grams and percent.

    Raises:
        ValueError: a weight is out of range or all four are zero.

    Source: definition; that cross is front right + rear left is common practice, no source.

    >>> corner_weights(350, 340, 330, 330).total_g
    1350.0
    >>> round(corner_weights(350, 340, 330, 330).cross_percent, 2)
    49.63
    """
    front_left = number(front_left_g, "front left weight", 0, 50_000, unit="g")
    front_right = number(front_right_g, "front right weight", 0, 50_000, unit="g")
    rear_left = number(rear_left_g, "rear left weight", 0, 50_000, unit="g")
    rear_right = number(rear_right_g, "rear right weight", 0, 50_000, unit="g")
    total = number(
        front_left + front_right + rear_left + rear_right, "car's weight", 1, 200_000, unit="g"
    )
    return CornerWeights(
        total_g=total,
        front_percent=100 * (front_left + front_right) / total,
        left_percent=100 * (front_left + rear_left) / total,
        cross_percent=100 * (front_right + rear_left) / total,
    )


class Shift(NamedTuple):
    """What moving one part does; signs follow the sign of the move."""

    centre_moved_mm: float
    moved_g: float
    moved_percent: float


def shift_for_move(part_g: float, moved_mm: float, total_g: float, span_mm: float) -> Shift:
    """What moving a part does: the centre of mass by part·moved/total, the load by part·moved/span.

    Along the car the span is the wheelbase and the load goes from one axle to the other; across it
    the span is the track width and the load goes from one side to the other.

    Args:
        part_g: 0 to `total_g`.
        moved_mm: signed, −1000 to 1000 mm.
        total_g: car ready to race, 10 to 50 000 g.
        span_mm: wheelbase or track width, 20 to 2000 mm.

    Returns:
        A `Shift`: the centre's move in mm, the load moved in g and in % of the total.

    Raises:
        ValueError: a figure is out of range or the part is heavier than the car.

    Source: moment balance (statics).

    >>> shift_for_move(50, 20, 1350, 250).moved_g
    4.0
    """
    total = number(total_g, "car's weight", 10, 50_000, unit="g")
    part = number(part_g, "part's weight", 0, total, unit="g")
    moved = number(moved_mm, "move", -1000, 1000, unit="mm")
    span = number(span_mm, "span", 20, 2000, unit="mm")
    return Shift(
        centre_moved_mm=part * moved / total,
        moved_g=part * moved / span,
        moved_percent=100 * part * moved / (span * total),
    )
