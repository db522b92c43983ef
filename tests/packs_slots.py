"""Every plan that there is for a small day, slot by slot: written from the model's words, not from its code.

A day is cut into slots of one planning step, and every instant of it falls on a cut. From each state
of the packs every choice is followed at every cut: which full pack a heat gets, which pack goes on
which charger. Nothing is used of the planner, nor of its cell: a charge is stepped through in
seconds on the published table.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

from pitapp.packs.formulas import Charger, Heat, PlanPack, PlanRules, Running
from tests.packs_reference import pack_figures
from tests.test_packs_days import Day

SLOT_MIN = 5.0
ANY = 10_000
"""A slot that never comes."""

# Ai et al., J. Electrochem. Soc. 167 (2020) 013512, as computed by PyBaMM 26.10: 0, 10, ... 100 %.
RESTING_V = (3.000, 3.640, 3.695, 3.733, 3.762, 3.793, 3.837, 3.909, 3.995, 4.088, 4.200)
FULL_V = 4.2


class TooNear(Exception):
    """A charge ends so near a whole step that a rounding decides which."""


@cache
def slots_to_full(capacity_mah: float, amps: float, ohm: float, percent: float) -> int:
    """Slots that a charge takes: the current as high as it may be, the cell never over 4.20 V, to C/20."""
    if percent == 100:
        return 0
    whole = capacity_mah * 3.6
    least, charge, seconds, step = whole / 72_000, percent / 100 * whole, 0.0, 0.25
    while True:
        place = min(int(charge / whole * 10), 9)
        part = charge / whole * 10 - place
        rests = RESTING_V[place] + part * (RESTING_V[place + 1] - RESTING_V[place])
        current = min(amps, (FULL_V - rests) / ohm)
        if current <= least or seconds > 1e6:
            break
        charge += current * step
        seconds += step
    slots = seconds / 60 / SLOT_MIN
    if abs(slots - round(slots)) < 0.001 + 0.0001 * slots:
        raise TooNear
    return max(1, math.ceil(slots))


@dataclass(frozen=True)
class PackSlots:
    """A pack at the moment of the plan, in slots."""

    full: bool
    free: int
    """Not on a charger nor too warm to charge from here on; of a full one, full from here on."""
    usable: int
    runs: tuple[bool, ...]
    """The heats that it is large enough for."""


class SlotDay(Day):
    """A small day under way with two or three chargers that differ, looked at at any moment."""

    def __init__(self, seed: int) -> None:
        rng = self.rng = random.Random(seed * 31 + 7)
        self.now = now = rng.choice([0.0, rng.randrange(36_000) / 60])
        self.rules = PlanRules(
            now_min=now,
            most_full_min=rng.choice([0, 15, 60, 60, 240]),
            cooling_min=rng.choice([0, 10, 20]),
            step_min=SLOT_MIN,
        )
        self.rules = replace(
            self.rules, margin_min=min(self.rules.most_full_min, rng.choice([0, 5, 10]))
        )
        self.heats, at = [], rng.randint(1, 20)
        self.heat_slots: list[tuple[int, int]] = []
        for _ in range(rng.choice([1, 2, 3, 3, 4])):
            length = rng.choice([1, 1, 2])
            self.heat_slots.append((at, length))
            self.heats.append(
                Heat(self.at(at), length * SLOT_MIN, rng.choice([1500, 2500, 3500, 4200]))
            )
            at += rng.choice([0, 1, 2, 4, 8, 12, 16])
        order = list(range(len(self.heats)))
        rng.shuffle(order)
        self.heats = [self.heats[each] for each in order]
        self.heat_slots = [self.heat_slots[each] for each in order]
        self.chargers = [
            self._one(most) for most in rng.choice([(2, 1), (2, 1), (2, 2), (1, 1, 2)])
        ]
        self.running: list[Running] = []
        self.on_it: list[str] = []
        self.packs = [self._pack_now(number) for number in range(rng.choice([1, 2, 2, 3]))]
        if rng.random() < 0.2:
            self.running.append(
                Running(self.at(rng.choice([2, 9])), 3.0, 25.2, rng.randrange(len(self.chargers)))
            )
            self.on_it.append("a friend's")
        self.watched, self.walk = rng.random() < 0.3, rng.choice([0.0, 5.0])
        self.marshalling = [
            (heat.start_min + gap, heat.start_min + gap + heat.run_min)
            for heat in self.heats
            if (gap := rng.choice([0.0, 10.0, 20.0]))
        ]

    def at(self, slot: int) -> float:
        return self.now + slot * SLOT_MIN

    def _one(self, most: int) -> Charger:
        rng = self.rng
        outputs, amps = rng.randint(1, most), rng.choice([2.0, 4.0, 6.0, 10.0])
        in_all = amps * rng.choice([1, 1.5, outputs])
        return Charger(outputs, amps, rng.choice([40, 60, 100]), in_all, rng.choice([50, 80, 300]))

    def _pack_now(self, number: int) -> PlanPack:
        rng = self.rng
        pack = PlanPack(
            name=f"pack {number}",
            **pack_figures(rng),
            condition="damaged" if number and rng.randrange(12) == 0 else "sound",
            ready_min=rng.choice([None, None, self.at(2), self.at(4)]),
        )
        if pack.condition != "sound" or rng.random() < 0.6:
            return pack
        charger = rng.choice([None, *range(len(self.chargers))])
        amps, until = rng.choice([0.0, 2.0, 4.0]), rng.choice([-1, 1, 4, 9])
        self.running.append(Running(self.at(until), amps, amps * 8.4, charger))
        self.on_it.append(pack.name)
        return replace(
            pack,
            percent=rng.choice([100.0, 100.0, 48.0]),
            ready_min=None,
            charging_until_min=self.at(until),
        )

    # --- in slots ---------------------------------------------------------------------------------

    def slot(self, moment: float) -> int:
        found = round((moment - self.now) / SLOT_MIN)
        assert abs(self.at(found) - moment) < 1e-6, moment
        return found

    @property
    def sound(self) -> list[PlanPack]:
        return [pack for pack in self.packs if pack.condition == "sound"]

    def alone(self) -> set[int]:
        """The slots in which nobody watches."""
        windows = [(self.slot(begin), self.slot(end)) for begin, end in self.away]
        return {slot for begin, end in windows for slot in range(begin, end)}

    def slots(self) -> Slots:
        return Slots(self, self.alone())


def on_until(slot: int, alone: set[int]) -> int:
    """When a charge ends that would end in so many slots, stopped whenever nobody watches."""
    at = 0
    while slot > 0:
        slot -= at not in alone
        at += 1
    return at if at else slot


Low = tuple[int, int, int]
"""0, the heat that it ran last (-1: none) and from when on it may be charged."""
On = tuple[int, int, int]
"""1, the charger and the slots that its charge still takes."""
Full = tuple[int, int, int]
"""2, from when on a heat may have it and until when."""
State = tuple[tuple[int, int, int], ...]


class Slots:
    """A day's packs, heats and chargers in slots, and every plan for them."""

    def __init__(self, day: SlotDay, alone: set[int]) -> None:
        self.day, self.alone = day, alone
        rules = day.rules
        self.margin = round(rules.margin_min / SLOT_MIN)
        self.most_full = round(rules.most_full_min / SLOT_MIN)
        self.cooling = round(rules.cooling_min / SLOT_MIN)
        self.starts = [start for start, _ in day.heat_slots]
        self.back = [start + length + self.cooling for start, length in day.heat_slots]
        self.last = max(self.starts)
        self.over = max(start + length for start, length in day.heat_slots)
        self.running = [
            (on_until(day.slot(each.until_min), alone), each.amps, each.watts, each.charger)
            for each in day.running
        ]
        self.packs = [self._pack(pack) for pack in day.sound]

    def _pack(self, pack: PlanPack) -> PackSlots:
        day, full = self.day, pack.percent >= 98
        off = usable = cool = 0
        if pack.charging_until_min is not None:
            off = on_until(day.slot(pack.charging_until_min), self.alone)
            usable = off + self.margin
            off = max(off, 0)
        if pack.ready_min is not None and not full:
            cool = day.slot(pack.ready_min)
        runs = tuple(
            pack.capacity_mah - heat.used_mah >= 0.1 * pack.capacity_mah for heat in day.heats
        )
        return PackSlots(full, max(off, cool), max(usable, 0), runs)

    # --- what a charger can do --------------------------------------------------------------------

    def amps(self, pack: PlanPack, charger: Charger, in_use: int) -> float:
        volts = 4.2 * pack.cells
        return min(
            pack.capacity_mah / 1000 * pack.most_c_rate,
            charger.amps_per_output,
            charger.watts_per_output / volts,
            charger.amps_in_all / in_use,
            charger.watts_in_all / in_use / volts,
        )

    def length(self, place: int, ran: int, charger: Charger, in_use: int) -> int:
        pack = self.day.sound[place]
        percent = pack.percent
        if ran >= 0:
            percent = 100 * (1 - self.day.heats[ran].used_mah / pack.capacity_mah)
        amps = self.amps(pack, charger, in_use)
        return slots_to_full(pack.capacity_mah, amps, pack.cell_resistance_ohm, percent)

    def free_outputs(self, number: int, in_use: int, slot: int) -> int:
        """Outputs to be had beside the charges that were on already."""
        charger = self.day.chargers[number]
        on = [each for each in self.running if each[3] in (None, number) and each[0] > slot]
        amps = [self.amps(pack, charger, in_use) for pack in self.day.sound]
        hungry = max(amps)
        hungry_w = max(
            each * 4.2 * pack.cells for each, pack in zip(amps, self.day.sound, strict=True)
        )
        left_a = charger.amps_in_all - sum(each[1] for each in on)
        left_w = charger.watts_in_all - sum(each[2] for each in on)
        free = min(
            charger.outputs - len(on), int(left_a / hungry + 1e-9), int(left_w / hungry_w + 1e-9)
        )
        return max(0, min(in_use, free)) if left_a > 0 and left_w > 0 else 0

    def ways(self) -> Iterator[tuple[int, ...]]:
        """Every number of outputs in use of each charger."""
        return itertools.product(*(range(1, each.outputs + 1) for each in self.day.chargers))

    # --- every plan -------------------------------------------------------------------------------

    def best(self, lost: int, full_slots: float) -> tuple[int, float] | None:
        """Heats without and slots full of the best plan, where that is better than so much; None: it is not."""
        best: tuple[int, float] | None = None
        seen: set[object] = set()
        for in_use in self.ways():
            tables = tuple(
                tuple(
                    tuple(
                        self.length(place, ran, charger, number)
                        for ran in range(-1, len(self.starts))
                        if ran < 0 or self.packs[place].runs[ran]
                    )
                    for charger, number in zip(self.day.chargers, in_use, strict=True)
                )
                for place in range(len(self.packs))
            )
            frees = tuple(
                tuple(self.free_outputs(number, each, slot) for number, each in enumerate(in_use))
                for slot in range(self.last + 1)
            )
            if (tables, frees) in seen:
                continue
            seen.add((tables, frees))
            found = self._best_of(in_use, frees, lost, full_slots)
            if found is not None:
                best, (lost, full_slots) = found, found
        return best

    def _best_of(
        self, in_use: Sequence[int], frees: Sequence[Sequence[int]], lost: int, full: float
    ) -> tuple[int, float] | None:
        lengths = cache(
            lambda place, ran, number: self.length(
                place, ran, self.day.chargers[number], in_use[number]
            )
        )
        states: dict[State, tuple[int, int]] = {tuple(map(self._first, self.packs)): (0, 0)}
        limit = (lost, full - 0.01)
        for slot in range(self.last + 1):
            after: dict[State, tuple[int, int]] = {}
            for state, cost in states.items():
                for ran, costs in self._heats(state, cost, slot):
                    if costs >= limit:
                        continue
                    on = self._charged(ran, slot, frees[slot], lengths)
                    for going in on if slot not in self.alone else [ran]:
                        then, more = self._a_slot_on(going, slot)
                        total = (costs[0], costs[1] + more)
                        if total < limit and total < after.get(then, (ANY, 0)):
                            after[then] = total
            states = after
        rest = [max(0, self.over - max(self.last + 1, pack.free)) for pack in self.packs]
        ends = [
            (
                lost,
                slots + sum(m for m, each in zip(rest, state, strict=True) if each[2] == ANY + 1),
            )
            for state, (lost, slots) in states.items()
        ]
        found = min(ends, default=limit)
        return found if found < limit else None

    @staticmethod
    def _first(pack: PackSlots) -> tuple[int, int, int]:
        return (2, pack.usable, ANY + 1) if pack.full else (0, -1, pack.free)

    def _heats(
        self, state: State, cost: tuple[int, int], slot: int
    ) -> Iterator[tuple[State, tuple[int, int]]]:
        """A pack or none for each heat that starts at this cut."""
        here = [heat for heat, start in enumerate(self.starts) if start == slot]
        if not here:
            yield state, cost
            return
        able = [
            [None]
            + [
                place
                for place, each in enumerate(state)
                if each[0] == 2 and each[1] <= slot <= each[2] and self.packs[place].runs[heat]
            ]
            for heat in here
        ]
        for chosen in itertools.product(*able):
            given = [each for each in chosen if each is not None]
            if len(set(given)) < len(given):
                continue
            then = list(state)
            for heat, place in zip(here, chosen, strict=True):
                if place is not None:
                    then[place] = (0, heat, self.back[heat])
            yield tuple(then), (cost[0] + chosen.count(None), cost[1])

    def _charged(self, state: State, slot: int, free: Sequence[int], lengths) -> list[State]:  # type: ignore[no-untyped-def]
        """Every way to put packs on chargers at this cut."""
        found = [state]
        for place, each in enumerate(state):
            if each[0] != 0 or each[2] > slot:
                continue
            for before in list(found):
                for number, outputs in enumerate(free):
                    on = sum(other[0] == 1 and other[1] == number for other in before)
                    slots = lengths(place, each[1], number)
                    if on < outputs and slot + slots + self.margin <= self.last:
                        found.append((*before[:place], (1, number, slots), *before[place + 1 :]))
        return found

    def _a_slot_on(self, state: State, slot: int) -> tuple[State, int]:
        """A slot later; and how many packs sat full in it."""
        then, full = [], 0
        for place, each in enumerate(state):
            kind, one, other = each
            if kind == 2:
                full += other != ANY + 1 or slot >= self.packs[place].free
                if other < slot + 1:
                    kind, one, other = 3, 0, 0
                else:
                    one = max(one, slot + 1)
            elif kind == 1 and slot not in self.alone:
                other -= 1
                if not other:
                    until = slot + 1 + self.most_full
                    kind, one, other = (
                        2,
                        slot + 1 + self.margin,
                        until if until < self.last else ANY,
                    )
            elif kind == 0:
                other = max(other, slot + 1)
            then.append((kind, one, other))
        return tuple(then), full

    # --- one pack before all others ---------------------------------------------------------------

    def full_at(self, place: int, ran: int) -> int:
        """The first cut at which a pack can be full after a heat (-1: its first), nothing else charged."""
        pack = self.packs[place]
        if pack.full and ran < 0:
            return pack.free
        ready, best = self.back[ran] if ran >= 0 else pack.free, ANY
        for number, charger in enumerate(self.day.chargers):
            for in_use in range(1, charger.outputs + 1):
                left, slot = self.length(place, ran, charger, in_use), ready
                on = False
                while left and slot < self.last + 300:
                    on = on or (
                        slot not in self.alone and self.free_outputs(number, in_use, slot) > 0
                    )
                    left -= on and slot not in self.alone
                    slot += 1
                best = min(best, ANY if left else slot)
        return best

    def in_time(self, full: int, start: int) -> bool:
        """Whether a pack that can be full from a cut on can be so for a heat, and not for too long."""
        ends = range(max(full, start - self.most_full), start - self.margin + 1)
        return any(end - 1 not in self.alone for end in ends)
