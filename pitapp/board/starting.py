"""Getting started: what is still missing for a race day, in the order of need, a screen each."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import NamedTuple

from pitapp.checks.controllers import store as controllers
from pitapp.kit import store as kit
from pitapp.kit.gear_gap import gear_gap
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.packs import store as packs
from pitapp.tracks import store as tracks

PUT_AWAY = "getting_started"
"""The setting under which the racer has put the list away."""
Missing = Callable[[sqlite3.Connection, Car | None], bool]


class StartStep(NamedTuple):
    """A step: what it adds, what that unlocks, its screen, and whether it is missing still."""

    name: str
    label: str
    unlocks: str
    path: str
    missing: Missing

    @property
    def href(self) -> str:
        """Its screen, opened as a step."""
        return f"{self.path}?start={self.name}"


def _no_gears(connection: sqlite3.Connection, car: Car | None) -> bool:
    gears = kit.gears(connection)
    return gear_gap(car, gears) is not None if car else not gears


def _no_motor_or_controller(connection: sqlite3.Connection, car: Car | None) -> bool:
    if car is None:
        return not controllers.controllers(connection)
    return car.motor_id is None or controllers.in_car(connection, car.id) is None


STEPS = (
    StartStep(
        "class",
        "Add your class",
        "The class's limits go into your car and controller, and each reading is checked against them.",
        "/meetings/classes/new",
        lambda connection, car: not meetings.race_classes(connection),
    ),
    StartStep(
        "car",
        "Add your car",
        "Gives you FDR, rollout and the run log.",
        "/kit/cars/new",
        lambda connection, car: car is None,
    ),
    StartStep(
        "gears",
        "Add your gears",
        "Shows the next longer and shorter gear that you own.",
        "/kit/gears",
        _no_gears,
    ),
    StartStep(
        "motor",
        "Add motor and controller",
        "Gives you speeds, can temperature and a check against your plan.",
        "/checks/controllers/new",
        _no_motor_or_controller,
    ),
    StartStep(
        "pack",
        "Add a pack",
        "Charge by steps, plan the day's charges, keep its history.",
        "/packs/new",
        lambda connection, car: not packs.packs(connection),
    ),
    StartStep(
        "track",
        "Add a track",
        "Gives you the forecast: every gear ranked for this track.",
        "/tracks/new",
        lambda connection, car: not tracks.tracks(connection),
    ),
    StartStep(
        "meeting",
        "Add a meeting",
        "Counts down to each heat and says what is due next.",
        "/meetings/new",
        lambda connection, car: not meetings.meetings(connection, limit=1),
    ),
)
NAMES = tuple(step.name for step in STEPS)


def missing_steps(connection: sqlite3.Connection, car: Car | None) -> list[StartStep]:
    """What is still missing, in the order of need."""
    return [step for step in STEPS if step.missing(connection, car)]


def next_step(connection: sqlite3.Connection, car: Car | None, after: str) -> StartStep | None:
    """The next missing step behind that one; None at the end.

    >>> NAMES.index("car")
    1
    """
    behind = NAMES[NAMES.index(after) + 1 :] if after in NAMES else NAMES
    return next(
        (step for step in missing_steps(connection, car) if step.name in behind),
        None,
    )


class Place(NamedTuple):
    """A step as the head of its screen: its place among all, and what it unlocks."""

    number: int
    total: int
    unlocks: str
    skip: str


def place_of(name: str) -> Place | None:
    """The place of the step of that name; None where there is none."""
    if name not in NAMES:
        return None
    at = NAMES.index(name)
    return Place(at + 1, len(STEPS), STEPS[at].unlocks, f"/start?after={name}")
