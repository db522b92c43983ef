"""A day's charge plan by trying every one there is, written from the model's description alone."""

import itertools
import math
import random
from dataclasses import replace
from typing import Any

from pitapp.packs.formulas import Charger, Heat, PlanPack, PlanRules, Running, charge_time_s


def everything_tried(heats, packs, charger, rules, running=(), away=()):
    """Fewest heats without a pack and least time full, by trying every plan there is."""
    chargers = [charger] if isinstance(charger, Charger) else charger
    heats = sorted(heats, key=lambda heat: heat.start_min)
    away = [(max(begin, rules.now_min), end) for begin, end in sorted(away) if end > rules.now_min]
    packs = [
        replace(item, charging_until_min=when_done(rules.now_min, item.charging_until_min, away))
        for item in packs
        if item.condition == "sound"
    ]
    best = (len(heats) + 1, math.inf)
    for tables, own in ways_of(heats, packs, chargers, rules, running, away):
        choices = itertools.product([None, *range(len(packs))], repeat=len(heats))
        for choice in sorted(choices, key=lambda choice: choice.count(None)):
            if choice.count(None) > best[0]:
                break
            cost = cost_of(choice, heats, packs, tables, own, rules, away)
            best = min(best, (choice.count(None), cost)) if cost < math.inf else best
    return best


def ways_of(heats, packs, chargers, rules, running, away):
    """For every number of outputs in use: how long each charge takes, and when each output is free."""
    for in_use in itertools.product(*(range(1, each.outputs + 1) for each in chargers)):
        pairs = list(zip(chargers, in_use, strict=True))
        tables = [
            [lengths(item, heats, each, outputs, rules) for each, outputs in pairs]
            for item in packs
        ]
        own = []
        for place, (each, outputs) in enumerate(pairs):
            there = [
                replace(one, until_min=when_done(rules.now_min, one.until_min, away))
                for one in running
                if one.charger in (None, place)
            ]
            own += [(place, free) for free in taken_until(packs, each, outputs, rules, there)]
        yield tables, own


def can_be_done(by_pack, heats, packs, chargers, rules, running=(), away=()):
    """Whether these packs, each by its name, can have these heats, when no other pack is charged."""
    away = [(max(begin, rules.now_min), end) for begin, end in sorted(away) if end > rules.now_min]
    packs = [
        replace(item, charging_until_min=when_done(rules.now_min, item.charging_until_min, away))
        for item in packs
        if item.condition == "sound"
    ]
    names = [item.name for item in packs]
    chosen = sorted(zip(heats, by_pack, strict=True), key=lambda each: each[0].start_min)
    heats = [heat for heat, _ in chosen]
    choice = [None if name is None else names.index(name) for _, name in chosen]
    return any(
        cost_of(choice, heats, packs, tables, own, rules, away) < math.inf
        for tables, own in ways_of(heats, packs, chargers, rules, running, away)
    )


def when_done(now, until, away):
    """When a charge is over that lacks the time from now until then, stopped whenever away."""
    if until is None or until <= now:
        return until
    left, at = until - now, now
    for begin, end in away:
        if at + left <= max(at, begin):
            return at + left
        if end > at:
            left -= max(0, begin - at)
            at = end
    return at + left


def put_on_by(end, length, away):
    """When a charge must go on at the latest to end then, stopped whenever away."""
    left, at = length, end
    for low, high in sorted(away, reverse=True):
        if low >= at:
            continue
        if at - left >= high - 1e-9:
            return at - left
        left -= max(0, at - high)
        at = min(at, low)
    return at - left


def amps_of(item, charger, outputs):
    return min(
        item.capacity_mah / 1000 * item.most_c_rate,
        charger.amps_per_output,
        charger.amps_in_all / outputs,
        charger.watts_per_output / (4.2 * item.cells),
        charger.watts_in_all / outputs / (4.2 * item.cells),
    )


