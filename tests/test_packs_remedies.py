"""What a charge plan says of a heat without a full pack: each way out taken, and each figure tried.

`PITAPP_REMEDY_DAYS=6000` tries so many small days, and as many longer ones.
"""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import pytest

from pitapp.packs.formulas import Charger, Heat, PlanPack, PlanRules, plan_charging
from pitapp.packs.models import ChargerRecord
from pitapp.packs.planning.sentences import help_sentence
from pitapp.packs.solver.helps import STORED_PERCENT, what_would_help
from tests.packs_checker import ChargerNow, Plan, Work, complaints
from tests.packs_reference import can_be_done, everything_tried, random_pits
from tests.test_packs_days import Day

DAYS = int(os.environ.get("PITAPP_REMEDY_DAYS", "400"))
BATCHES = 8
NEAR = 0.01
NO_LIMIT = 1e6


class SmallDay:
    """A small day on which a heat has no full pack, with its plan."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.heats, self.packs, self.chargers, self.rules, self.running, self.away = random_pits(
            seed
        )
        self.plan = plan_charging(
            self.heats,
            self.packs,
            self.chargers,
            self.rules,
            running=self.running,
            away=self.away,
        )

    def before(self, place: int) -> list[str | None]:
        """The full packs of the heats before that one."""
        start = self.heats[place].start_min
        return [
            heat.pack if heat.full and other.start_min < start else None
            for heat, other in zip(self.plan.heats, self.heats, strict=True)
        ]

    def able(self, place: int) -> list[str]:
        """The sound packs that no heat before has as they are."""
        start = self.heats[place].start_min
        as_they_are = {
            heat.pack
            for heat, other in zip(self.plan.heats, self.heats, strict=True)
            if not heat.full and other.start_min < start
        }
        return [
            pack.name
            for pack in self.packs
            if pack.condition == "sound" and pack.name not in as_they_are
        ]

    def can_have(self, place: int, name: str, full_at: float | None = None) -> bool:
        """Whether that pack can have the heat, with its heats before, when nothing else is charged.

        With `full_at` the heat comes when a pack that is full then can have it.
        """
        by_pack = [each if each == name else None for each in self.before(place)]
        by_pack[place] = name
        heats, rules = list(self.heats), self.rules
        if full_at is not None:
            heats[place] = replace(heats[place], start_min=full_at + rules.margin_min)
            rules = replace(rules, most_full_min=NO_LIMIT)
        return can_be_done(
            by_pack, heats, self.packs, self.chargers, rules, self.running, self.away
        )

    def still(
        self,
        packs: Sequence[PlanPack] | None = None,
        chargers: Sequence[Charger] | None = None,
        away: Sequence[tuple[float, float]] | None = None,
    ) -> int:
        """How many heats are without a pack in the best of every plan there is."""
        return everything_tried(
            self.heats,
            self.packs if packs is None else packs,
            self.chargers if chargers is None else chargers,
            self.rules,
            self.running,
            self.away if away is None else away,
        )[0]


def lacking(seeds: Sequence[int]) -> Iterator[SmallDay]:
    """The days on which a heat has no full pack."""
    days = map(SmallDay, seeds)
    return (day for day in days if day.plan.heats_without)


@pytest.mark.parametrize("batch", range(BATCHES))
def test_full_at_the_earliest_is_what_an_exhaustive_search_gives(batch: int) -> None:
    """With the pack's heats before it and nothing else to charge: at that moment, and not before."""
    seen = 0
    for day in lacking(range(batch, DAYS, BATCHES)):
        for conflict in day.plan.conflicts:
            if conflict.kind != "no full pack" or conflict.heat is None:
                continue
            place, seed = conflict.heat, day.seed
            by_kind = {remedy.kind: remedy for remedy in conflict.remedies}
            first, sooner = by_kind.get("full later"), by_kind.get("before others")
            seen += bool(first or sooner)
            if first:
                assert day.can_have(place, first.pack, first.at_min), seed
                for name in day.able(place):
                    assert not day.can_have(place, name, first.at_min - NEAR), (seed, name)
                start = day.heats[place].start_min
                assert first.after_min == pytest.approx(first.at_min - start)
                assert first.at_min > start - day.rules.margin_min
            elif sooner:
                assert day.can_have(place, sooner.pack), seed
            else:
                assert not any(day.can_have(place, name) for name in day.able(place)), seed
    assert seen >= DAYS / 80


@pytest.mark.parametrize("batch", range(BATCHES))
def test_a_pack_that_goes_on_another_charger_serves_its_heat(batch: int) -> None:
    """Judged by what a pack can do, beside all else that the plan has before."""
    seen = 0
    for seed in range(batch, 2 * DAYS, BATCHES):
        day = Day(seed)
        plan, judged = day.planned()
        now = day.rules.now_min
        for conflict in plan.conflicts:
            for remedy in conflict.remedies:
                if remedy.kind != "charge elsewhere" or conflict.heat is None:
                    continue
                seen += 1
                facts = day.facts
                elsewhere = ChargerNow(9, remedy.amps, 10_000, None, None)
                facts = replace(facts, chargers=[*facts.chargers, elsewhere])
                latest = day.heats[conflict.heat].start_min - day.rules.margin_min
                on = [
                    Work(
                        remedy.pack,
                        "charge",
                        begin - now,
                        end - now,
                        remedy.amps,
                        len(facts.chargers) - 1,
                    )
                    for begin, end in without(remedy.at_min, latest, day.away)
                ]
                heats = [
                    (None, False) if chosen == remedy.pack and not full else (chosen, full)
                    for chosen, full in judged.heats
                ]
                heats[conflict.heat] = (remedy.pack, True)
                work = [
                    each
                    for each in judged.work
                    if (each.pack, each.kind) != (remedy.pack, "storage")
                ]
                taken = Plan(heats, [*work, *on], judged.told_full_too_long, judged.running)
                assert complaints(facts, taken) == [], (seed, remedy)
    assert seen


