"""What a charge plan is made from and what it says: heats, packs, charger, each pack's steps.

All instants and lengths of time are minutes from any one moment; whoever shows them turns them
into times of day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from pitapp.limits import number, whole
from pitapp.packs.health.condition import Condition

_MINUTES = 1e8


@dataclass(frozen=True)
class Heat:
    """A heat that needs a full pack at `start_min`, runs for `run_min` and takes `used_mah`."""

    start_min: float
    run_min: float
    used_mah: float

    def __post_init__(self) -> None:
        number(self.start_min, "heat's start", -_MINUTES, _MINUTES, unit="min")
        number(self.run_min, "length of the run", 0, 240, unit="min")
        number(self.used_mah, "charge that the run takes", 0, 100_000, unit="mAh")


@dataclass(frozen=True)
class PlanPack:
    """A pack as it is now.

    `ready_min`: not to be charged before (still warm); None: at once. `charging_until_min`: on the
    charger until then, so that `percent` is what it has then; it is neither run nor charged before.
    `full_since_min`: since when a pack that is full has been so; None: since now.
    """

    name: str
    cells: int
    capacity_mah: float
    most_c_rate: float
    percent: float
    cell_resistance_ohm: float
    condition: Condition = "sound"
    ready_min: float | None = None
    charging_until_min: float | None = None
    full_since_min: float | None = None

    def __post_init__(self) -> None:
        whole(self.cells, "number of cells", 1, 16)
        number(self.capacity_mah, "capacity", 100, 100_000, unit="mAh")
        number(self.most_c_rate, "most charge rate", 0.1, 20, unit="C")
        number(self.percent, "state of charge", 0, 100, unit="%")
        number(self.cell_resistance_ohm, "cell resistance", 1e-5, 0.5, unit="ohm")
        if self.condition not in ("sound", "retired", "damaged"):
            raise ValueError("A pack's condition is sound, retired or damaged.")
        for moment, name in (
            (self.ready_min, "time at which the pack is ready"),
            (self.charging_until_min, "end of the charge"),
            (self.full_since_min, "time since which the pack is full"),
        ):
            if moment is not None:
                number(moment, name, -_MINUTES, _MINUTES)


@dataclass(frozen=True)
class Charger:
    """A charger: equal outputs, each limited, and all together; `name` is for what is said of it."""

    outputs: int
    amps_per_output: float
    watts_per_output: float
    amps_in_all: float
    watts_in_all: float
    discharge_a: float = 1.0
    name: str = "the charger"

    def __post_init__(self) -> None:
        whole(self.outputs, "number of outputs", 1, 16)
        number(self.amps_per_output, "most amps of an output", 0.1, 200, unit="A")
        number(self.watts_per_output, "most watts of an output", 1, 10_000, unit="W")
        number(self.amps_in_all, "most amps in all", 0.1, 2000, unit="A")
        number(self.watts_in_all, "most watts in all", 1, 100_000, unit="W")
        number(self.discharge_a, "discharge current", 0.01, 200, unit="A")


@dataclass(frozen=True)
class Running:
    """A charge that is on already: it has an output until then, and draws so much.

    Where nobody watches it is stopped and taken up again, and ends so much later.
    """

    until_min: float
    amps: float
    """None from the supply while it discharges: 0."""
    watts: float
    charger: int | None = None
    """Place in the list of chargers; None: not known, so no charger has that output free."""

    def __post_init__(self) -> None:
        number(self.until_min, "end of the charge", -_MINUTES, _MINUTES, unit="min")
        number(self.amps, "amps of a charge", 0, 1000, unit="A")
        number(self.watts, "watts of a charge", 0, 100_000, unit="W")


@dataclass(frozen=True)
class PlanRules:
    """The racer's limits. Defaults are common practice without a source."""

    now_min: float = 0.0
    most_full_min: float = 120.0
    cooling_min: float = 20.0
    margin_min: float = 0.0
    """From the end of a charge to the heat, at least: charge times are estimates, and a pack is
    taken off, put in and carried to the track."""
    step_min: float = 5.0
    """Charge times are estimates: each is planned as the next whole number of these steps."""
    full_percent: float = 98.0
    """From here on a pack counts as full and is not charged again."""
    least_left_percent: float = 10.0
    """A pack is not sent into a heat that would leave it with less."""

    def __post_init__(self) -> None:
        number(self.now_min, "present time", -_MINUTES, _MINUTES, unit="min")
        number(self.most_full_min, "longest time to sit full", 0, _MINUTES, unit="min")
        number(self.cooling_min, "cooling time", 0, 1440, unit="min")
        number(self.margin_min, "time from the charger to the heat", 0, 1440, unit="min")
        if self.margin_min > self.most_full_min:
            raise ValueError(
                "A pack cannot come off the charger earlier before its heat than it may sit full."
            )
        number(self.step_min, "planning step", 0.1, 60, unit="min")
        number(self.full_percent, "charge that counts as full", 50, 100, unit="%")
        number(self.least_left_percent, "charge left after a run", 0, 90, unit="%")


