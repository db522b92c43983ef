"""A day's charge plan by trying every one there is, written from the model's description alone."""

import itertools
import math
import random
from dataclasses import replace

from pitapp.packs.formulas import Charger, Heat, PlanPack, PlanRules, Running, charge_time_s


def everything_tried(heats, packs, charger, rules, running=()):
    """Fewest heats without a pack and least time full, by trying every plan there is."""
    heats = sorted(heats, key=lambda heat: heat.start_min)
    packs = [item for item in packs if item.condition == "sound"]
    best = (len(heats) + 1, math.inf)
    for outputs in range(1, charger.outputs + 1):
        tables = [lengths(item, heats, charger, outputs, rules) for item in packs]
        taken = taken_until(packs, charger, outputs, rules, running)
        choices = itertools.product([None, *range(len(packs))], repeat=len(heats))
        for choice in sorted(choices, key=lambda choice: choice.count(None)):
            if choice.count(None) > best[0]:
                break
            cost = cost_of(choice, heats, packs, tables, taken, rules)
            best = min(best, (choice.count(None), cost)) if cost < math.inf else best
    return best


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


def cost_of(choice, heats, packs, tables, taken, rules):
    jobs = []
    cost = 0.0
    day_over = max((heat.start_min + heat.run_min for heat in heats), default=rules.now_min)
    for number, item in enumerate(packs):
        first, after = tables[number]
        mine = [place for place, chosen in enumerate(choice) if chosen == number]
        if any(after[place] is None for place in mine):
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
    ways = splits(jobs, len(taken))
    return cost + min((waiting(split, taken, rules) for split in ways), default=math.inf)


def splits(jobs, outputs):
    """Every way to deal the jobs out to the outputs, in every order on each."""
    for order in itertools.permutations(jobs):
        for cuts in itertools.combinations_with_replacement(range(len(jobs) + 1), outputs - 1):
            edges = [0, *cuts, len(jobs)]
            yield [order[low:high] for low, high in itertools.pairwise(edges)]


def waiting(split, taken, rules):
    """Time full when each output's charges, the last of them first, end as late as they can."""
    total = 0.0
    for jobs, own in zip(split, taken, strict=True):
        free = math.inf
        for release, need, length in jobs:
            end = min(need - rules.margin_min, free)
            free = end - length
            if free < max(release, own) - 1e-6 or need - end > rules.most_full_min + 1e-6:
                return math.inf
            total += need - end
    return total


def random_day(seed):
    rng = random.Random(seed)
    count = rng.randint(1, 4)
    gap = rng.choice([8, 15, 30, 60])
    at = 0.0
    heats = []
    for _ in range(count):
        at += gap * (0.3 + 1.4 * rng.random()) + (40 if not heats else 0)
        heats.append(Heat(at, rng.choice([5, 6, 8]), rng.choice([1500, 2500, 3500, 4200])))
    rng.shuffle(heats)
    packs = [
        PlanPack(
            name=f"pack {number}",
            cells=2,
            capacity_mah=rng.choice([4500, 6000, 6000]),
            most_c_rate=rng.choice([1, 1, 2]),
            percent=rng.choice([20.0, 45.0, 45.0, 70.0, 90.0, 100.0]),
            cell_resistance_ohm=rng.choice([0.002, 0.006]),
            condition=rng.choice(["sound"] * 8 + ["damaged"]),
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
    running = []
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
