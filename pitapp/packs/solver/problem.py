"""A day as the search sees it, and the schedule that it finds."""

from __future__ import annotations

from dataclasses import dataclass

from pitapp.packs.solver.watched_time import WatchedTime


@dataclass(frozen=True)
class Kind:
    """Packs that behave alike: how many, when they can first be charged, and for how long.

    Full ones are full from `free_from` on, and the first heat that they `can_run` is the first that
    they are off the charger for; of the others `free_from` is on the watched clock.
    """

    count: int
    free_from: float
    first_length: tuple[float, ...]
    """On each group of outputs."""
    recharge_length: tuple[tuple[float, ...], ...]
    """On each group after each heat; infinite where no later heat could profit from it."""
    can_run: tuple[bool, ...]
    full: bool

    def idle_time(self, day_end: float) -> float:
        """How long a full pack sits full that no heat gets."""
        return max(0.0, day_end - self.free_from)


@dataclass(frozen=True)
class ScheduleProblem:
    """A day for the search; times in one unit, heats in order of `need`.

    Charges are on the watched clock of `time`: a charge ends at its heat's `deadline` or earlier.
    Outputs that charge alike are a group; of its `outputs` some may be taken from the start: `taken`
    says until when, the latest first.
    """

    start: float
    end: float
    need: tuple[float, ...]
    """The heats' starts, by the clock on the wall, as is `end`."""
    deadline: tuple[float, ...]
    """When the charge for each heat ends at the latest, and from when on its pack may be charged
    `back`, both on the watched clock."""
    back: tuple[float, ...]
    kinds: tuple[Kind, ...]
    outputs: tuple[int, ...]
    taken: tuple[tuple[float, ...], ...]
    most_full: float
    margin: float
    time: WatchedTime


@dataclass(frozen=True)
class Job:
    """One charge for one heat: the kind, the heat the pack ran before (None: its first charge).

    On the watched clock; where the pack was full (`group` None), begin and end are when it was so.
    """

    heat: int
    kind: int
    before: int | None
    begin: float
    end: float
    group: int | None


@dataclass(frozen=True)
class Schedule:
    """The best schedule found, what it costs, and whether the search went to its end."""

    jobs: tuple[Job, ...]
    without: int
    full_time: float
    proved: bool
    states: int


def is_better(kinds: tuple[Kind, ...], place: int, number: int) -> bool:
    """Whether a pack of the kind at `place` does at least as well as one of kind `number` always.

    Such a pack may stand in for the other in any schedule, so the other is never used before it.
    """
    kind, other = kinds[place], kinds[number]
    if place == number or kind.full or other.full:
        return False
    return (
        kind.free_from <= other.free_from
        and all(a <= b for a, b in zip(kind.first_length, other.first_length, strict=True))
        and all(
            a <= b
            for mine, its in zip(kind.recharge_length, other.recharge_length, strict=True)
            for a, b in zip(mine, its, strict=True)
        )
        and all(a >= b for a, b in zip(kind.can_run, other.can_run, strict=True))
    )
