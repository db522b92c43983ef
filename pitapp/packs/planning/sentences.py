"""What the plan says of what would help, and of what it costs that nobody watches."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pitapp.packs.models import ChargerRecord
from pitapp.packs.solver.helps import Help, Helps
from pitapp.packs.solver.plan_types import ChargePlan

_TRIED = {"watch": "somebody who watches", "amps": "more amps", "pack": "one more pack like these"}


def nothing_helps_sentence(helps: Helps) -> str:
    """That no one thing helps, and which were tried; nothing where none was.

    >>> nothing_helps_sentence(Helps([], ("watch", "pack"), True))
    'No one thing would help: not somebody who watches, nor one more pack like these.'
    """
    if not helps.tried:
        return ""
    what = "would help" if helps.proved else "was seen to help"
    return f"No one thing {what}: not {', nor '.join(_TRIED[each] for each in helps.tried)}."


def help_sentence(each: Help, without: int, chargers: Sequence[ChargerRecord]) -> str:
    """One thing that would help, and how far.

    >>> help_sentence(Help("watch", 0), 2, [])
    'Somebody who watches while you drive or marshal: every heat has a full pack.'
    >>> help_sentence(Help("pack", 1, like="A", full=True), 3, [])
    'One more pack like A, brought full: 1 heat without a full pack instead of 3.'
    >>> own = ChargerRecord(name="Box", outputs=1, amps_per_output=3, watts_per_output=50, amps_in_all=3)
    >>> help_sentence(Help("amps", 0, amps=10 / 3, watts=10 / 3 * 16.8), 1, [own])
    'Box with 3.33 A, 56 W on its output (3.333 A in all): every heat has a full pack.'
    >>> own = ChargerRecord(name="Box", outputs=2, amps_per_output=3, watts_per_output=50, amps_in_all=6)
    >>> help_sentence(Help("amps", 0, amps=6.0, watts=51), 1, [own])
    'Box with 6 A, 51 W on each output (12 A in all): every heat has a full pack.'
    """
    what = "Somebody who watches while you drive or marshal"
    if each.kind == "amps":
        charger = chargers[each.charger]
        outputs = "on each output" if charger.outputs > 1 else "on its output"
        watts = f", {each.watts:.4g} W" if each.watts > charger.watts_per_output else ""
        limits = (
            (charger.amps_in_all, each.amps * charger.outputs, "A"),
            (charger.watts_in_all, each.watts * charger.outputs, "W"),
        )
        more = [f"{needs:.4g} {unit}" for own, needs, unit in limits if own and own < needs]
        in_all = f" ({', '.join(more)} in all)" if more else ""
        what = f"{charger.name} with {each.amps:.3g} A{watts} {outputs}{in_all}"
    if each.kind == "pack":
        what = f"One more pack like {each.like}, "
        what += "brought full" if each.full else "at storage charge"
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
