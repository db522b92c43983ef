"""What is asked about before a run is logged: readings that hardly any run gives."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from pitapp.runs.models import Run

COOLER_THAN_AIR_K = 3.0
"""A can this much under the air was not run, or was mistyped; a thermometer is not out by more."""
HOTTEST_CAN_C = 130.0
"""Far over what magnets bear (80 °C by the weakest grade, makers' tables, secondary source)."""
LAP_FACTOR = 2.0
"""How far a best lap may lie from the usual one here; our own margin."""
FEWEST_LAPS = 3

Doubt = tuple[str, str]


def doubts(item: Run, others: Sequence[Run], earlier: Run | None = None) -> list[Doubt]:
    """The fields of a run that were probably mistyped, each with what is odd.

    Args:
        item: the run as it would be logged.
        others: runs of the same car at the same track.
        earlier: the run as it stands; what is left as it was is not asked about again.

    Returns:
        (field, "cool", "hot", "short" or "long").
    """
    raised: list[Doubt] = []
    for name, can_c in (("can_c", item.can_c), ("second_can_c", item.second_can_c)):
        if can_c is None:
            continue
        if item.air_c is not None and can_c < item.air_c - COOLER_THAN_AIR_K:
            raised.append((name, "cool"))
        elif can_c > HOTTEST_CAN_C:
            raised.append((name, "hot"))
    laps = [run.best_lap_s for run in others if run.best_lap_s is not None and run.id != item.id]
    if item.best_lap_s is not None and len(laps) >= FEWEST_LAPS:
        usual = median(laps)
        if item.best_lap_s * LAP_FACTOR < usual:
            raised.append(("best_lap_s", "short"))
        elif item.best_lap_s > usual * LAP_FACTOR:
            raised.append(("best_lap_s", "long"))
    if earlier is None:
        return raised
    return [each for each in raised if getattr(item, each[0]) != getattr(earlier, each[0])]
