"""Everything that the forecast of the current car stands on, gathered from the rooms that keep it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import cached_property

from pitapp.drive import sources, store
from pitapp.drive.inputs import Known, known
from pitapp.drive.lap import track_by_feel
from pitapp.drive.learn_from_runs import (
    MOST_RUNS,
    Learned,
    Lesson,
    learned,
    lessons,
    logged_run,
)
from pitapp.drive.missing import Missing, missing_gears
from pitapp.drive.models import Setup, Track
from pitapp.drive.setting_up import setup_of
from pitapp.errors import NotThere
from pitapp.gearing import answer as gearing
from pitapp.gearing import store as gear_store
from pitapp.gearing.models import FitLimits, GearOption
from pitapp.kit import store as kit
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
from pitapp.tracks.formulas import for_drive

COOLING_TAU_S = 600.0


class Garage:
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
        self.box = gearing.Box((), (), FitLimits())
        self.options: tuple[GearOption, ...] = ()
        self.gap: GearGap | None = None
        if self.car:
            if motor_id := motor_id or self.car.motor_id:
                self.motor = kit.motor(connection, motor_id)
            self.fitted = gear_store.fitted(connection, self.car.id)
            pinions, spurs = kit.owned_teeth(connection, self.car.pitch)
            self.box = gearing.Box(tuple(pinions), tuple(spurs), gearing.limits_of(self.car))
            self.options = gearing.options(self.box, self.car.internal_ratio)
            self.gap = gear_gap(self.car, kit.gears(connection))
        self.class_id = class_id
        self._driven: dict[int, Track | None] = {}
        self.meeting = meetings.current_meeting(connection, now)
        self.tracks = {each.id: each for each in track_store.tracks(connection)}
        if track_id and track_id not in self.tracks:
            raise NotThere("There is no such track.")
        self.track_id = self._likely_track() if track_id is None else track_id

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
        likely = [pack for pack in self.sound_packs if sources.suits(pack, self.car)]
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
            values |= sources.motor_figures(motor)
        if pack:
            values |= sources.pack_figures(pack, self._readings.get(pack.id))
        return setup_of(sources.swapped(self.known, values))

    @cached_property
    def feels(self) -> dict[int, store.Feel]:
        """What is felt of tracks that nobody has measured."""
        return store.feels(self.connection)

    @property
    def track_record(self) -> track_models.Track | None:
        """The track as it stands under Tracks."""
        return self.tracks.get(self.track_id)

    def driven_track(self, track_id: int) -> Track | None:
        """A track as the model drives it: measured, else by its feel, else None."""
        if track_id not in self._driven:
            self._driven[track_id] = self._drive(track_id)
        return self._driven[track_id]

    def _drive(self, track_id: int) -> Track | None:
        record = self.tracks.get(track_id)
        if record is not None and record.straights:
            return for_drive(record)
        feel = self.feels.get(track_id)
        return None if feel is None else track_by_feel(*feel)

    @cached_property
    def track(self) -> Track | None:
        """The chosen track as the model drives it."""
        return self.driven_track(self.track_id)

    @property
    def about(self) -> store.About:
        """What the racer's own figures are about."""
        return store.About(
            self.car.id if self.car else 0, self.motor.id if self.motor else 0, self.track_id
        )

    @cached_property
    def known(self) -> dict[str, Known]:
        """Every figure with its source."""
        told: list[sources.Told] = []
        last = self.logged[0] if self.logged else None
        if last and abs(self.now - last.started_at) < timedelta(hours=store.FRESH_HOURS):
            told.append(("from the last run", "", {"air_c": last.air_c}))
        rules, pack = self.race_class, self.pack
        if rules:
            told.append(sources.told_by_class(rules))
        if pack:
            told.append(sources.told_by_pack(pack, self._readings.get(pack.id)))
        if self.car:
            told += sources.told_by_kit(self.car, self.motor)
        if rules:
            told.append(("from the class", rules.name, {"mass_g": rules.least_mass_g}))
        return known(store.own_figures(self.connection, self.about, self.now), told)

    @cached_property
    def _readings(self) -> dict[int, Reading]:
        return packs.latest_readings(self.connection, "cell_ohm")

    @cached_property
    def plain_setup(self) -> Setup:
        """The set-up with nothing learned.

        Raises:
            ValueError: a figure that the model cannot take, in a sentence.
        """
        return setup_of(self.known)

    @cached_property
    def learned(self) -> Learned:
        """What the runs of this motor in this car have taught about this track."""
        return learned(self.lessons(self.logged), self.track_id)

    def lessons(self, runs: Iterable[Run]) -> tuple[Lesson, ...]:
        """What each run says beside the model, oldest first."""
        return lessons(
            tuple(
                told
                for run in runs
                if (told := logged_run(run, self.driven_track, self.race_classes))
            ),
            self.plain_setup,
            self.known["cooling_tau_s"].value or COOLING_TAU_S,
        )

    @cached_property
    def setup(self) -> Setup:
        """The set-up with the gear fitted and all that was learned.

        Raises:
            ValueError: a figure that the model cannot take, in a sentence.
        """
        taught = self.learned
        return self.plain_setup.model_copy(
            update={
                "fitted_ratio": self.fitted.final_drive_ratio if self.fitted else None,
                "logged_ratios": taught.ratios,
                "heating": taught.heating,
                "lap_slope": taught.lap_slope,
            }
        )

    @property
    def missing(self) -> Missing | None:
        """The first thing that the forecast cannot do without, beside the track."""
        if self.car is None:
            return Missing(
                "The forecast needs a car: its gears, tyres and motor.",
                "/kit/cars/new",
                "Add your car",
            )
        car = f"/kit/cars/{self.car.id}"
        if self.motor is None:
            return Missing(
                f"{self.car.name} has no motor yet: its Kv will do.", car, "Add the motor"
            )
        if self.gap:
            return missing_gears(self.gap)
        if not self.options:
            return Missing(
                "No pinion and spur in the box fit this car.", car, "Look at the car's limits"
            )
        try:
            _possible = self.plain_setup
        except ValueError as error:
            return Missing(str(error), f"/forecast/figures{self.query}", "The figures")
        return None
