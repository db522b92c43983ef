"""Everything that a day's charge plan is made from, as it is on record."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from typing import NamedTuple

from pitapp.meetings import store as meetings
from pitapp.meetings.models import Heat, Meeting
from pitapp.packs.health.state import PackState
from pitapp.packs.models import ChargerRecord, PlanRecord
from pitapp.packs.overview import states
from pitapp.packs.planning import store
from pitapp.packs.planning.inputs import (
    away_windows,
    heats_ahead,
    marshalling_ahead,
    run_minutes,
    usual_run_mah,
)
from pitapp.packs.planning.lateness import LatePack, late_packs
from pitapp.packs.planning.staleness import changes


class PlanInputs(NamedTuple):
    """Everything that a plan is made from."""

    meeting: Meeting
    heats: list[Heat]
    states: list[PackState]
    barred: list[PackState]
    chargers: list[ChargerRecord]
    """Those that are along."""
    first_charger: ChargerRecord | None
    """The one that was written down first."""
    record: PlanRecord
    run_length_s: float | None
    marshalling: list[Heat]
    now: datetime

    @property
    def along(self) -> list[PackState]:
        """The packs that are planned with."""
        return [each for each in self.states if each.pack.id not in self.record.left_out]

    @property
    def unknown(self) -> list[PackState]:
        """The packs along of whose charge nothing is known: they are planned as empty."""
        return [each for each in self.along if each.percent is None]

    @property
    def away(self) -> list[tuple[float, float]]:
        """From and to when nobody watches, in minutes from now."""
        run_min = run_minutes(self.run_length_s)
        return away_windows(self.heats, self.marshalling, self.record, run_min, self.now)

    @property
    def changes(self) -> list[str]:
        """What has happened since that the plan does not know of."""
        return changes(
            self.record, self.heats, self.along, self.chargers, self.marshalling, self.now
        )

    @property
    def late_packs(self) -> dict[int, LatePack]:
        """By heat: each pack that the plan calls full and that will not be."""
        if self.record.plan is None or not self.chargers:
            return {}
        every = [*self.states, *self.barred]
        return late_packs(
            self.record, every, self.chargers, self.now, self.away, run_minutes(self.run_length_s)
        )


def plan_inputs(connection: sqlite3.Connection, meeting: Meeting, now: datetime) -> PlanInputs:
    """The day of that meeting, with what the last plan was made with where it has none yet."""
    race_class = meetings.class_raced(connection, meeting, meeting.car_id)
    every = states(connection)
    sound = [each for each in every if each.pack.condition == "sound"]
    record = store.plan(connection, meeting.id)
    if record is None:
        last = store.last_plan(connection)
        record = PlanRecord(
            meeting_id=meeting.id,
            used_mah=last.used_mah if last else round(usual_run_mah(sound), -1),
            most_full_min=last.most_full_min if last else 120,
            cooling_min=last.cooling_min if last else 20,
            margin_min=last.margin_min if last else 10,
            walk_min=last.walk_min if last else 5,
            made_at=now,
        )
    entries = meetings.heats(connection, meeting.id)
    return PlanInputs(
        meeting=meeting,
        heats=heats_ahead(entries, now),
        states=sound,
        barred=[each for each in every if each.pack.condition != "sound"],
        chargers=store.chargers_along(connection),
        first_charger=store.first_charger(connection),
        record=record,
        run_length_s=race_class.run_length_s if race_class else None,
        marshalling=marshalling_ahead(entries, now),
        now=now,
    )
