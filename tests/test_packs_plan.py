"""The day's charge plan against an exhaustive search, and against what a racer would be owed."""

import itertools
import math
import os
import random
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitapp.packs.formulas import (
    Charger,
    Conflict,
    Heat,
    PlanPack,
    PlanRules,
    Remedy,
    conflict_sentence,
    plan_charging,
)
from tests.packs_reference import everything_tried, random_day, random_moment, random_pits

ONE_OUTPUT = Charger(
    outputs=1, amps_per_output=10, watts_per_output=200, amps_in_all=10, watts_in_all=200
)


def pack(name, percent=40.0, **changes):
    values = {
        "cells": 2,
        "capacity_mah": 6000,
        "most_c_rate": 1.0,
        "cell_resistance_ohm": 0.003,
        "percent": percent,
    }
    return PlanPack(name=name, **(values | changes))


@pytest.mark.parametrize("decade", range(10))
def test_no_plan_is_better_than_the_one_found_on_200_small_days(decade):
    for seed in range(decade * 20, decade * 20 + 20):
        heats, packs, charger, rules = random_day(seed)
        plan = plan_charging(heats, packs, charger, rules)
        without, full_min = everything_tried(heats, packs, charger, rules)
        assert plan.proved
        assert plan.heats_without == without, seed
        assert plan.full_min == pytest.approx(full_min, abs=1e-4), seed


@pytest.mark.parametrize("decade", range(10))
def test_no_plan_is_better_on_200_small_days_under_way(decade):
    for seed in range(decade * 20, decade * 20 + 20):
        heats, packs, charger, rules, running = random_moment(seed)
        plan = plan_charging(heats, packs, charger, rules, running=running)
        without, full_min = everything_tried(heats, packs, charger, rules, running)
        assert plan.proved
        assert plan.heats_without == without, seed
        assert plan.full_min == pytest.approx(full_min, abs=1e-4), seed


SMALL_DAYS = int(os.environ.get("PITAPP_SMALL_DAYS", "200"))


@pytest.mark.parametrize("tenth", range(10))
def test_no_plan_is_better_on_200_small_days_with_several_chargers(tenth):
    """`PITAPP_SMALL_DAYS=3000` tries so many."""
    for seed in range(tenth, SMALL_DAYS, 10):
        heats, packs, chargers, rules, running, away = random_pits(seed)
        plan = plan_charging(heats, packs, chargers, rules, running=running, away=away)
        without, full_min = everything_tried(heats, packs, chargers, rules, running, away)
        assert plan.proved
        assert plan.heats_without == without, seed
        assert plan.full_min == pytest.approx(full_min, abs=1e-4), seed


# --- what a racer is owed on any day --------------------------------------------------------------

days = st.builds(random_day, st.integers(1000, 10**6))


@settings(max_examples=120, deadline=None)
@given(days)
def test_no_output_is_used_twice_and_no_limit_is_passed(day):
    heats, packs, charger, rules = day
    plan = plan_charging(heats, packs, charger, rules)
    by_name = {item.name: item for item in packs}
    work = [(name, step) for name, todo in plan.steps.items() for step in todo]
    for name, step in work:
        label_a = by_name[name].capacity_mah / 1000 * by_name[name].most_c_rate
        volts = 4.2 * by_name[name].cells
        assert step.amps <= min(label_a, charger.amps_per_output) + 1e-9
        assert step.amps * volts <= charger.watts_per_output + 1e-9
        assert step.start_min >= rules.now_min
        if step.end_min > step.start_min:
            assert step.output is not None
            assert 1 <= step.output <= charger.outputs
    for (_, one), (_, other) in itertools.combinations(work, 2):
        if one.output is not None and one.output == other.output:
            assert one.end_min <= other.start_min + 1e-6 or other.end_min <= one.start_min + 1e-6
    for _, at in work:
        running = [
            step
            for _, step in work
            if step.start_min <= at.start_min + 1e-6 < step.end_min - 1e-6 and step.amps > 0
        ]
        assert sum(step.amps for step in running) <= charger.amps_in_all + 1e-6


