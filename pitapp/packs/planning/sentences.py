"""What the plan says of what would help, and of what it costs that nobody watches."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pitapp.packs.models import ChargerRecord
from pitapp.packs.solver.helps import Help
from pitapp.packs.solver.plan_types import ChargePlan

NOTHING_HELPS = (
    "No one thing would help: not somebody who watches, nor more amps, nor one more pack."
)


def help_sentence(each: Help, without: int, chargers: Sequence[ChargerRecord]) -> str:
    """One thing that would help, and how far.

    >>> help_sentence(Help("watch", 0), 2, [])
    'Somebody who watches while you drive or marshal: every heat has a full pack.'
    >>> help_sentence(Help("pack", 1, like="A", full=True), 3, [])
    'One more pack like A, brought full: 1 heat without a full pack instead of 3.'
    """
    what = "Somebody who watches while you drive or marshal"
    if each.kind == "amps":
        charger = chargers[each.charger]
        outputs = "on each output" if charger.outputs > 1 else "on its output"
        watts = f", {each.watts:.0f} W" if each.watts > charger.watts_per_output else ""
        what = f"{charger.name} with {each.amps:g} A{watts} {outputs}"
    if each.kind == "pack":
        what = f"One more pack like {each.like}" + (", brought full" if each.full else "")
    if not each.without:
        return f"{what}: every heat has a full pack."
    heats = "1 heat" if each.without == 1 else f"{each.without} heats"
    return f"{what}: {heats} without a full pack instead of {without}."


def alone_sentence(plan: ChargePlan, watched: ChargePlan) -> str:
    """What it costs that nobody watches, beside the best plan with somebody who does.

    >>> plan = ChargePlan((), {}, (), 30.0, True, 1, running=(((0, 5), (20, 40)),))
    >>> alone_sentence(plan, ChargePlan((), {}, (), 10.0, True, 1))
    'Nobody watches: 1 stop, 15 min off the charger, packs full 20 min longer.'
    """
    every = [step.pieces for todo in plan.steps.values() for step in todo] + list(plan.running)
    gaps = [after[0] - before[1] for pieces in every for before, after in pairwise(pieces)]
    costs = []
    if gaps:
        stops = "1 stop" if len(gaps) == 1 else f"{len(gaps)} stops"
        costs += [stops, f"{sum(gaps):.0f} min off the charger"]
    lost = plan.heats_without - watched.heats_without
    if lost > 0:
        costs.append(f"{lost} more heat{'s' if lost > 1 else ''} without a full pack")
    longer = plan.full_min - watched.full_min
    if not lost and longer >= 1:
        costs.append(f"packs full {longer:.0f} min longer")
    if not costs:
        return "Nobody watches: it costs nothing, no charge has to be stopped."
    return f"Nobody watches: {', '.join(costs)}."