def taken_until(packs, charger, outputs, rules, running):
    """Until when each output is not to be had beside the charges that are on."""
    needs = [(amps_of(item, charger, outputs), item.cells) for item in packs]
    amps = max((need for need, _ in needs), default=1)
    watts = max((need * cells * 4.2 for need, cells in needs), default=1)

    def free_at(moment):
        on = [one for one in running if one.until_min > moment]
        return min(
            charger.outputs - len(on),
            math.floor((charger.amps_in_all - sum(one.amps for one in on)) / amps + 1e-9),
            math.floor((charger.watts_in_all - sum(one.watts for one in on)) / watts + 1e-9),
        )

    moments = sorted({rules.now_min, *(max(one.until_min, rules.now_min) for one in running)})
    return [next(m for m in moments if free_at(m) >= number) for number in range(1, outputs + 1)]


def lengths(item, heats, charger, outputs, rules):
    """Length of the first charge, and of the charge after each heat (None: too small for it)."""
    amps = amps_of(item, charger, outputs)

    def length(percent):
        seconds = charge_time_s(item.capacity_mah, amps, item.cell_resistance_ohm, percent)
        return max(1, math.ceil(seconds / 60 / rules.step_min - 1e-9)) * rules.step_min

    first = 0 if item.percent >= rules.full_percent else length(item.percent)
    after = []
    for heat in heats:
        left = 100 - 100 * heat.used_mah / item.capacity_mah
        after.append(length(left) if left >= rules.least_left_percent else None)
    return first, after


def cost_of(choice, heats, packs, tables, outputs, rules, away):
    jobs: list[Any] = []
    cost = 0.0
    day_over = max((heat.start_min + heat.run_min for heat in heats), default=rules.now_min)
    for number, item in enumerate(packs):
        first = [first for first, _ in tables[number]]
        after = list(zip(*(each for _, each in tables[number]), strict=True))
        mine = [place for place, chosen in enumerate(choice) if chosen == number]
        if any(after[place][0] is None for place in mine):
            return math.inf
        off = rules.now_min if item.charging_until_min is None else item.charging_until_min
        if item.percent >= rules.full_percent:
            late = 0 if item.charging_until_min is None else rules.margin_min
            if mine and heats[mine[0]].start_min < off + late - 1e-6:
                return math.inf
            until = heats[mine[0]].start_min if mine else day_over
            cost += max(0, until - max(rules.now_min, off))
            previous = mine[:1]
            mine = mine[1:]
        else:
            previous = []
        for place in mine:
            if previous:
                ran = heats[previous[0]]
                release = ran.start_min + ran.run_min + rules.cooling_min
                jobs.append((release, heats[place].start_min, after[previous[0]]))
            else:
                ready = rules.now_min if item.ready_min is None else item.ready_min
                jobs.append((max(ready, off, rules.now_min), heats[place].start_min, first))
            previous = [place]
    ways = splits(jobs, len(outputs))
    return cost + min((waiting(split, outputs, rules, away) for split in ways), default=math.inf)


def splits(jobs, outputs):
    """Every way to deal the jobs out to the outputs, in every order on each."""
    for order in itertools.permutations(jobs):
        for cuts in itertools.combinations_with_replacement(range(len(jobs) + 1), outputs - 1):
            edges = [0, *cuts, len(jobs)]
            yield [order[low:high] for low, high in itertools.pairwise(edges)]


def waiting(split, outputs, rules, away):
    """Time full when each output's charges, the last of them first, end as late as they can."""
    total = 0.0
    for jobs, (charger, own) in zip(split, outputs, strict=True):
        free = math.inf
        for release, need, length in jobs:
            end = min(need - rules.margin_min, free)
            for low, high in sorted(away, reverse=True):
                end = low if low < end <= high else end
            free = put_on_by(end, length[charger], away)
            if free < max(release, own) - 1e-6 or need - end > rules.most_full_min + 1e-6:
                return math.inf
            if any(low + 1e-6 < free < high - 1e-6 for low, high in away):
                return math.inf
            total += need - end
    return total


def pack_figures(rng: random.Random) -> dict[str, Any]:
    """A pack of two cells by chance: its label, how full it is and its resistance."""
    return {
        "cells": 2,
        "capacity_mah": rng.choice([4500, 6000, 6000]),
        "most_c_rate": rng.choice([1, 1, 2]),
        "percent": rng.choice([20.0, 45.0, 45.0, 70.0, 90.0, 100.0]),
        "cell_resistance_ohm": rng.choice([0.002, 0.006]),
    }