@settings(max_examples=120, deadline=None)
@given(days)
def test_each_pack_is_full_in_time_cooled_before_and_stored_last(day):
    heats, packs, charger, rules = day
    plan = plan_charging(heats, packs, charger, rules)
    assert set(plan.steps) == {item.name for item in packs if item.condition == "sound"}
    over = max(heat.start_min + heat.run_min for heat in heats)
    for name, todo in plan.steps.items():
        mine = [
            heat
            for heat, chosen in zip(heats, plan.heats, strict=True)
            if chosen.full and chosen.pack == name
        ]
        mine.sort(key=lambda heat: heat.start_min)
        charges = [step for step in todo if step.kind == "charge"]
        was_full = next(item for item in packs if item.name == name).percent >= 98
        assert len(mine) == len(charges) + (was_full and bool(mine))
        for heat, step in zip(mine[len(mine) - len(charges) :], charges, strict=True):
            assert heat.start_min - step.end_min + 1e-6 >= 0
            assert heat.start_min - step.end_min <= rules.most_full_min + 1e-6
            for earlier in mine:
                if earlier.start_min < heat.start_min:
                    cool = earlier.start_min + earlier.run_min + rules.cooling_min
                    assert step.start_min >= cool - 1e-6
        assert [step.kind for step in todo[-1:]] == ["storage"]
        assert [step.kind for step in todo].count("storage") == 1
        assert todo[-1].start_min >= over
        if mine:
            cool = mine[-1].start_min + mine[-1].run_min + rules.cooling_min
            assert todo[-1].start_min >= cool - 1e-6


@settings(max_examples=60, deadline=None)
@given(days)
def test_every_heat_without_a_full_pack_is_a_conflict_in_words(day):
    heats, packs, charger, rules = day
    plan = plan_charging(heats, packs, charger, rules)
    lost = {conflict.heat for conflict in plan.conflicts if conflict.kind == "no full pack"}
    assert lost == {place for place, heat in enumerate(plan.heats) if not heat.full}
    refused = {conflict.pack for conflict in plan.conflicts if conflict.kind == "refused"}
    assert refused == {item.name for item in packs if item.condition != "sound"}
    for conflict in plan.conflicts:
        sentence = conflict_sentence(conflict, lambda minutes: f"minute {minutes:.0f}")
        assert sentence.endswith(".")
        assert (f"Heat {(conflict.heat or 0) + 1} " in sentence) == (conflict.heat is not None)


# --- days that can be checked by hand -------------------------------------------------------------


def test_two_heats_and_one_output():
    """6 Ah from 40 % at 1C: 36 min and a little, planned as 40; at 100 and 110 on one output the
    later one is on from 70 to 110, the earlier must be off at 70: it sits full for half an hour."""
    heats = [Heat(100, 6, 3000), Heat(110, 6, 3000)]
    plan = plan_charging(heats, [pack("A"), pack("B")], ONE_OUTPUT)
    charges = sorted(
        (todo[0].start_min, todo[0].end_min, todo[0].amps) for todo in plan.steps.values()
    )
    assert charges == [(30, 70, 6), (70, 110, 6)]
    assert plan.full_min == pytest.approx(30)
    assert plan.heats_without == 0


def test_a_short_charge_may_go_between():
    """The pack for the later heat takes 40 min, that for the earlier 10: 10 last would wait 20."""
    heats = [Heat(100, 6, 3000), Heat(110, 6, 5000)]
    packs = [pack("small", 88, capacity_mah=4000), pack("large", 40, capacity_mah=6000)]
    plan = plan_charging(heats, packs, ONE_OUTPUT)
    assert [heat.pack for heat in plan.heats] == ["small", "large"]
    assert plan.full_min == pytest.approx(min(plan.steps["small"][0].end_min - 60, 20), abs=30)
    assert plan.full_min <= 20


def test_the_limit_for_sitting_full_costs_a_heat_its_pack():
    heats = [Heat(100, 6, 3000), Heat(110, 6, 3000)]
    strict = PlanRules(most_full_min=29)
    plan = plan_charging(heats, [pack("A"), pack("B")], ONE_OUTPUT, strict)
    assert plan.heats_without == 1


def test_a_damaged_pack_is_refused_and_gets_no_step():
    plan = plan_charging([Heat(100, 6, 3000)], [pack("A", condition="damaged")], ONE_OUTPUT)
    assert plan.steps == {}
    assert plan.heats[0].pack is None
    sentences = [conflict_sentence(conflict, str) for conflict in plan.conflicts]
    assert sentences == [
        "Heat 1 has no full pack: no pack is free for it.",
        "Pack A is not in the plan: it is damaged.",
    ]


def test_a_pack_still_part_charged_is_offered():
    """One pack, two heats 15 min apart: the second has what the first left."""
    heats = [Heat(100, 5, 2000), Heat(115, 5, 2000)]
    plan = plan_charging(heats, [pack("A", 40)], ONE_OUTPUT, PlanRules(cooling_min=5))
    assert plan.heats_without == 1
    lost = next(place for place, heat in enumerate(plan.heats) if not heat.full)
    conflict = next(item for item in plan.conflicts if item.kind == "no full pack")
    assert conflict.heat == lost
    assert {remedy.pack for remedy in conflict.remedies} <= {"A"}


