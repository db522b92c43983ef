"""Which pack for which heat, and which charge when: an exact search over one day.

The day as the search sees it: heat j needs a full pack at `need[j]`, its charge ended by
`deadline[j]`, and gives it back, cool enough to charge, at `back[j]`. Packs that behave alike are
one kind, outputs that charge every pack alike one group. A heat is served by a charge (its "job") of
known length on each group, either a kind's first charge or a recharge after an earlier heat. Jobs
are on the watched clock, which stands still while nobody watches, so that a charge which is stopped
and taken up again is one piece.

Every best schedule can be rebuilt from the end of the day backwards: take its charges in falling
order of their ends, and put each on the output of its group that is free latest, ending as late as it
can (its deadline, or where that output's next charge begins). Moving a charge later never hurts:
it sits full for less and begins no sooner. An output that is taken until some moment counts as a
charge that ends then; which of the outputs free at that moment it has does not matter, so it is
placed when the first charge of its group comes that ends no later.

So it is enough to search over orders of charges and over what each one charges where; the search is
depth first from a schedule made quickly, which it has to beat, with four prunings that lose no best
schedule: a bound on the heats that must go without, a bound on the waiting still to come, a table of
states already met with no less time left and no more waiting, and no use of a pack for which there
are more packs at least as good than there are heats.
"""

from __future__ import annotations

import math
from dataclasses import replace

from pitapp.packs.solver.branch_and_bound import BranchAndBound
from pitapp.packs.solver.greedy import first_schedule
from pitapp.packs.solver.problem import Job, Schedule, ScheduleProblem


def search(
    day: ScheduleProblem,
    most_states: int = 16_000,
    beat: tuple[int, float] = (1_000_000, math.inf),
    *,
    any_time: bool = False,
) -> Schedule:
    """The schedule with the fewest heats without a full pack, then the least time full.

    If none is better than `beat` (heats without, time full) the result is worse than any schedule.
    With `any_time` the first schedule with so few heats without will do; it is not proved.
    """
    heats = len(day.need)
    left = most_states
    proved = True
    first = first_schedule(day)
    known = first if (first.without, first.full_time) < beat else None
    limit = (known.without, known.full_time) if known else beat
    for without in range(min(limit[0], heats) + 1):
        if any_time and known and without == known.without:
            break
        most = limit[1] if without == limit[0] else math.inf
        best, done, states = _search_with(day, without, max(left, _DIVE_STATES), most, any_time)
        left -= states
        proved = proved and done
        if best is not None:
            return Schedule(tuple(best[1]), without, best[0], proved, most_states - left)
    if known:
        return replace(known, proved=proved, states=most_states - left)
    return Schedule((), heats + 1, math.inf, proved, most_states - left)


_DIVE_STATES = 400
_ROUNDS = (
    (0.001, False, 5),
    (0.001, True, 8),
    (2.0, False, 4),
    (5.0, False, 4),
    (15.0, False, 4),
    (40.0, False, 3),
    (100.0, True, 2),
    (math.inf, True, 1),
)
"""Minutes allowed over the least, whether to try short charges first, share of the states left."""


def _search_with(
    day: ScheduleProblem, without: int, states: int, most: float, any_time: bool = False
) -> tuple[tuple[float, list[Job]] | None, bool, int]:
    """Search with so many heats left out: a short dive for any schedule, then for little time full.

    Each round allows more time full than the one before. A round that runs to its end has found the
    best schedule within its allowance or proved that there is none. Returns the best (time full and
    charges) if there is one, whether that is proved, and how many states it took.
    """
    left = states
    best: tuple[float, list[Job]] | None = None
    least = BranchAndBound(day, without, 0, most).least_cost()
    refuted = -math.inf
    rounds = [(math.inf, True, 0), *_ROUNDS]
    spare = sum(day.outputs) - sum(len(taken) for taken in day.taken)
    if len(day.outputs) == 1 and sum(kind.count for kind in day.kinds) <= spare:
        rounds = [_ROUNDS[-1]]  # an output for each pack: none ever waits
    for allowed, short_first, share in rounds:
        limit = min(most, least + allowed)
        if limit <= refuted and limit < most:
            continue
        states_now = min(left, max(_DIVE_STATES, left // share) if share else _DIVE_STATES)
        run = BranchAndBound(day, without, states_now, limit, short_first)
        run.branch(0.0)
        left -= min(run.states, run.most_states)
        if run.best_jobs is not None:
            best = (run.best_time, run.best_jobs)
            most = run.best_time
            if any_time:
                break
        if run.states <= run.most_states:
            if run.best_jobs is not None or limit == most:
                return best, True, states - left
            refuted = limit
        if left <= 0:
            break
    return best, False, states - left
