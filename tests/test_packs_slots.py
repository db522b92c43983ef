"""The charge plan of days with two or three chargers beside every plan there is, and what it says of them.

Two or three chargers that differ in outputs, amps and watts, some with less in all than their outputs
together; at any moment of the day, with charges that are on; watched or not. `PITAPP_SLOT_DAYS=6000`
tries so many, and a quarter of them for what would help.
"""

from __future__ import annotations

import copy
import itertools
import os
from collections.abc import Iterator
from dataclasses import replace

import pytest

from pitapp.packs.formulas import ChargePlan, Conflict
from pitapp.packs.planning.sentences import help_sentence
from pitapp.packs.solver.helps import STORED_PERCENT, what_would_help
from tests.packs_checker import complaints
from tests.packs_slots import ANY, SLOT_MIN, SlotDay, Slots, TooNear
from tests.test_packs_remedies import as_said, records

DAYS = int(os.environ.get("PITAPP_SLOT_DAYS", "160"))
BATCHES = 4
MOST_STATES = 16_000
"""As many as the app looks at."""
pytestmark = pytest.mark.parametrize("batch", range(BATCHES))


@pytest.fixture
def days(batch: int) -> Iterator[tuple[int, SlotDay]]:
    return ((seed, SlotDay(seed)) for seed in range(batch, DAYS, BATCHES))


def test_the_plan_can_be_done_and_none_is_better(days: Iterator[tuple[int, SlotDay]]) -> None:
    compared, lost = 0, 0
    for seed, day in days:
        found, plan = day.planned(MOST_STATES)
        assert complaints(day.facts, plan) == [], seed
        try:
            best = day.slots().best(found.heats_without, found.full_min / SLOT_MIN + 1)
        except TooNear:
            continue
        assert best is not None, seed
        assert found.proved, seed
        assert best == (found.heats_without, pytest.approx(found.full_min / SLOT_MIN)), seed
        compared += 1
        lost += found.heats_without > 0
    assert compared > DAYS / BATCHES / 2
    assert 0 < lost < compared


def test_full_at_the_earliest_is_the_earliest(days: Iterator[tuple[int, SlotDay]]) -> None:
    seen: set[str] = set()
    for seed, day in days:
        found, _ = day.planned(MOST_STATES)
        for conflict in found.conflicts:
            if conflict.kind == "no full pack":
                try:
                    seen |= judged(seed, day, day.slots(), found, conflict)
                except TooNear:
                    continue
    assert seen >= {"full later", "none"}


def judged(
    seed: int, day: SlotDay, slots: Slots, found: ChargePlan, conflict: Conflict
) -> set[str]:
    """Compare what is said of a heat without a full pack with each pack's first moment to be full."""
    heat = conflict.heat
    assert heat is not None
    start = slots.starts[heat]
    order = sorted(range(len(day.heats)), key=lambda each: slots.starts[each])
    before = order[: order.index(heat)]
    first: dict[str, int] = {}
    for place, pack in enumerate(day.sound):
        mine = [each for each in before if found.heats[each].pack == pack.name]
        if slots.packs[place].runs[heat] and all(found.heats[each].full for each in mine):
            first[pack.name] = slots.full_at(place, mine[-1] if mine else -1)
    by_kind = {remedy.kind: remedy for remedy in conflict.remedies}
    later, sooner = by_kind.get("full later"), by_kind.get("before others")
    earliest = min(first.values(), default=ANY)
    if later:
        assert day.slot(later.at_min) == earliest == first[later.pack], seed
        assert later.after_min == pytest.approx((earliest - start) * SLOT_MIN), seed
        assert earliest > start - slots.margin, seed
        return {"full later"}
    can = {name for name, full in first.items() if slots.in_time(full, start)}
    if sooner:
        assert sooner.pack in can, seed
        return {"before others"}
    assert not can, (seed, can)
    return {"none"}


def test_what_would_help_helps_and_what_is_not_named_does_not(
    days: Iterator[tuple[int, SlotDay]],
) -> None:
    seen: set[str] = set()
    for seed, day in itertools.islice(days, DAYS // BATCHES // 4):
        found, _ = day.planned(MOST_STATES)
        if lost := found.heats_without:
            try:
                seen |= helped(seed, day, lost)
            except TooNear:
                continue
    assert seen


def helped(seed: int, day: SlotDay, lost: int) -> set[str]:
    """Take each thing that is said to help, and try those that are not said."""
    helps = what_would_help(
        day.heats, day.packs, day.chargers, day.rules, lost, running=day.running, away=day.away
    )

    def still(**changes: object) -> float:
        other = copy.copy(day)
        other.__dict__.update(changes)
        best = other.slots().best(lost, -1)
        return lost if best is None else best[0]

    named: set[str] = {each.kind for each in helps.helps}
    for each in helps.helps:
        if each.kind == "watch":
            left = still(watched=True)
        elif each.kind == "amps":
            sentence = help_sentence(each, lost, records(day.chargers))
            left = still(chargers=as_said(sentence, day.chargers))
        else:
            like = next(pack for pack in day.packs if pack.name == each.like)
            percent = 100.0 if each.full else STORED_PERCENT
            new = replace(
                like, name="new", percent=percent, ready_min=None, charging_until_min=None
            )
            left = still(packs=[*day.packs, new])
        assert left == each.without < lost, (seed, each)
    if "watch" not in named and day.away:
        assert still(watched=True) == lost, seed
    for place, own in enumerate(day.chargers) if "amps" not in named else ():
        boundless = replace(
            own,
            amps_per_output=200,
            watts_per_output=10_000,
            amps_in_all=2000,
            watts_in_all=100_000,
        )
        them = [*day.chargers[:place], boundless, *day.chargers[place + 1 :]]
        assert still(chargers=them) == lost, (seed, place)
    return named
