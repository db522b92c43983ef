"""Whether a charge may be started, and what a pack means on a passenger aircraft.

A figure by which somebody can be hurt has its source beside it on the screen, and how it is known:
read in the issuing body's own pages (named), "from a secondary source", "our own margin", or "rule
of thumb, no source"; never from memory under a source's name. They stand in `packs/safety.py`
(limits of a charge, aircraft), `packs/charging/prompts.py` (the steps of a charge),
`templates/packs/_first_aid.html` (an emergency: away, help, people, things; short, its sources
folded away beneath), `drive/inputs.py` (the can) and `drive/forms.py`. No number of minutes cools a
pack; a threshold at which skin burns is no limit of a product; what counts for cargo is not for
passengers; `tests/test_packs_cautions.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from pitapp.limits import number, whole
from pitapp.packs.cell import EMPTY_CELL_V
from pitapp.packs.health.condition import CONDITION_SENTENCES, Condition, check_condition

CHARGE_TEMPERATURE_C = (0.0, 40.0)
"""Cell temperature while charging: US Fire Administration, "Battery Fire Safety". Colder, charging
plates lithium (Petzl & Danzer, J. Power Sources 254 (2014) 80-87). The label comes first."""

MAKERS_CHARGE_C = (10.0, 45.0)
"""Where makers of chargers begin to slow down in the cold, and where they stop in the heat (JEITA
settings, Texas Instruments SLUSD89B, 2019). Said beside the limit, judged by nothing."""

OVERFULL_CELL_V = 4.25
"""Over this a cell is not charged: our own margin over 4.20 V."""

TOO_COLD = "Let them warm to {least} or more in a room first, never on a heater."
TOO_HOT = "Let them cool to the air around them, in any case to {most} or less."
"""No number of minutes cools a pack: none was found that is published."""

RefusalName = Literal[
    "damaged",
    "retired",
    "rate over label",
    "wrong cell count",
    "cell under 3.0 V",
    "cell over 4.25 V",
    "too cold",
    "too hot",
    "balance lead not plugged in",
]


class Refusal(NamedTuple):
    """One reason why a charge must not be started: its name, and a sentence for the racer."""

    name: RefusalName
    sentence: str


def charge_refusals(
    *,
    cells: int,
    capacity_mah: float,
    label_c_rate: float,
    current_a: float,
    pack_voltage_v: float,
    cell_temperature_c: float,
    balance_lead_plugged_in: bool,
    condition: Condition = "sound",
    cell_voltages_v: Sequence[float] = (),
) -> tuple[Refusal, ...]:
    """Every reason against starting a charge; none means that nothing here speaks against it.

    Args:
        cells: in series, as set on the charger, 1 to 16.
        capacity_mah: 10 to 100 000 mAh.
        label_c_rate: most charge rate on the label, 0.1 to 20 C (1 where the label says nothing).
        current_a: as set on the charger, 0.01 to 500 A.
        pack_voltage_v: measured, 0 to 80 V.
        cell_temperature_c: −50 to 150 °C.
        balance_lead_plugged_in: whether it is.
        condition: "sound", "retired" or "damaged".
        cell_voltages_v: each cell's, if measured, 0 to 5 V.

    Returns:
        A tuple of `Refusal`.

    Raises:
        ValueError: a figure is out of range.

    Source: 0 to 40 °C: US Fire Administration; 3.0 V: University of Washington EH&S; 4.25 V: our
    own margin; the label's rate: common practice, no source.

    >>> [refusal.name for refusal in charge_refusals(
    ...     cells=3, capacity_mah=6000, label_c_rate=1, current_a=9, pack_voltage_v=7.5,
    ...     cell_temperature_c=-1, balance_lead_plugged_in=True)]
    ['wrong cell count', 'rate over label', 'too cold']
    """
    count = whole(cells, "number of cells", 1, 16)
    allowed_a = charge_current_a(capacity_mah, label_c_rate)
    current = number(current_a, "charge current", 0.01, 500, unit="A")
    pack_v = number(pack_voltage_v, "pack voltage", 0, 80, unit="V")
    warmth = number(cell_temperature_c, "cell temperature", -50, 150, unit="°C")
    measured = [number(cell, "cell voltage", 0, 5, unit="V") for cell in cell_voltages_v]
    check_condition(condition)

    refusals: list[Refusal] = []
    if condition == "damaged":
        refusals.append(Refusal("damaged", CONDITION_SENTENCES["damaged"]))
    if condition == "retired":
        refusals.append(Refusal("retired", CONDITION_SENTENCES["retired"]))
    refusals += _voltage_refusals(count, pack_v, measured)
    if current > allowed_a * (1 + 1e-9):
        refusals.append(
            Refusal(
                "rate over label",
                f"{current:g} A is more than the label allows ({allowed_a:g} A). Set less.",
            )
        )
    coldest, hottest = CHARGE_TEMPERATURE_C
    if warmth < coldest:
        sentence = f"The cells are at {warmth:g} °C. {TOO_COLD.format(least=f'{coldest:g} °C')}"
        refusals.append(Refusal("too cold", sentence))
    if warmth > hottest:
        sentence = f"The cells are at {warmth:g} °C. {TOO_HOT.format(most=f'{hottest:g} °C')}"
        refusals.append(Refusal("too hot", sentence))
    if not balance_lead_plugged_in:
        sentence = "Plug in the balance lead: without it no charger sees a single cell run over."
        refusals.append(Refusal("balance lead not plugged in", sentence))
    return tuple(refusals)


def _voltage_refusals(count: int, pack_v: float, measured: Sequence[float]) -> list[Refusal]:
    def fits(cells: int) -> bool:
        return EMPTY_CELL_V * cells <= pack_v <= OVERFULL_CELL_V * cells

    refusals: list[Refusal] = []
    others = [str(cells) for cells in range(1, 17) if cells != count and fits(cells)]
    counted_wrong = bool(measured) and len(measured) != count
    wrong = counted_wrong or (not fits(count) and bool(others))
    if wrong:
        readings = (
            f"{len(measured)} cells were measured"
            if counted_wrong
            else f"{pack_v:g} V is what {' or '.join(others)} in series would show"
        )
        refusals.append(Refusal("wrong cell count", f"{count} cells are set, but {readings}."))
    lowest = min(measured) if measured else pack_v / count
    highest = max(measured) if measured else pack_v / count
    if lowest < EMPTY_CELL_V and (measured or not wrong):
        sentence = f"A cell is at {lowest:.2f} V, under 3.0 V. Do not charge it: retire the pack."
        refusals.append(Refusal("cell under 3.0 V", sentence))
    if highest > OVERFULL_CELL_V and (measured or not wrong):
        sentence = (
            f"A cell is at {highest:.2f} V, over 4.25 V. Do not charge it; keep away and watch."
        )
        refusals.append(Refusal("cell over 4.25 V", sentence))
    return refusals


def charge_current_a(capacity_mah: float, c_rate: float) -> float:
    """Current of a charge rate: capacity in Ah × C.

    Args:
        capacity_mah: 10 to 100 000 mAh.
        c_rate: 0.1 to 20 per hour; 1 unless the label allows more.

    Returns:
        The current in A.

    Raises:
        ValueError: a figure is out of range.

    Source: definition of the C rate.

    >>> charge_current_a(6000, 1)
    6.0
    """
    capacity = number(capacity_mah, "capacity", 10, 100_000, unit="mAh")
    return capacity / 1000 * number(c_rate, "charge rate", 0.1, 20, unit="C")


class AirTravel(NamedTuple):
    """What a spare pack means on a passenger aircraft: a level, a sentence and its source."""

    level: Literal["carry on", "ask the airline", "not allowed"]
    sentence: str
    source: str = (
        "US Transportation Security Administration; at most 20 up to 100 Wh: IATA Dangerous Goods "
        "Regulations 2026, from a secondary source. The airline decides."
    )


def air_travel(energy_wh: float) -> AirTravel:
    """What a spare pack's energy means on a passenger aircraft.

    Args:
        energy_wh: as printed on the pack, more than 0 to 10 000 Wh.

    Returns:
        An `AirTravel`: up to 100 Wh, up to 160 Wh, or more.

    Raises:
        ValueError: the energy is out of range.

    Source: Transportation Security Administration (100 and 160 Wh, cabin only, ends protected, two
    with approval); IATA Dangerous Goods Regulations 2026 by way of a secondary source (20 at most,
    none damaged). The airline decides. What counts for cargo (charged to 30 %) is not for passengers.

    >>> air_travel(44.4).level
    'carry on'
    """
    energy = number(energy_wh, "energy", 0, 10_000, unit="Wh", above=True)
    cabin = "In the cabin only, never in the hold, ends protected. None that is damaged."
    if energy <= 100:
        return AirTravel(
            "carry on", f"About {energy:.0f} Wh, up to 100 Wh: at most 20 such. {cabin}"
        )
    if energy <= 160:
        return AirTravel(
            "ask the airline",
            f"About {energy:.0f} Wh, over 100 Wh. Ask the airline first; two at most. {cabin}",
        )
    return AirTravel(
        "not allowed",
        f"About {energy:.0f} Wh, over 160 Wh. Do not take it on a passenger aircraft.",
    )
