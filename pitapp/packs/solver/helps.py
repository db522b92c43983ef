"""What would give heats their pack that the plan has none for, each found by solving the day again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

from pitapp.packs.cell import FULL_CELL_V
from pitapp.packs.safety import charge_current_a
from pitapp.packs.solver.plan import best_schedule, day_of
from pitapp.packs.solver.plan_types import Charger, Heat, PlanPack, PlanRules, Running

STORED_PERCENT = 50.0
MOST_STATES = 2_000
NEW_PACK = "one more pack"


Kind = Literal["watch", "amps", "pack"]


class Help(NamedTuple):
    """One thing that would help, and how many heats would still be without a full pack."""

    kind: Kind
    without: int
    charger: int = 0
    """"amps": which charger, and what each of its outputs would give, all at once."""
    amps: float = 0.0
    watts: float = 0.0
    like: str = ""
    """"pack": one like this, at storage charge or brought full."""
    full: bool = False


class Helps(NamedTuple):
    """What would help, every kind of thing that was tried, and whether no help was passed over."""

    helps: list[Help]
    tried: tuple[Kind, ...]
    proved: bool


def what_would_help(
    heats: Sequence[Heat],
    packs: Sequence[PlanPack],
    chargers: Sequence[Charger],
    rules: PlanRules,
    without: int,
    *,
    running: Sequence[Running] = (),
    away: Sequence[tuple[float, float]] = (),
    most_states: int = MOST_STATES,
) -> Helps:
    """Whether somebody who watches, more amps or another pack would leave fewer than `without`.

    Args:
        heats: as for `plan_charging`, as are `packs`, `chargers`, `rules`, `running` and `away`.
        packs: see there.
        chargers: see there.
        rules: see there.
        without: heats that the plan leaves without a full pack.
        running: see there.
        away: see there.
        most_states: where each search gives up; what it has not found by then is not in the answer.

    >>> heats = [Heat(60, 6, 3000), Heat(70, 6, 3000)]
    >>> packs = [PlanPack(mark, 2, 6000, 1, 40, 0.003) for mark in "AB"]
    >>> slow = Charger(2, 3, 200, 6, 400)
    >>> helps = what_would_help(heats, packs, [slow], PlanRules(), 2)
    >>> [(each.kind, each.amps) for each in helps.helps]
    [('amps', 6.0), ('pack', 0.0)]
    """

    def still(
        own: Sequence[PlanPack], with_them: Sequence[Charger], alone: Sequence[tuple[float, float]]
    ) -> int:
        day, _ = day_of(heats, own, with_them, rules, running, alone)
        best = best_schedule(day, most_states, (without, -math.inf), any_time=True)
        if best.schedule.without >= without:
            sure.append(best.proved)
        return best.schedule.without

    sure: list[bool] = []
    tried: list[Kind] = []
    helps: list[Help] = []
    if away:
        tried.append("watch")
        if (left := still(packs, chargers, ())) < without:
            helps.append(Help("watch", left))
    for place in range(len(chargers)):
        best: Help | None = None
        more = _more_amps(chargers[place], packs)
        if more and "amps" not in tried:
            tried.append("amps")
        for amps, watts in reversed(more):
            with_them = list(chargers)
            with_them[place] = _with_amps(chargers[place], amps, watts)
            left = still(packs, with_them, away)
            if left >= without or (best and left > best.without):
                break
            best = Help("amps", left, place, amps, watts)
        helps += [best] if best else []
    sound = [pack for pack in packs if pack.condition == "sound"]
    if sound:
        tried.append("pack")
        model = max(sound, key=lambda pack: pack.capacity_mah)
        for percent in (STORED_PERCENT, 100.0):
            new = PlanPack(
                NEW_PACK,
                model.cells,
                model.capacity_mah,
                model.most_c_rate,
                percent,
                model.cell_resistance_ohm,
            )
            if (left := still([*packs, new], chargers, away)) < without:
                helps.append(Help("pack", left, like=model.name, full=percent == 100.0))
                break
    return Helps(helps, tuple(tried), all(sure))


def _more_amps(charger: Charger, packs: Sequence[PlanPack]) -> list[tuple[float, float]]:
    """What an output could give instead, to fill each pack at its own rate; the least first.

    In tenths of an ampere and whole watts, as it is said.
    """
    rates = {
        (math.ceil(amps * 10 - 1e-6) / 10, math.ceil(amps * pack.cells * FULL_CELL_V - 1e-6))
        for pack in packs
        if pack.condition == "sound"
        and (amps := charge_current_a(pack.capacity_mah, pack.most_c_rate))
    }
    now = min(charger.amps_per_output, charger.amps_in_all / charger.outputs)
    now_watts = min(charger.watts_per_output, charger.watts_in_all / charger.outputs)
    return sorted(
        {
            (max(amps, now), max(watts, now_watts))
            for amps, watts in rates
            if amps > now or watts > now_watts
        }
    )


def _with_amps(charger: Charger, amps: float, watts: float) -> Charger:
    return replace(
        charger,
        amps_per_output=max(amps, charger.amps_per_output),
        watts_per_output=max(watts, charger.watts_per_output),
        amps_in_all=max(amps * charger.outputs, charger.amps_in_all),
        watts_in_all=max(watts * charger.outputs, charger.watts_in_all),
    )