def random_day(seed):
    rng = random.Random(seed)
    count = rng.randint(1, 4)
    gap = rng.choice([8, 15, 30, 60])
    at = 0.0
    heats: list[Heat] = []
    for _ in range(count):
        at += gap * (0.3 + 1.4 * rng.random()) + (40 if not heats else 0)
        heats.append(Heat(at, rng.choice([5, 6, 8]), rng.choice([1500, 2500, 3500, 4200])))
    rng.shuffle(heats)
    packs = [
        PlanPack(
            name=f"pack {number}",
            **pack_figures(rng),
            condition="damaged" if rng.randrange(9) == 8 else "sound",
            ready_min=rng.choice([None, None, None, 15.0]),
        )
        for number in range(rng.randint(1, 3))
    ]
    amps = rng.choice([5, 8, 12])
    charger = Charger(
        rng.randint(1, 3) if count < 4 else rng.randint(1, 2),
        amps,
        rng.choice([60, 100]),
        amps * rng.choice([1, 1.5, 3]),
        300,
    )
    rules = PlanRules(
        most_full_min=rng.choice([0, 15, 60, 240]), cooling_min=rng.choice([0, 10, 20])
    )
    return heats, packs, charger, rules


def random_moment(seed):
    """A small day under way: packs on the charger, one of another racer's beside them, a margin."""
    heats, packs, charger, rules = random_day(seed)
    rng = random.Random(-seed - 1)
    heats = heats[:3]
    rules = replace(
        rules,
        now_min=rng.choice([0.0, 0.0, 30.0]),
        margin_min=min(rules.most_full_min, rng.choice([0, 5, 10])),
    )
    heats = [replace(heat, start_min=heat.start_min + rules.now_min) for heat in heats]
    running: list[Any] = []
    for place, pack in enumerate(packs):
        if rng.random() < 0.5 and pack.condition == "sound" and len(running) < charger.outputs:
            until = rules.now_min + rng.choice([-5.0, 5.0, 20.0, 45.0, 60.0])
            percent = rng.choice([100.0, 100.0, 48.0])
            packs[place] = replace(pack, percent=percent, ready_min=None, charging_until_min=until)
            amps = rng.choice([2.0, 5.0])
            running.append(Running(until, amps, amps * 8.4))
    if rng.random() < 0.3:
        running.append(Running(rules.now_min + rng.choice([10.0, 50.0]), 3.0, 25.2))
    return heats, packs, charger, rules, running


def random_pits(seed):
    """A small day with one to three chargers that differ, and times at which nobody watches."""
    heats, packs, charger, rules, running = random_moment(seed)
    rng = random.Random(seed * 7 + 3)
    chargers = [replace(charger, outputs=min(charger.outputs, 2))]
    for _ in range(rng.choice([0, 1, 1, 1, 2])):
        amps = rng.choice([2.0, 4.0, 5.0, 9.0])
        watts = rng.choice([30.0, 60.0, 100.0])
        in_all = amps * rng.choice([1, 2])
        chargers.append(Charger(rng.choice([1, 1, 2]), amps, watts, in_all, 300))
    if rng.random() < 0.2:
        chargers.append(chargers[0])
    if len(chargers) > 2:
        chargers = [replace(each, outputs=1) for each in chargers]
    running = [replace(one, charger=rng.choice([None, *range(len(chargers))])) for one in running]
    away = []
    if rng.random() < 0.75:
        walk = rng.choice([0, 3, 5])
        away = [(heat.start_min - walk, heat.start_min + heat.run_min + walk) for heat in heats]
        if rng.random() < 0.7:
            away += [
                (heat.start_min + heat.run_min + walk, heat.start_min + 2 * heat.run_min + walk)
                for heat in heats
            ]
        if rng.random() < 0.2:
            away.append((rules.now_min - 5, rules.now_min + 12))
        away = merged(away)
    return heats, packs, chargers, rules, running, away


def merged(windows):
    """Windows in order that do not touch."""
    found: list[Any] = []
    for begin, end in sorted(windows):
        if found and begin <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((begin, end))
    return found
