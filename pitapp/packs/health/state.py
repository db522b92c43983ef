"""How a pack stands: its verdict, how full it is and since when, and whether storage is due.

Worked out from the newest entry of each kind; no clock and no database.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Literal, NamedTuple

from pitapp.packs.cell import (
    EMPTY_CELL_V,
    MODEL_CELL_OHM_AH,
    STORAGE_CELL_V,
    charge_phases,
    open_circuit_cell_v,
    state_of_charge_percent,
)
from pitapp.packs.health.condition import (
    Verdict,
    age_verdict,
    cell_spread_v,
    pack_verdict,
    resistance_verdict,
    spread_verdict,
)
from pitapp.packs.models import Charge, InCar, Pack, Reading, Storage

NEAR_STORAGE_V = 0.03
"""A resting cell this near to storage is left as it is: our choice, no source."""
RUN_TAKES_SHARE = 0.6
"""Share of a pack that a run is taken to use until its own charges say better: from memory."""
FULL_PERCENT = 95.0
"""From here on a pack may be raced as it is: our choice."""
HEATS_RUN_LATE = timedelta(minutes=30)
"""In less a pack is not run, cooled and charged again: our choice."""
MOST_CELL_V = 4.4
DAYS_A_MONTH = 30.4375

Happened = Literal["charging", "full", "part", "run", "stored", "read", "unknown"]


class PackState(NamedTuple):
    """A pack with the newest of everything on record about it."""

    pack: Pack
    voltages: Reading | None = None
    resistances: Reading | None = None
    after_charge: Reading | None = None
    warmth: Reading | None = None
    """The newest reading of its temperature."""
    charge: Charge | None = None
    """The newest charge that was started."""
    storage: Storage | None = None
    last_run: datetime | None = None
    in_car: InCar | None = None
    """The car that it is in, fresh for its next run."""
    full_charges: int = 0
    usual_mah: float | None = None
    """What its charges to full have taken on average."""

    @property
    def charging(self) -> Charge | None:
        """The charge now running."""
        return self.charge if self.charge and not self.charge.ended_at else None

    @property
    def cycles(self) -> int:
        """Charges to full in the log, and those before it."""
        return self.pack.cycles_before + self.full_charges

    @property
    def cell_ohm(self) -> float:
        """One cell's resistance as last measured, else the model cell's for this capacity."""
        if self.resistances:
            measured = self.resistances.cell_ohm
            return min(0.5, sum(measured) / len(measured))
        return min(0.5, MODEL_CELL_OHM_AH / (self.pack.capacity_mah / 1000))

    @property
    def newest(self) -> tuple[Happened, datetime | None]:
        """What happened last to the pack's charge, and when."""
        if self.charging:
            return "charging", self.charging.started_at
        events: list[tuple[datetime, int, Happened]] = []
        if self.voltages:
            events.append((self.voltages.read_at, 3, "read"))
        if self.storage:
            events.append((self.storage.stored_at, 2, "stored"))
        if self.ran_at:
            events.append((self.ran_at, 1 if self.ran_at == self.last_run else 4, "run"))
        if self.charge and self.charge.ended_at:
            full = self.charge.purpose == "full" and self.charge.outcome == "done"
            events.append((self.charge.ended_at, 0, "full" if full else "part"))
        if not events:
            return "unknown", None
        moment, _, what = max(events)
        return what, moment

    @property
    def ran_at(self) -> datetime | None:
        """When its last run began at the earliest.

        Heats run late, and a run is noted with its heat's time: where the pack came off the charger
        or was read full a little after, the run came after that.
        """
        began, charge, read = self.last_run, self.charge, self.voltages
        if began is None:
            return None
        moments = [began]
        if charge and charge.started_at and charge.ended_at:
            moments += [charge.ended_at] if charge.started_at <= began < charge.ended_at else []
        if read and began <= read.read_at <= began + HEATS_RUN_LATE:
            mean = sum(read.cell_v) / len(read.cell_v)
            percent = state_of_charge_percent(min(mean, MOST_CELL_V))
            moments += [read.read_at] if percent >= FULL_PERCENT else []
        return max(moments)

    @property
    def percent(self) -> float | None:
        """State of charge in %, about, or None where nothing says it."""
        happened, _ = self.newest
        if happened == "read" and self.voltages:
            mean = sum(self.voltages.cell_v) / len(self.voltages.cell_v)
            return state_of_charge_percent(min(mean, MOST_CELL_V))
        if happened == "full":
            return 100.0
        if happened == "stored":
            cell_v = self.storage.cell_v if self.storage else None
            return state_of_charge_percent(min(cell_v or sum(STORAGE_CELL_V) / 2, MOST_CELL_V))
        if happened == "run":
            used = self.usual_mah or RUN_TAKES_SHARE * self.pack.capacity_mah
            return max(0.0, 100 * (1 - used / self.pack.capacity_mah))
        if happened == "part" and self.charge and self.charge.outcome == "stopped":
            return self._percent_when_stopped(self.charge)
        if happened in ("charging", "part") and self.charge:
            return self.charge.start_percent
        return None

    def _percent_when_stopped(self, charge: Charge) -> float | None:
        """What a charge that was stopped came to: by what the charger showed, else by its time at its
        current, without what went in at constant voltage."""
        start, capacity, amps = charge.start_percent, self.pack.capacity_mah, charge.current_a
        if start is None:
            return None
        moved = charge.moved_mah
        turning = 100.0
        if moved is None and amps and charge.started_at and charge.ended_at:
            moved = amps * (charge.ended_at - charge.started_at).total_seconds() / 3.6
            turning = charge_phases(capacity, amps, self.cell_ohm, start).turning_percent
        share = 100 * (moved or 0.0) / capacity
        if charge.discharging:
            return max(0.0, start - share)
        return max(start, min(turning, start + share))

    @property
    def full(self) -> bool:
        """Whether it may be raced as it is, by what is on record."""
        sound = self.pack.condition == "sound" and not self.charging
        return sound and self.percent is not None and self.percent >= FULL_PERCENT

    @property
    def resting_cell_v(self) -> float | None:
        """The voltage that a cell of this charge rests at, about."""
        return None if self.percent is None else open_circuit_cell_v(self.percent)

    @property
    def storage_due(self) -> bool:
        """Whether it was charged or run since it was last stored, or rests away from storage."""
        happened, _ = self.newest
        if self.pack.condition != "sound" or happened in ("unknown", "stored", "charging"):
            return False
        if happened == "read" and self.voltages:
            low, high = STORAGE_CELL_V
            mean = sum(self.voltages.cell_v) / len(self.voltages.cell_v)
            return not low - NEAR_STORAGE_V <= mean <= high + NEAR_STORAGE_V
        return True

    def worn(self, now: datetime) -> Verdict | None:
        """The verdict that it is to be retired, as long as it is not marked so."""
        worst = self.verdict(now)
        return worst if worst.level == "retire it" and self.pack.condition == "sound" else None

    def verdict(self, now: datetime) -> Verdict:
        """Fit to race, look at it or retire it, with every reason."""
        verdicts: list[Verdict] = []
        if self.voltages:
            lowest = min(self.voltages.cell_v)
            if lowest < EMPTY_CELL_V:
                sentence = f"A cell rested at {lowest:.2f} V, under 3.0 V."
                verdicts.append(Verdict("retire it", (sentence,)))
        if self.after_charge:
            verdicts.append(spread_verdict(cell_spread_v(self.after_charge.cell_v)))
        if self.resistances and self.pack.resistance_new_ohm:
            worst = max(self.resistances.cell_ohm)
            verdicts.append(resistance_verdict(worst, self.pack.resistance_new_ohm))
        if self.pack.bought_on:
            days = max(0, (now.date() - self.pack.bought_on).days)
            verdicts.append(age_verdict(min(600.0, days / DAYS_A_MONTH)))
        return pack_verdict(verdicts, self.pack.condition)
