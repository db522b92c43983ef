"""A pack's condition: fit to race, look at it, retire it, each with its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from pitapp.limits import number

Level = Literal["fit to race", "look at it", "retire it"]
Condition = Literal["sound", "retired", "damaged"]
_LEVELS: tuple[Level, ...] = ("fit to race", "look at it", "retire it")


def cell_spread_v(cell_voltages_v: Sequence[float]) -> float:
    """Difference between the highest and the lowest cell of a pack.

    Args:
        cell_voltages_v: one to sixteen cells, 0 to 5 V each.

    Returns:
        The spread in V.

    Raises:
        ValueError: there is no cell, there are too many, or a voltage is out of range.

    Source: definition.

    >>> round(cell_spread_v([4.19, 4.20]), 3)
    0.01
    """
    if not 1 <= len(cell_voltages_v) <= 16:
        raise ValueError("Give the voltage of each cell, one to sixteen of them.")
    volts = [number(cell, "cell voltage", 0, 5, unit="V") for cell in cell_voltages_v]
    return max(volts) - min(volts)


class Verdict(NamedTuple):
    """The worst level that any figure earned, and one reason for each figure that is not fit."""

    level: Level
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class CareLimits:
    """Where "look at it" and "retire it" begin: common practice, no source; the user's to set."""

    spread_look_v: float = 0.02
    spread_retire_v: float = 0.05
    growth_look_percent: float = 50.0
    growth_retire_percent: float = 100.0
    age_look_months: float = 24.0
    age_retire_months: float = 48.0

    def __post_init__(self) -> None:
        for look, retire, name in (
            (self.spread_look_v, self.spread_retire_v, "spread"),
            (self.growth_look_percent, self.growth_retire_percent, "resistance growth"),
            (self.age_look_months, self.age_retire_months, "age"),
        ):
            low = number(look, f"{name} to look at", 0, 10_000)
            number(retire, f"{name} to retire at", low, 10_000)


def _worst(grades: Sequence[tuple[int, str]]) -> Verdict:
    worst = max((level for level, _ in grades), default=0)
    return Verdict(_LEVELS[worst], tuple(reason for level, reason in grades if level))


def _graded(value: float, look: float, retire: float, reason: str) -> tuple[int, str]:
    return (2 if value >= retire else 1 if value >= look else 0), reason


def spread_verdict(spread_v: float, limits: CareLimits | None = None) -> Verdict:
    """Verdict on the spread of the cells of a resting pack just after a balanced charge.

    Args:
        spread_v: 0 to 5 V, as `cell_spread_v` gives it.
        limits: where each level begins.

    Returns:
        A `Verdict` with its reason.

    Raises:
        ValueError: the spread is out of range.

    Source: common practice, no source.

    >>> spread_verdict(0.03).level
    'look at it'
    """
    limits = limits or CareLimits()
    spread = number(spread_v, "spread", 0, 5, unit="V")
    reason = f"The cells are {spread * 1000:.0f} mV apart."
    return _worst([_graded(spread, limits.spread_look_v, limits.spread_retire_v, reason)])


def resistance_verdict(
    cell_resistance_ohm: float, when_new_ohm: float, limits: CareLimits | None = None
) -> Verdict:
    """Verdict on how far a cell's resistance has grown: 100·(now/new − 1) %.

    Both readings with the same meter and at the same warmth.

    Args:
        cell_resistance_ohm: now, 0.00001 to 5 ohm.
        when_new_ohm: when new, 0.00001 to 5 ohm.
        limits: where each level begins.

    Returns:
        A `Verdict` with its reason.

    Raises:
        ValueError: a resistance is out of range.

    Source: common practice, no source.

    >>> resistance_verdict(0.0031, 0.0015).level
    'retire it'
    """
    limits = limits or CareLimits()
    now = number(cell_resistance_ohm, "cell resistance", 1e-5, 5, unit="ohm")
    new = number(when_new_ohm, "cell resistance when new", 1e-5, 5, unit="ohm")
    growth = 100 * (now / new - 1)
    reason = f"The resistance has grown by {growth:.0f} % since the pack was new."
    return _worst(
        [_graded(growth, limits.growth_look_percent, limits.growth_retire_percent, reason)]
    )


def age_verdict(age_months: float, limits: CareLimits | None = None) -> Verdict:
    """Verdict on a pack's age alone.

    Args:
        age_months: 0 to 600 months.
        limits: where each level begins.

    Returns:
        A `Verdict` with its reason.

    Raises:
        ValueError: the age is out of range.

    Source: common practice, no source.

    >>> age_verdict(30).reasons
    ('The pack is 30 months old.',)
    """
    limits = limits or CareLimits()
    age = number(age_months, "age", 0, 600, unit="months")
    reason = f"The pack is {age:.0f} months old."
    return _worst([_graded(age, limits.age_look_months, limits.age_retire_months, reason)])


def pack_verdict(verdicts: Sequence[Verdict], condition: Condition = "sound") -> Verdict:
    """The worst of several verdicts with every reason; a damaged or retired pack is never fit.

    Args:
        verdicts: from `spread_verdict`, `resistance_verdict` and `age_verdict`, as many as known.
        condition: "sound", "retired" or "damaged" (swollen, dented, punctured, torn).

    Returns:
        One `Verdict`.

    Raises:
        ValueError: the condition is none of the three.

    Source: common practice, no source.

    >>> pack_verdict([age_verdict(30), spread_verdict(0.001)]).level
    'look at it'
    >>> pack_verdict([], "damaged").level
    'retire it'
    """
    check_condition(condition)
    grades = [(_LEVELS.index(item.level), reason) for item in verdicts for reason in item.reasons]
    if condition != "sound":
        grades.insert(0, (2, CONDITION_SENTENCES[condition]))
    return _worst(grades)


CONDITION_SENTENCES: dict[str, str] = {
    "damaged": "The pack is damaged. Do not charge it. Take it outdoors, away from what burns.",
    "retired": "The pack is retired. Do not charge it.",
}


def check_condition(condition: str) -> None:
    """Raise ValueError unless the condition is one that a pack can be in."""
    if condition not in ("sound", "retired", "damaged"):
        raise ValueError("A pack's condition is sound, retired or damaged.")