def test_a_pack_that_no_output_has_time_for_may_be_charged_elsewhere():
    """Two packs must both end at 100 and one output serves one: the other by 60 elsewhere."""
    heats = [Heat(100, 6, 3000), Heat(100, 6, 3000)]
    rules = PlanRules(most_full_min=10)
    plan = plan_charging(heats, [pack("A"), pack("B")], ONE_OUTPUT, rules)
    conflict = plan.conflicts[0]
    assert conflict.remedies[0].kind == "charge elsewhere"
    assert conflict.remedies[0].at_min == 60
    assert "by 60.0" in conflict_sentence(conflict, str)


def test_full_packs_are_used_first_and_told_of_when_they_wait_too_long():
    heats = [Heat(200, 6, 3000)]
    plan = plan_charging(heats, [pack("full", 100), pack("half", 50)], ONE_OUTPUT)
    assert plan.heats[0].pack == "full"
    assert plan.full_min == 200
    assert [conflict.kind for conflict in plan.conflicts] == ["sits full"]


def test_shared_watts_make_one_output_at_a_time_the_better_choice():
    """50.4 W in all is 6 A at 8.4 V: two outputs at 3 A need 72 min and more for 60 %, one at a
    time 36 and a little, so with the first heat at 90 both packs are in time only one by one."""
    charger = Charger(2, 10, 200, 20, 50.4)
    heats = [Heat(45, 6, 3000), Heat(90, 6, 3000)]
    plan = plan_charging(heats, [pack("A"), pack("B")], charger)
    assert plan.heats_without == 0
    assert plan.outputs_in_use == 1


def test_a_day_without_heats_is_storage_only():
    plan = plan_charging([], [pack("A", 100), pack("B", 10), pack("C", 55)], ONE_OUTPUT)
    assert [len(todo) for todo in plan.steps.values()] == [1, 1, 1]
    assert plan.steps["A"][0].amps < 0 < plan.steps["B"][0].amps
    assert plan.steps["C"][0].start_min == plan.steps["C"][0].end_min


def test_a_search_cut_short_says_so_and_still_serves():
    rng = random.Random(1)
    heats = [Heat(100 + 3 * number, 5, 3000) for number in range(10)]
    packs = [
        pack(f"P{n}", 20 + 60 * rng.random(), most_c_rate=rng.choice([1, 2])) for n in range(9)
    ]
    plan = plan_charging(heats, packs, Charger(2, 10, 100, 20, 200), most_states=3)
    assert not plan.proved
    assert plan.heats_without >= 1


@pytest.mark.parametrize(
    ("heats", "packs", "rules", "words"),
    [
        ([Heat(5, 5, 100)], [], PlanRules(now_min=10), "has started already"),
        ([], [pack("A"), pack("A")], None, "same name"),
        ([Heat(5, 5, 100)] * 25, [], None, "at most 24 heats"),
        ([], [pack(str(number)) for number in range(61)], None, "at most 60 packs"),
    ],
)
def test_impossible_days_are_refused(heats, packs, rules, words):
    with pytest.raises(ValueError, match=words):
        plan_charging(heats, packs, ONE_OUTPUT, rules)


ANY = st.one_of(st.floats(), st.integers(-1000, 10**6), st.floats(0, 300))


@settings(max_examples=200, deadline=None)
@given(st.lists(ANY, min_size=20, max_size=20))
def test_finite_plan_or_refused(values):
    def planned():
        try:
            heats = [Heat(*values[:3])]
            packs = [PlanPack("A", 2, *values[3:7])]
            plan = plan_charging(heats, packs, Charger(1, *values[7:12]), PlanRules(*values[12:18]))
        except ValueError as refused:
            return str(refused).endswith(".")
        return math.isfinite(plan.full_min) and all(
            math.isfinite(step.end_min) for step in plan.steps["A"]
        )

    assert planned()


def test_conflict_in_words_takes_the_caller_s_clock():
    conflict = Conflict(
        "no full pack",
        heat=3,
        at_min=700,
        remedies=(
            Remedy("charge elsewhere", "B", 680, 4.2, amps=6),
            Remedy("run part charged", "A", 700, 3.9),
        ),
    )
    told = conflict_sentence(conflict, lambda minutes: f"{minutes // 60:.0f}:{minutes % 60:02.0f}")
    assert "Heat 4 " in told
    assert re.search(r"\bB\b.* by 11:20 .*6 A.* or .*\bA\b.*3\.90 V/cell", told)
