"""The present for a check: the car, what is in it, the meeting, and what its class asks."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import uuid4

from pitapp.checks.class_limits import class_limits
from pitapp.checks.controllers import store as controllers
from pitapp.checks.controllers.profiles import store as profile_store
from pitapp.checks.controllers.profiles.formulas import in_use
from pitapp.checks.models import Checklist, ChecklistRun, Controller, Limit, Profile, Scope
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.web.clock import current_settings

TAKEN_UP_FOR = timedelta(hours=12)


@dataclass(frozen=True)
class RunContext:
    """What a run-through that begins now is about."""

    now: datetime
    car: Car | None = None
    controller: Controller | None = None
    meeting: Meeting | None = None
    race_class: RaceClass | None = None
    limits: dict[str, Limit] = field(default_factory=dict)
    profile: Profile | None = None
    """The controller's profile that is in use."""
    profiles: tuple[Profile, ...] = ()
    """Every profile of the controller."""

    @property
    def plan_id(self) -> int | None:
        """Under which the plan in use is kept; None where it stands at the settings."""
        return self.profile.plan_id if self.profile else None

    @property
    def profile_title(self) -> str:
        """The profile in use, where there are several."""
        return self.profile.title if self.profile and len(self.profiles) > 1 else ""

    @property
    def profile_by_class(self) -> bool:
        """Whether the profile is in use because it goes with the class raced."""
        return bool(
            self.profile and self.race_class and self.profile.race_class_id == self.race_class.id
        )

    @property
    def car_id(self) -> int | None:
        """The car's id, if there is a car."""
        return self.car.id if self.car else None

    @property
    def left_since(self) -> datetime:
        """A run-through begun before this is not taken up again."""
        return self.now - TAKEN_UP_FOR

    def walk(self, checklist: Checklist, uuid: str = "", scope: Scope = "all") -> ChecklistRun:
        """A run-through of that list that begins now; only settings are gone through in part."""
        return ChecklistRun(
            uuid=uuid or str(uuid4()),
            checklist_id=checklist.id,
            car_id=self.car_id,
            controller_id=checklist.controller_id,
            motor_id=self.car.motor_id if self.car else None,
            race_class_id=self.race_class.id if self.race_class else None,
            meeting_id=self.meeting.id if self.meeting else None,
            firmware=self.controller.firmware
            if checklist.controller_id and self.controller
            else "",
            scope=scope if checklist.controller_id else "all",
            profile_id=self.plan_id if checklist.controller_id else None,
            started_at=self.now,
        )


def cars_with(connection: sqlite3.Connection, checklist: Checklist) -> list[Car]:
    """The cars that the controller of these settings is in; none for a list of another kind."""
    names_by_id = controllers.cars_of(connection).get(checklist.controller_id or 0, {})
    return [kit.car(connection, car_id) for car_id in names_by_id]


def context_of_run(
    connection: sqlite3.Connection, now: datetime, checklist: Checklist, walk: ChecklistRun
) -> RunContext:
    """The present of the car that a run-through is about, also of a removed one."""
    car = kit.car(connection, walk.car_id) if walk.car_id else None
    return run_context(connection, now, checklist, car)


def run_context(
    connection: sqlite3.Connection,
    now: datetime,
    checklist: Checklist | None = None,
    about: Car | None = None,
) -> RunContext:
    """The present of the car `about`, else of the one in use.

    For a controller's settings that is the car in use if the controller is in it, else the one that it is in.
    """
    car = about or kit.current_car(connection, current_settings())
    meeting = meetings.current_meeting(connection, now)
    controller = None
    if checklist and checklist.controller_id:
        controller = controllers.controller(connection, checklist.controller_id)
        if not about:
            cars = cars_with(connection, checklist)
            car = next((each for each in cars if car and each.id == car.id), next(iter(cars), None))
    elif car:
        controller = controllers.in_car(connection, car.id)
    race_class = meetings.class_raced(connection, meeting, car.id if car else None)
    limits = class_limits(race_class)
    if controller is None:
        return RunContext(now, car, None, meeting, race_class, limits)
    held = tuple(profile_store.profiles(connection, controller))
    profile = in_use(held, race_class.id if race_class else None)
    return RunContext(now, car, controller, meeting, race_class, limits, profile, held)
