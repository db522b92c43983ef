"""What a day's plan is made from, and whether that has changed since."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import datetime, timedelta

from pitapp.meetings.models import CAR_KINDS, Heat
from pitapp.packs.health.state import RUN_TAKES_SHARE, PackState
from pitapp.packs.models import MOST_HEATS, ChargerRecord

LATE = timedelta(minutes=15)


def heats_ahead(heats: Sequence[Heat], now: datetime) -> list[Heat]:
    """The car's outings that are still to come, one that is a little late included."""
    return [
        heat
        for heat in heats
        if heat.kind in CAR_KINDS and not heat.done_at and heat.starts_at > now - LATE
    ][:MOST_HEATS]


def digest(heats: Sequence[Heat], states: Sequence[PackState], charger: ChargerRecord) -> str:
    """A short text that changes when the timetable, the packs or the charger do."""
    packs = [each.pack.model_dump(mode="json") for each in states]
    content = (
        [[heat.id, heat.kind, heat.epoch_s] for heat in heats],
        packs,
        charger.model_dump(exclude={"id", "version"}),
    )
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]


def usual_run_mah(states: Sequence[PackState]) -> float:
    """What a run takes: as the charges say, else a share of the smallest pack."""
    usual = [each.usual_mah for each in states if each.usual_mah]
    if usual:
        return sum(usual) / len(usual)
    return RUN_TAKES_SHARE * min((each.pack.capacity_mah for each in states), default=5000.0)
