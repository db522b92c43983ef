"""What a charge plan costs, beside a general solver (HiGHS by way of SciPy).

Days are drawn at random: 12 heats, 20 packs that differ, 4 outputs. The solver is given the same
model on a grid of one minute, which is exact as heats and lengths are whole minutes here. Where
both prove their answer the answers must be the same, or the benchmark fails.
"""

from __future__ import annotations

import math
import random
import time

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from pitapp.packs.formulas import ChargePlan, Charger, Heat, PlanPack, PlanRules, plan_charging
from pitapp.packs.solver.plan import pack_capability
from tests.benchmarks import Row, row_of

CHARGER = Charger(4, 10, 150, 40, 600)
DAYS = 3
GAPS_MIN = {"usual": 25, "busy": 12, "crowded": 6}


def random_day(seed: int, gap_min: float) -> tuple[list[Heat], list[PlanPack]]:
    """Return 12 heats about `gap_min` apart and 20 packs, no two alike."""
    rng = random.Random(seed)
    at = 60 + rng.random() * 60
    heats = []
    for _ in range(12):
        heats.append(Heat(round(at), rng.choice([5, 6, 8]), 3000 + rng.random() * 1500))
        at += gap_min * (0.5 + rng.random())
    packs = [
        PlanPack(
            name=f"pack {number}",
            cells=2,
            capacity_mah=rng.choice([5000, 5500, 6000, 7000]),
            most_c_rate=rng.choice([1, 1, 2]),
            percent=10 + 70 * rng.random(),
            cell_resistance_ohm=0.002 + 0.004 * rng.random(),
        )
        for number in range(20)
    ]
    return heats, packs


def solved_in_general(
    heats: list[Heat], packs: list[PlanPack], rules: PlanRules
) -> tuple[int, float] | None:
    """Return heats without a pack and time full by integer programming; None if it ran out of time.

    One variable for each pack, heat before it (or none), heat and minute at which the charge ends.
    """
    columns: list[tuple[int, int, int, int, int]] = []
    for number, pack in enumerate(packs):
        prospect = pack_capability(pack, heats, CHARGER, CHARGER.outputs, rules)
        for heat, at in enumerate(heats):
            if not math.isfinite(prospect.recharge_min[heat]):
                continue
            for before in range(-1, heat):
                length, release = prospect.first_min, rules.now_min
                if before >= 0:
                    length = prospect.recharge_min[before]
                    ran = heats[before]
                    release = ran.start_min + ran.run_min + rules.cooling_min
                if not math.isfinite(length):
                    continue
                last, first = int(at.start_min), math.ceil(at.start_min - rules.most_full_min)
                columns += [
                    (number, before, heat, end, int(length))
                    for end in range(first, last + 1)
                    if end - length >= release
                ]
    entries: list[tuple[int, int, float]] = []
    most: list[float] = []

    def row(terms: list[tuple[int, float]], limit: float) -> None:
        entries.extend((len(most), column, factor) for column, factor in terms)
        most.append(limit)

    for heat in range(len(heats)):
        row([(c, 1.0) for c, it in enumerate(columns) if it[2] == heat], 1)
    for number in range(len(packs)):
        mine = [(c, it) for c, it in enumerate(columns) if it[0] == number]
        row([(c, 1.0) for c, it in mine if it[1] < 0], 1)
        for heat in range(len(heats)):
            again = [(c, 1.0) for c, it in mine if it[1] == heat]
            if again:
                row(again + [(c, -1.0) for c, it in mine if it[2] == heat], 0)
    for minute in range(int(heats[-1].start_min) + 1):
        row(
            [(c, 1.0) for c, it in enumerate(columns) if it[3] - it[4] <= minute < it[3]],
            CHARGER.outputs,
        )
    rows_, columns_, values = zip(*entries, strict=True)
    matrix = coo_array((values, (rows_, columns_)), shape=(len(most), len(columns))).tocsr()
    served = 10_000.0
    cost = np.array([heats[it[2]].start_min - it[3] - served for it in columns])
    answer = milp(
        cost,
        constraints=LinearConstraint(matrix, -np.inf, most),
        integrality=np.ones(len(columns)),
        bounds=Bounds(0, 1),
        options={"time_limit": 120, "mip_rel_gap": 0},
    )
    if answer.status != 0:
        return None
    used = np.round(answer.x) > 0
    full = sum(heats[it[2]].start_min - it[3] for c, it in enumerate(columns) if used[c])
    return len(heats) - int(used.sum()), float(full)


def compared(seed: int, gap_min: float) -> tuple[float, float, ChargePlan]:
    """Return both times in seconds and the plan, having checked that the answers agree."""
    heats, packs = random_day(seed, gap_min)
    rules = PlanRules(most_full_min=15)
    began = time.perf_counter()
    plan = plan_charging(heats, packs, CHARGER, rules)
    planned = time.perf_counter()
    other = solved_in_general(heats, packs, rules)
    solved = time.perf_counter()
    if other is not None and plan.proved and other != (plan.heats_without, plan.full_min):
        raise AssertionError(f"{seed}: {other} and {plan.heats_without}, {plan.full_min}")
    return planned - began, solved - planned, plan


def rows() -> list[Row]:
    """Return the time of a plan for 12 heats, 20 packs and 4 outputs on three sorts of day."""
    found = []
    for name, gap in GAPS_MIN.items():
        runs = [compared(seed, gap) for seed in range(DAYS)]
        pairs = [(mine, other) for mine, other, _ in runs]
        proved = sum(plan.proved for *_, plan in runs)
        slowest = max(mine for mine, _ in pairs)
        label = f"charge plan, {name} day ({proved} of {DAYS} proved, slowest {slowest:.2f} s)"
        found.append(row_of(label, pairs, unit="s", target="under 1 s"))
    return found


def main() -> None:
    for row in rows():
        print(f"{row.name}: {row.measured:.3f} s, general solver {row.reference:.1f} s")


if __name__ == "__main__":
    main()