@dataclass(frozen=True)
class Step:
    """One thing to do with a pack. A storage step of no length says: put it away as it is."""

    kind: Literal["charge", "storage"]
    start_min: float
    end_min: float
    amps: float
    """Negative while discharging."""
    output: int | None
    """Counted from 1; None if no output is needed."""
    charger: int = 0
    """Place in the list of chargers."""
    pieces: tuple[tuple[float, float], ...] = ()
    """From and to when it is on: more than one where it is stopped and taken up again."""


@dataclass(frozen=True)
class HeatPlan:
    """Which pack goes into a heat, and how full it is.

    A heat without a full pack shows the fullest pack that may be run as it is, or no pack (None).
    """

    pack: str | None
    percent: float
    cell_v: float
    full: bool
    full_since_min: float | None


@dataclass(frozen=True)
class Remedy:
    """A way out for a heat without a full pack."""

    kind: Literal["charge elsewhere", "run part charged", "full later", "before others"]
    """"Full later": at the earliest, if it is charged for this heat first. "Before others": it can be
    full in time like that, but another heat may then have none."""
    pack: str
    at_min: float
    """Begin by, run at, or full at the earliest."""
    cell_v: float
    after_min: float = 0.0
    """"Full later": how long after the heat's start, or less than none where the margin lacks."""
    amps: float = 0.0
    """Of the charge that it takes: "charge elsewhere" at so many or more; none: it is full, or on already."""


@dataclass(frozen=True)
class Conflict:
    """What the plan cannot do: a heat without a full pack, a pack full too long, a pack refused."""

    kind: Literal["no full pack", "sits full", "refused"]
    heat: int | None = None
    """Place in the list of heats given, from 0."""
    pack: str | None = None
    at_min: float = 0.0
    """The heat's start, or until when the pack sits full."""
    reason: str = ""
    """Of a pack that is refused, or why no pack can be had for a heat where there is no remedy."""
    remedies: tuple[Remedy, ...] = ()

    def for_list(self, order: Sequence[int]) -> Conflict:
        """The same, its heat counted in another order."""
        return self if self.heat is None else replace(self, heat=order[self.heat])


@dataclass(frozen=True)
class ChargePlan:
    """The day: a pack for each heat, steps for each pack, and what could not be done."""

    heats: tuple[HeatPlan, ...]
    """One for each heat given, in that order."""
    steps: dict[str, tuple[Step, ...]]
    conflicts: tuple[Conflict, ...]
    full_min: float
    """Minutes that packs sit full, all added up."""
    proved: bool
    """False: the search was cut short, so a better plan may exist."""
    outputs_in_use: int
    """Of all chargers together."""
    running: tuple[tuple[tuple[float, float], ...], ...] = ()
    """From and to when each charge stays on that was on already, in the order given."""

    @property
    def stops(self) -> int:
        """How often a charge is stopped because nobody watches."""
        steps = (step.pieces for todo in self.steps.values() for step in todo)
        return sum(max(0, len(pieces) - 1) for pieces in (*steps, *self.running))

    @property
    def heats_without(self) -> int:
        return sum(not heat.full for heat in self.heats)


@dataclass(frozen=True)
class PackCapability:
    """What the charger can do for a pack: its current, and how long each charge would take."""

    pack: PlanPack
    amps: float
    full: bool
    """It will not need a charge before its first heat."""
    free_min: float
    """It may be charged from then on; a full one counts as full from then on."""
    usable_min: float
    """No heat before may have it, as it is."""
    first_min: float
    left_percent: tuple[float, ...]
    """State of charge after each heat, in order of their starts."""
    recharge_min: tuple[float, ...]
    """Infinite where the pack is too small for that heat."""


@dataclass(frozen=True)
class OutputGroup:
    """Outputs that charge every pack alike, of one charger or of several."""

    outputs: tuple[tuple[int, int], ...]
    """The charger's place and the output, counted from 1."""
    taken: tuple[float, ...]
    """Until when outputs are not to be had, the latest first, on the watched clock."""
    capabilities: tuple[PackCapability, ...]
    """Of each pack."""


@dataclass(frozen=True)
class HeatAssignment:
    """A pack's turn in a heat (counted by their starts), and the charge before it, if any.

    On the watched clock where it was charged; `group` is the place of its outputs' group.
    """

    heat: int
    begin_min: float
    end_min: float
    group: int | None
