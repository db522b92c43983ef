"""Judges a charge plan by what a pack, a charger and a racer can do; knows nothing of the planner.

Times are minutes from the moment of the plan.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

NEAR = 1e-4
FULL_CELL_V = 4.2
FULL_PERCENT = 98.0
"""From here on a pack counts as full."""


@dataclass(frozen=True)
class PackNow:
    """A pack at the moment of the plan; `percent` None: not known, so neither full nor judged."""

    capacity_ah: float
    cells: int
    c_rate: float
    percent: float | None
    cool_at: float = 0.0
    """Not to be charged before."""
    on_charger_until: float | None = None
    """When its charge would end if nothing stopped it."""
    full_when_off: bool = False
    full_since: float = 0.0
    sound: bool = True


@dataclass(frozen=True)
class OnCharger:
    """A charge that runs, whether of a pack that is planned with or of another."""

    until: float
    """When it would end if nothing stopped it."""
    amps: float
    """As far as it draws from the supply: none while it discharges."""
    watts: float
    pack: str = ""
    charger: int | None = 0
    """None: it may be on any of them."""


@dataclass(frozen=True)
class ChargerNow:
    """A charger; None: no limit in all."""

    outputs: int
    amps: float
    watts: float
    all_amps: float | None
    all_watts: float | None


@dataclass(frozen=True)
class Facts:
    """All that a plan has to do with."""

    packs: dict[str, PackNow]
    heats: list[tuple[float, float, float]]
    """Start, length and what the run takes in Ah."""
    chargers: list[ChargerNow]
    running: list[OnCharger]
    cooling: float
    margin: float
    most_full: float
    watched: bool = True
    """Whether somebody stays with the chargers while the racer drives or marshals."""
    marshalling: list[tuple[float, float]] = field(default_factory=list)


@dataclass(frozen=True)
class Work:
    """A pack on a charger from `begin` to `end`; less than no amps while it discharges.

    A charge that is stopped and taken up again is several of these.
    """

    pack: str
    kind: Literal["charge", "storage"]
    begin: float
    end: float
    amps: float
    charger: int = 0


@dataclass(frozen=True)
class Plan:
    """What is to be judged: a pack or none for each heat, whether it is called full, and the work."""

    heats: list[tuple[str | None, bool]]
    work: list[Work]
    told_full_too_long: set[str] = field(default_factory=set)
    running: list[list[tuple[float, float]]] | None = None
    """From and to when each charge stays on that runs; None: each until it ends."""

    def stays_on(self, facts: Facts) -> list[list[tuple[float, float]]]:
        """From and to when each running charge is on."""
        if self.running is not None:
            return self.running
        return [[(0.0, one.until)] if one.until > 0 else [] for one in facts.running]


def complaints(facts: Facts, plan: Plan) -> list[str]:
    """Everything that is wrong with the plan, as sentences."""
    found = [*_of_running_charges(facts, plan), *_while_nobody_watches(facts, plan)]
    for number in range(len(facts.chargers)):
        found += [f"charger {number}: {what}" for what in _of_a_charger(facts, plan, number)]
    for name, pack in facts.packs.items():
        found += [f"{name}: {what}" for what in _of_a_pack(facts, plan, name, pack)]
    known = {name for name, pack in facts.packs.items() if pack.sound}
    used = {name for name, _ in plan.heats if name} | {work.pack for work in plan.work}
    return found + [f"{name} is not to be used" for name in sorted(used - known)]


def _of_running_charges(facts: Facts, plan: Plan) -> Iterator[str]:
    """What runs gets the time that it lacks, in its order, and not before the plan is made."""
    stays = plan.stays_on(facts)
    if len(stays) != len(facts.running):
        yield f"{len(stays)} of {len(facts.running)} charges that run are in the plan"
    for one, pieces in zip(facts.running, stays, strict=False):
        edges = [moment for piece in pieces for moment in piece]
        if edges != sorted(edges) or any(moment < -NEAR for moment in edges):
            yield f"{one.pack} stays on in no order"
        if abs(sum(end - begin for begin, end in pieces) - max(0.0, one.until)) > NEAR:
            yield f"{one.pack} stays on for another time than it lacks"


def _while_nobody_watches(facts: Facts, plan: Plan) -> Iterator[str]:
    """Nothing is on a charger while its owner drives or marshals, unless somebody watches."""
    if facts.watched:
        return
    driving = [(start, start + length) for start, length, _ in facts.heats]
    on = [(work.pack, work.begin, work.end) for work in plan.work if work.end > work.begin]
    for one, pieces in zip(facts.running, plan.stays_on(facts), strict=False):
        on += [(one.pack, *piece) for piece in pieces]
    for name, begin, end in on:
        for away, back in [*driving, *facts.marshalling]:
            if min(end, back) - max(begin, away, 0.0) > NEAR:
                yield f"{name} on the charger from {begin:.0f} to {end:.0f}, alone at {away:.0f}"


def _of_a_charger(facts: Facts, plan: Plan, number: int) -> Iterator[str]:
    charger = facts.chargers[number]
    busy = [work for work in plan.work if work.end > work.begin and work.charger == number]
    running = [
        (one, pieces[-1][1])
        for one, pieces in zip(facts.running, plan.stays_on(facts), strict=False)
        if one.charger in (None, number) and pieces
    ]
    for at in [0.0, *(work.begin for work in busy)]:
        on = [work for work in busy if work.begin <= at + NEAR < work.end - NEAR]
        others = [one for one, until in running if until > at + 2 * NEAR]
        if on and len(on) + len(others) > charger.outputs:
            yield f"{len(on)} on the charger at {at:.0f} beside {len(others)} that are there"
        charges = [(work.amps, facts.packs[work.pack].cells) for work in on if work.amps > 0]
        if not charges:
            continue
        amps = sum(each for each, _ in charges) + sum(min(one.amps, charger.amps) for one in others)
        watts = sum(each * cells * FULL_CELL_V for each, cells in charges)
        watts += sum(min(one.watts, charger.watts) for one in others)
        if charger.all_amps is not None and amps > charger.all_amps + NEAR:
            yield f"{amps:.2f} A in all at {at:.0f}"
        if charger.all_watts is not None and watts > charger.all_watts + 0.01:
            yield f"{watts:.1f} W in all at {at:.0f}"


def _of_a_pack(facts: Facts, plan: Plan, name: str, pack: PackNow) -> Iterator[str]:
    mine = [work for work in plan.work if work.pack == name]
    for work in mine:
        charger = facts.chargers[work.charger]
        if work.begin < -NEAR:
            yield f"on the charger in the past, at {work.begin:.0f}"
        if work.amps > min(pack.c_rate * pack.capacity_ah, charger.amps) + NEAR:
            yield f"charged with {work.amps:.2f} A"
        if work.amps * pack.cells * FULL_CELL_V > charger.watts + 0.01:
            yield f"charged with {work.amps * pack.cells * FULL_CELL_V:.1f} W"
    heats = [
        (start, start + length, takes, full)
        for (start, length, takes), (chosen, full) in zip(facts.heats, plan.heats, strict=True)
        if chosen == name
    ]
    yield from _through_the_day(facts, plan, name, pack, mine, heats)


def _through_the_day(
    facts: Facts,
    plan: Plan,
    name: str,
    pack: PackNow,
    mine: list[Work],
    heats: list[tuple[float, float, float, bool]],
) -> Iterator[str]:
    """One pack from event to event: where it is, how full, how warm."""
    free_at, cool_at, usable_at = 0.0, pack.cool_at, -1e9
    percent, since = pack.percent, pack.full_since
    if pack.on_charger_until is not None:
        off = pack.on_charger_until
        for one, pieces in zip(facts.running, plan.stays_on(facts), strict=False):
            off = pieces[-1][1] if one.pack == name and pieces else off
        free_at, usable_at = off, off + facts.margin
        percent = 100.0 if pack.full_when_off else pack.percent
        since = max(0.0, off)
    charged_here, lacks_ah = False, 0.0
    events: list[tuple[float, Work | tuple[float, float, float, bool]]] = []
    events += [(work.begin, work) for work in mine]
    events += [(heat[0], heat) for heat in heats]
    for at, event in sorted(events, key=lambda each: each[0]):
        if at < free_at - NEAR:
            yield f"in two places at {at:.0f}, not free before {free_at:.0f}"
        if isinstance(event, Work) and event.end > event.begin and at < cool_at - NEAR:
            yield f"charged warm at {at:.0f}, cool at {cool_at:.0f}"
        if isinstance(event, Work) and event.kind == "charge":
            if not charged_here:
                known = FULL_PERCENT if percent is None else percent
                lacks_ah = pack.capacity_ah * (FULL_PERCENT - known) / 100
            lacks_ah -= (event.end - event.begin) * event.amps / 60
            percent, since, charged_here = 100.0, event.end, True
            usable_at, free_at = event.end + facts.margin, event.end
            continue
        if charged_here and lacks_ah > NEAR:
            yield f"charged by {at:.0f}, which cannot be: {lacks_ah:.2f} Ah are lacking"
        if isinstance(event, Work):
            if charged_here:
                yield f"charged for no heat before {at:.0f}"
            free_at = event.end
            continue
        start, end, takes, full = event
        if start < usable_at - NEAR:
            yield f"given to the heat at {start:.0f}, ready at {usable_at:.0f}"
        if full and (percent is None or percent < FULL_PERCENT):
            yield f"called full at {start:.0f} with {percent} %"
        told = not charged_here and name in plan.told_full_too_long
        if full and not told and start - since > facts.most_full + NEAR:
            yield f"full from {since:.0f} to {start:.0f}"
        if percent is not None:
            percent -= 100 * takes / pack.capacity_ah
            if percent < -NEAR:
                yield f"run flat at {start:.0f}"
        free_at, cool_at, charged_here = end, end + facts.cooling, False
    if charged_here:
        yield "charged for no heat"
