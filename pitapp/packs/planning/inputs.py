"""Figures that a day's plan is made from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from pitapp.meetings.models import CAR_KINDS, Heat
from pitapp.packs.health.state import RUN_TAKES_SHARE, PackState
from pitapp.packs.models import MOST_HEATS, PlanRecord
from pitapp.packs.safety import CHARGE_TEMPERATURE_C

LATE = timedelta(minutes=15)
USUAL_RUN_MIN = 6.0
"""Where the class says nothing: from memory."""
WORTH_IT_MIN = 5.0
"""For less time than this no charge is taken up between two times away: our choice."""


def heats_ahead(heats: Sequence[Heat], now: datetime) -> list[Heat]:
    """The car's outings that are still to come, one that is a little late included."""
    return [
        heat
        for heat in heats
        if heat.kind in CAR_KINDS and not heat.done_at and heat.starts_at > now - LATE
    ][:MOST_HEATS]


def marshalling_ahead(heats: Sequence[Heat], now: datetime) -> list[Heat]:
    """The marshalling that is still to come, one that is a little late included."""
    return [
        heat
        for heat in heats
        if heat.kind == "marshal" and not heat.done_at and heat.starts_at > now - LATE
    ]


def away_windows(
    heats: Sequence[Heat],
    marshalling: Sequence[Heat],
    record: PlanRecord,
    run_min: float,
    now: datetime,
) -> list[tuple[float, float]]:
    """From and to when nobody watches, in minutes from now; a heat that is late begins now.

    Times with hardly a pause between them are one.
    """
    if record.watched is not False:
        return []
    starts = sorted((each.starts_at - now).total_seconds() / 60 for each in (*heats, *marshalling))
    windows: list[tuple[float, float]] = []
    for start in starts:
        begin = max(0.0, start) - record.walk_min
        end = max(0.0, start) + run_min + record.walk_min
        if windows and begin - windows[-1][1] < WORTH_IT_MIN:
            before = windows.pop()
            begin, end = before[0], max(end, before[1])
        windows.append((begin, end))
    return windows


def run_minutes(run_length_s: float | None) -> float:
    """How long a run takes: as the class says, else the usual."""
    return run_length_s / 60 if run_length_s else USUAL_RUN_MIN


def cool_at(state: PackState, run_min: float, cooling_min: float) -> datetime | None:
    """When a pack is cool enough to be charged: so long after its run, and after it was found hot."""
    moments = []
    if state.ran_at:
        moments.append(state.ran_at + timedelta(minutes=run_min + cooling_min))
    if state.warmth and (state.warmth.cell_c or 0.0) > CHARGE_TEMPERATURE_C[1]:
        moments.append(state.warmth.read_at + timedelta(minutes=cooling_min))
    return max(moments, default=None)


def usual_run_mah(states: Sequence[PackState]) -> float:
    """What a run takes: as the charges say, else a share of the smallest pack."""
    usual = [each.usual_mah for each in states if each.usual_mah]
    if usual:
        return sum(usual) / len(usual)
    return RUN_TAKES_SHARE * min((each.pack.capacity_mah for each in states), default=5000.0)
