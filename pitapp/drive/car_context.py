"""The current car with its motor, gears, class, pack, track and runs, read from their stores."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta
from functools import cached_property

from pitapp.drive import store
from pitapp.drive.inputs import input_sources
from pitapp.drive.inputs.build_setup import build_setup
from pitapp.drive.inputs.definitions import InputValue, resolve_inputs
from pitapp.drive.learning.run_history import (
    MOST_RUNS,
)
from pitapp.drive.models import Setup, Track
from pitapp.errors import NotThere
from pitapp.gearing import answer as gearing
from pitapp.gearing import store as gear_store
from pitapp.gearing.models import FitLimits, GearOption
from pitapp.kit import store as kit
from pitapp.kit.class_figures import filled, from_class
from pitapp.kit.gear_gap import GearGap, gear_gap
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.packs import store as packs
from pitapp.packs.models import Pack, Reading
from pitapp.runs import store as run_store
from pitapp.runs.models import Run
from pitapp.tracks import models as track_models
from pitapp.tracks import store as track_store


class CarContext:
    """A car with its motor, gears, class, pack, track and runs, read when first asked for.

    `track_id` and `class_id` are those asked for: None for those most likely meant, track 0 for none
    in particular. `about` is None for the car in use, `motor_id` for the motor that is in the car now.
    """

    def __init__(
        self,
        connection: sqlite3.Connection,
        settings: dict[str, str],
        now: datetime,
        track_id: int | None = None,
        class_id: int | None = None,
        about: Car | None = None,
        motor_id: int | None = None,
    ) -> None:
        self.connection = connection
        self.now = now
        self.car = about or kit.current_car(connection, settings)
        self.motor: Motor | None = None
        self.fitted: gearing.GearFit | None = None
        self.box = gearing.GearBox((), (), FitLimits())
        self.options: tuple[GearOption, ...] = ()
        self.gap: GearGap | None = None
        if self.car:
            if motor_id := motor_id or self.car.motor_id:
                self.motor = kit.motor(connection, motor_id)
            self.fitted = gear_store.fitted(connection, self.car.id)
            pinions, spurs = kit.owned_teeth(connection, self.car.pitch)
            self.box = gearing.GearBox(tuple(pinions), tuple(spurs), gearing.limits_of(self.car))
            self.options = gearing.options(self.box, self.car.internal_ratio)
            self.gap = gear_gap(self.car, kit.gears(connection))
        self.class_id = class_id
        self._driven: dict[int, Track | None] = {}
        self.meeting = meetings.current_meeting(connection, now)
        self.tracks = {each.id: each for each in track_store.tracks(connection)}
        if track_id and track_id not in self.tracks:
            raise NotThere("There is no such track.")
        self.track_id = self._likely_track() if track_id is None else track_id

    @cached_property
    def next_practice(self) -> str | None:
        """The next practice of the meeting that is on; empty without a meeting, None with none left."""
        if self.meeting is None:
            return ""
        left = [
            heat
            for heat in meetings.heats(self.connection, self.meeting.id)
            if heat.kind == "practice" and heat.done_at is None and not heat.started(self.now)
        ]
        return left[0].title if left else None

    def _likely_track(self) -> int:
        meant = [self.meeting.track_id] if self.meeting else []
        meant += [run.track_id for run in self.logged[:1]]
        return next((each for each in meant if each in self.tracks), min(self.tracks, default=0))

    @cached_property
    def logged(self) -> list[Run]:
        """The newest runs of this motor in this car, newest first."""
        return self.runs_before(None)

    def runs_before(self, run_id: int | None) -> list[Run]:
        """Runs of this motor in this car that are older than one, newest first."""
        if self.car is None or self.motor is None:
            return []
        return run_store.runs(
            self.connection,
            car_id=self.car.id,
            motor_id=self.motor.id,
            limit=MOST_RUNS,
            before=run_id,
            with_lists=False,
        )

    @cached_property
    def race_classes(self) -> dict[int, RaceClass]:
        """Every class, by its id."""
        return {each.id: each for each in meetings.race_classes(self.connection)}

    @cached_property
    def race_class(self) -> RaceClass | None:
        """The class asked for, else the one that the car is judged by."""
        if self.class_id:
            if self.class_id not in self.race_classes:
                raise NotThere("There is no such class.")
            return self.race_classes[self.class_id]
        return meetings.class_raced(self.connection, self.meeting, self.about.car_id or None)

    @property
    def query(self) -> str:
        """The end of an address that asks for the same track and class."""
        class_part = f"&race_class={self.class_id}" if self.class_id else ""
        return f"?track={self.track_id}{class_part}"

    @cached_property
    def sound_packs(self) -> list[Pack]:
        """The packs that may be raced."""
        return [pack for pack in packs.packs(self.connection) if pack.condition == "sound"]

    @cached_property
    def pack(self) -> Pack | None:
        """The pack run last, else the first that suits; sound ones only."""
        if self.car is None:
            return None
        meant = [run.pack_id for run in self.logged[:1]]
        sound = {pack.id: pack for pack in self.sound_packs}
        known = filled(self.car, from_class(self.race_class))
        likely = [pack for pack in self.sound_packs if input_sources.suits(pack, known)]
        return next((sound[each] for each in meant if each in sound), likely[0] if likely else None)

    @cached_property
    def other_motors(self) -> dict[int, Motor]:
        """The motors that are not in the car, by their ids."""
        own = self.motor.id if self.motor else 0
        return {each.id: each for each in kit.motors(self.connection) if each.id != own}

    @property
    def other_packs(self) -> dict[int, Pack]:
        """The sound packs beside the one reckoned with, by their ids."""
        own = self.pack.id if self.pack else 0
        return {each.id: each for each in self.sound_packs if each.id != own}

    def setup_with(self, *, motor: Motor | None = None, pack: Pack | None = None) -> Setup:
        """The plain set-up with another motor or pack.

        Raises:
            ValueError: a figure that the model cannot take, in a sentence.
        """
        values: dict[str, float | None] = {}
        if motor:
            values |= input_sources.motor_figures(motor)
        if pack:
            values |= input_sources.pack_figures(pack, self._readings.get(pack.id))
        return self.as_taught(build_setup(input_sources.override(self.inputs, values)))

    @cached_property
    def feels(self) -> dict[int, store.Feel]:
        """Rough guesses of unmeasured tracks, by track id."""
        return store.feels(self.connection)

    @property
    def track_record(self) -> track_models.Track | None:
        """The track as it stands under Tracks."""
        return self.tracks.get(self.track_id)

    @property
    def about(self) -> store.About:
        """What the racer's own figures are about."""
        return store.About(
            self.car.id if self.car else 0, self.motor.id if self.motor else 0, self.track_id
        )

    @cached_property
    def inputs(self) -> dict[str, InputValue]:
        """Every figure with its source."""
        elsewhere: list[input_sources.SourcedInputs] = []
        last = self.logged[0] if self.logged else None
        if last and abs(self.now - last.started_at) < timedelta(hours=store.FRESH_HOURS):
            elsewhere.append(("from the last run", "", {"air_c": last.air_c}))
        rules, pack = self.race_class, self.pack
        if rules:
            elsewhere.append(input_sources.class_inputs(rules, self.car))
        if pack:
            elsewhere.append(input_sources.pack_inputs(pack, self._readings.get(pack.id)))
        if self.car:
            elsewhere += input_sources.kit_inputs(self.car, self.motor)
        if rules:
            elsewhere.append(input_sources.class_car_inputs(rules))
        return resolve_inputs(store.own_figures(self.connection, self.about, self.now), elsewhere)

    @cached_property
    def _readings(self) -> dict[int, Reading]:
        return packs.latest_readings(self.connection, "cell_ohm")

    def as_taught(self, setup: Setup) -> Setup:
        """A set-up with what speeds have taught of it; here nothing is learned."""
        return setup

    @cached_property
    def plain_setup(self) -> Setup:
        """The set-up that the figures make, with what top speeds have taught.

        Raises:
            ValueError: a figure that the model cannot take, in a sentence.
        """
        return self.as_taught(build_setup(self.inputs))