def without(
    begin: float, end: float, away: Sequence[tuple[float, float]]
) -> Iterator[tuple[float, float]]:
    """From and to when a charge is on, between two moments."""
    at = begin
    for low, high in sorted(away):
        if high <= at:
            continue
        if min(low, end) > at:
            yield at, min(low, end)
        at = max(at, high)
    if at < end:
        yield at, end


@pytest.mark.parametrize("batch", range(BATCHES))
def test_what_would_help_helps_when_it_is_taken_and_what_is_not_named_does_not(batch: int) -> None:
    """Beside every plan that there is, with the figures as they are said."""
    seen: set[str] = set()
    for day in lacking(range(batch, DAYS // 2, BATCHES)):
        lost, chargers = day.plan.heats_without, day.chargers
        helps = what_would_help(
            day.heats,
            day.packs,
            chargers,
            day.rules,
            lost,
            running=day.running,
            away=day.away,
        )
        named = {each.kind for each in helps.helps}
        seen |= named
        for each in helps.helps:
            if each.kind == "watch":
                left = day.still(away=[])
            elif each.kind == "amps":
                sentence = help_sentence(each, lost, records(chargers))
                left = day.still(chargers=as_said(sentence, chargers))
            else:
                like = next(pack for pack in day.packs if pack.name == each.like)
                percent = 100.0 if each.full else STORED_PERCENT
                new = replace(
                    like, name="new", percent=percent, ready_min=None, charging_until_min=None
                )
                left = day.still(packs=[*day.packs, new])
            assert left == each.without < lost, (day.seed, each)
        if "watch" not in named and day.away:
            assert day.still(away=[]) == lost, day.seed
        for place in range(len(chargers)) if "amps" not in named else ():
            boundless = Charger(chargers[place].outputs, 200, 10_000, 2000, 100_000)
            them = [*chargers[:place], boundless, *chargers[place + 1 :]]
            assert day.still(chargers=them) == lost, (day.seed, place)
    assert seen


def records(chargers: Sequence[Charger]) -> list[ChargerRecord]:
    return [
        ChargerRecord(
            name=f"Box {place}",
            outputs=each.outputs,
            amps_per_output=each.amps_per_output,
            watts_per_output=each.watts_per_output,
            amps_in_all=each.amps_in_all,
            watts_in_all=each.watts_in_all,
        )
        for place, each in enumerate(chargers)
    ]


def as_said(sentence: str, chargers: Sequence[Charger]) -> list[Charger]:
    """The chargers with nothing changed but what the sentence asks for."""
    said = re.fullmatch(
        r"Box (\d+) with ([\d.]+) A(?:, ([\d.]+) W)? on .+? output"
        r"(?: \((?:([\d.]+) A)?(?:, )?(?:([\d.]+) W)? in all\))?: .+",
        sentence,
    )
    assert said, sentence
    place, amps, watts, all_amps, all_watts = said.groups()
    own = chargers[int(place)]
    own = replace(own, amps_per_output=max(float(amps), own.amps_per_output))
    own = replace(own, watts_per_output=float(watts)) if watts else own
    own = replace(own, amps_in_all=float(all_amps)) if all_amps else own
    own = replace(own, watts_in_all=float(all_watts)) if all_watts else own
    return [*chargers[: int(place)], own, *chargers[int(place) + 1 :]]


def test_a_pack_is_not_full_later_than_the_very_plan_has_it() -> None:
    """One pack from 40 % at 1C: 40 min in steps of 5. The heat at 30 comes too soon for it, the one at
    60 has it; put on at once it is full at 40, whatever is planned."""
    heats = [Heat(30, 6, 3000), Heat(60, 6, 3000)]
    pack = PlanPack("M", 2, 6000, 1, 40, 0.003)
    plan = plan_charging(heats, [pack], Charger(1, 10, 200, 10, 200), PlanRules())
    assert [heat.full for heat in plan.heats] == [False, True]
    later = [one for conflict in plan.conflicts for one in conflict.remedies]
    first = next(one for one in later if one.kind == "full later")
    assert first.at_min == pytest.approx(40)
    assert first.at_min <= plan.steps["M"][0].end_min


def test_the_reference_knows_that_a_pack_cannot_be_in_two_heats_at_once() -> None:
    pack = PlanPack("M", 2, 6000, 1, 100, 0.003)
    box = Charger(1, 10, 200, 10, 200)
    heats = [Heat(30, 6, 3000), Heat(40, 6, 3000)]
    assert can_be_done(["M", None], heats, [pack], [box], PlanRules())
    for one, other in itertools.permutations(heats):
        assert not can_be_done(["M", "M"], [one, other], [pack], [box], PlanRules())
