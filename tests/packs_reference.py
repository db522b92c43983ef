"""A day's charge plan by trying every one there is, written from the model's description alone."""

import itertools
import math
import random

from pitapp.packs.formulas import Charger, Heat, PlanPack, PlanRules, charge_time_s


def everything_tried(heats, packs, charger, rules):
    """Fewest heats without a pack and least time full, by trying every plan there is."""
    heats = sorted(heats, key=lambda heat: heat.start_min)
    packs = [item for item in packs if item.condition == "sound"]
    best = (len(heats) + 1, math.inf)
    for outputs in range(1, charger.outputs + 1):
        tables = [lengths(item, heats, charger, outputs, rules) for item in packs]
        choices = itertools.product([None, *range(len(packs))], repeat=len(heats))
        for choice in sorted(choices, key=lambda choice: choice.count(None)):
            if choice.count(None) > best[0]:
                break
            cost = cost_of(choice, heats, packs, tables, outputs, rules)
            best = min(best, (choice.count(None), cost)) if cost < math.inf else best
    return best


def lengths(item, heats, charger, outputs, rules):
    """Length of the first charge, and of the charge after each heat (None: too small for it)."""
    amps = min(
        item.capacity_mah / 1000 * item.most_c_rate,
        charger.amps_per_output,
        charger.amps_in_all / outputs,
        charger.watts_per_output / (4.2 * item.cells),
        charger.watts_in_all / outputs / (4.2 * item.cells),
    )

    def length(percent):
        seconds = charge_time_s(item.capacity_mah, amps, item.cell_resistance_ohm, percent)
        return max(1, math.ceil(seconds / 60 / rules.step_min - 1e-9)) * rules.step_min

    first = 0 if item.percent >= rules.full_percent else length(item.percent)
    after = []
    for heat in heats:
        left = 100 - 100 * heat.used_mah / item.capacity_mah
        after.append(length(left) if left >= rules.least_left_percent else None)
    return first, after


def cost_of(choice, heats, packs, tables, outputs, rules):
    jobs = []
    cost = 0.0
    day_over = max((heat.start_min + heat.run_min for heat in heats), default=rules.now_min)
    for number, item in enumerate(packs):
        first, after = tables[number]
        mine = [place for place, chosen in enumerate(choice) if chosen == number]
        if any(after[place] is None for place in mine):
            return math.inf
        if item.percent >= rules.full_percent:
            until = heats[mine[0]].start_min if mine else day_over
            cost += until - rules.now_min
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
                jobs.append((max(ready, rules.now_min), heats[place].start_min, first))
            previous = [place]
    return cost + min((waiting(split, rules) for split in splits(jobs, outputs)), default=math.inf)


def splits(jobs, outputs):
    """Every way to deal the jobs out to the outputs, in every order on each."""
    for order in itertools.permutations(jobs):
        for cuts in itertools.combinations_with_replacement(range(len(jobs) + 1), outputs - 1):
            edges = [0, *cuts, len(jobs)]
            yield [order[low:high] for low, high in itertools.pairwise(edges)]


def waiting(split, rules):
    """Time full when each output's charges, the last of them first, end as late as they can."""
    total = 0.0
    for jobs in split:
        free = math.inf
        for release, need, length in jobs:
            end = min(need, free)
            free = end - length
            if free < release - 1e-6 or need - end > rules.most_full_min + 1e-6:
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
