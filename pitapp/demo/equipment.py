"""The invented driver's kit: cars, motors, gears, packs, tyres, controllers, tracks and classes."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import cycle
from random import Random

from pitapp.bench import store as bench
from pitapp.bench.models import MotorCheck
from pitapp.checks.controllers import store as controllers
from pitapp.checks.controllers.profiles import store as profile_store
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller, Profile
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.demo import plan
from pitapp.demo.charging import NEW_CELL_OHM
from pitapp.kit import store as kit
from pitapp.kit.leads import store as leads
from pitapp.kit.scales import store as scales
from pitapp.kit.scales.models import Part, Weighing
from pitapp.kit.teeth import parse_teeth
from pitapp.kit.wear import store as wear
from pitapp.kit.wear.models import WornPart
from pitapp.meetings import store as meetings
from pitapp.packs import store as packs
from pitapp.packs.models import Pack
from pitapp.packs.planning import store as planning
from pitapp.roll import store as roll
from pitapp.roll.models import TiltTest
from pitapp.runs.formulas import parse_setup
from pitapp.runs.models import TyreSet
from pitapp.runs.setup import store as setup
from pitapp.runs.tyres import store as tyres
from pitapp.sound import store as sound
from pitapp.sound.models import Comparison, RevCheck
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track

WEAR_MM = 0.04
NEW_MM = {plan.TC: 63.5, plan.COMPACT: 58.4}
WORN_OUT_MM = {plan.TC: 62.4, plan.COMPACT: 57.6}


@dataclass
class DemoEquipment:
    """The numbers that the season refers to, and the tyres as they truly are."""

    cars: dict[str, int] = field(default_factory=dict)
    classes: dict[str, int] = field(default_factory=dict)
    tracks: dict[str, Track] = field(default_factory=dict)
    packs: list[int] = field(default_factory=list)
    charger_id: int | None = None
    diameter_mm: dict[str, float] = field(default_factory=dict)
    sets_made: int = 0

    def __post_init__(self) -> None:
        self._round = cycle(range(3))

    def next_pack(self) -> int:
        """The pack of the next run."""
        return self.packs[next(self._round)]

    def wear(self, car: str) -> None:
        """Wear the tyres of a car by one run."""
        self.diameter_mm[car] -= WEAR_MM

    def measure_tyres(
        self, connection: sqlite3.Connection, rng: Random, car: str, moment: datetime
    ) -> None:
        """Measure the tyres on a car, or put new ones on where they are worn out."""
        car_id = self.cars[car]
        on = tyres.fitted(connection, car_id).tyre_set_id
        if on is None or self.diameter_mm[car] < WORN_OUT_MM[car]:
            self.diameter_mm[car] = NEW_MM[car]
            self.sets_made += 1
            fresh = TyreSet(
                name=f"Set {self.sets_made}",
                kind="control rubber" if car == plan.TC else "soft rubber",
                diameter_mm=NEW_MM[car],
                treatment="cleaned, nothing on them" if rng.random() < 0.5 else "",
            )
            set_id, _ = tyres.save(connection, fresh, moment)
            tyres.fit_tyres(connection, car_id, set_id, moment)
            return
        measured = round(self.diameter_mm[car] + rng.gauss(0, 0.03), 1)
        worn = tyres.tyre_set(connection, on).model_copy(update={"diameter_mm": measured})
        tyres.save(connection, worn, moment)


def fill(connection: sqlite3.Connection, rng: Random, moment: datetime) -> DemoEquipment:
    """Write the kit down as it was bought, before the season."""
    own = DemoEquipment(diameter_mm=dict(NEW_MM))
    kit.add_gears(connection, "pinion", "dp:64", parse_teeth(plan.PINIONS), moment)
    kit.add_gears(connection, "spur", "dp:64", parse_teeth(plan.SPURS), moment)
    for name, car in plan.CARS.items():
        motor_id, _ = kit.save_motor(connection, plan.MOTORS[name], moment)
        own.cars[name], _ = kit.save_car(
            connection, car.model_copy(update={"motor_id": motor_id}), moment
        )
        setup.add(connection, own.cars[name], parse_setup(plan.SETUPS[name]), moment)
        _check_motor(connection, rng, motor_id, moment, as_new=True)
    for track in plan.TRACKS:
        track_id, _ = tracks.save_track(connection, track, moment)
        own.tracks[track.name] = track.model_copy(update={"id": track_id})
    for race_class in plan.CLASSES:
        own.classes[race_class.name], _ = meetings.save_class(connection, race_class, moment)
    for mark, capacity_mah in (("A1", 6000), ("A2", 6000), ("B1", 5600)):
        pack = Pack(
            mark=mark,
            cells_series=2,
            capacity_mah=capacity_mah,
            resistance_new_ohm=NEW_CELL_OHM,
            bought_on=moment.date(),
            mass_g=289,
            remarks="Invented.",
        )
        pack_id, _ = packs.save_pack(connection, pack, moment)
        own.packs.append(pack_id)
    added = [planning.save_charger(connection, item, moment)[0] for item in plan.CHARGERS]
    own.charger_id = added[0]
    _controller(connection, own.cars[plan.TC], moment)
    _weigh(connection, own.cars[plan.TC], moment)
    kit.choose_car(connection, own.cars[plan.TC])
    return own


def finish(connection: sqlite3.Connection, rng: Random, own: DemoEquipment, now: datetime) -> None:
    """Write down what was measured late in the season."""
    for days_ago in (60, 2):
        for name in (plan.TC, plan.COMPACT):
            motor_id = kit.car(connection, own.cars[name]).motor_id
            if motor_id and (days_ago == 2 or name == plan.TC):
                _check_motor(connection, rng, motor_id, now - timedelta(days=days_ago))
    _tilt(connection, own.cars[plan.TC], now - timedelta(days=63, hours=3))
    _hours(connection, own.cars[plan.TC], now)


def _check_motor(
    connection: sqlite3.Connection,
    rng: Random,
    motor_id: int,
    moment: datetime,
    *,
    as_new: bool = False,
) -> None:
    motor = kit.motor(connection, motor_id)
    kv = motor.kv_rpm_per_v * (1 if as_new else 1 + abs(rng.gauss(0, 0.012)))
    check = MotorCheck(
        motor_id=motor_id,
        checked_at=moment,
        as_new=as_new,
        free_rpm=round(kv * 7.4, -1),
        volts=7.4,
        current_a=round((motor.no_load_current_a or 2.0) + abs(rng.gauss(0, 0.15)), 1),
        sensor_a_deg=36.0,
        sensor_b_deg=round(36 + rng.gauss(0, 0.6), 1),
        sensor_c_deg=round(36 + rng.gauss(0, 0.6), 1),
        can_c=round(31 + rng.gauss(0, 2)),
        mass_g=motor.mass_g,
        remarks="Invented.",
    )
    bench.save_check(connection, check, moment)


def _controller(connection: sqlite3.Connection, car_id: int, moment: datetime) -> None:
    steps = []
    for step in STARTING_LIST:
        default, least, most = plan.DEFAULTS.get(step.name, ("", None, None))
        known = {
            "planned": plan.PLANNED.get(step.name, step.planned),
            "maker_default": default,
            "range_least": least,
            "range_most": most,
        }
        steps.append(step.model_copy(update=known))
    item = Controller(
        name="Invented controller",
        firmware="1.4",
        signal_text="Lamp: long, short, short, long (invented)",
        remarks="Invented.",
    )
    new_id, _ = controllers.add(connection, item, steps, car_id, moment)
    added = controllers.controller(connection, new_id)
    own = lists.settings_list(connection, new_id)
    planned = {
        each.id: plan.PRACTICE.get(each.name, each.planned)
        for each in lists.steps(connection, own.id)
    }
    practice = Profile(controller_id=new_id, name="Open practice (invented)")
    profile_store.add(connection, added, practice, planned, moment)


def _weigh(connection: sqlite3.Connection, car_id: int, moment: datetime) -> None:
    for name, mass_g in plan.PARTS:
        scales.save_part(connection, Part(car_id=car_id, name=name, mass_g=mass_g), moment)
    weighing = Weighing(
        car_id=car_id,
        weighed_at=moment,
        front_left_g=323,
        front_right_g=327,
        rear_left_g=332,
        rear_right_g=330,
        wheelbase_mm=257,
        track_width_mm=168,
        remarks="Invented.",
    )
    scales.save_weighing(connection, weighing, moment)
    for lead in plan.LEADS:
        leads.save_lead(connection, lead.model_copy(update={"car_id": car_id}), moment)


def _hours(connection: sqlite3.Connection, car_id: int, now: datetime) -> None:
    motor_id = kit.car(connection, car_id).motor_id
    for name, days_ago, most_runs, most_minutes, where in (
        ("Rear differential", 30, 60, None, {"car_id": car_id}),
        ("Belt", 120, None, None, {"car_id": car_id}),
        ("Rotor", 63, None, 600, {"motor_id": motor_id}),
    ):
        item = WornPart(
            name=name,
            since=now - timedelta(days=days_ago),
            most_runs=most_runs,
            most_minutes=most_minutes,
            remarks="Invented.",
            **where,
        )
        wear.save(connection, item, now)


def _tilt(connection: sqlite3.Connection, car_id: int, moment: datetime) -> None:
    car = kit.car(connection, car_id)
    test = TiltTest(
        car_id=car_id,
        motor_id=car.motor_id,
        tested_at=moment,
        angle_deg=7.5,
        mass_g=car.mass_g or 1312,
        tyre_diameter_mm=62.9,
        pinion_teeth=42,
        spur_teeth=72,
        internal_ratio=car.internal_ratio,
        kv_rpm_per_v=2380,
    )
    roll.add_test(connection, test, moment)
    own_check = RevCheck(
        car_id=car_id,
        motor_id=car.motor_id,
        checked_at=moment,
        rpm=14_540,
        heard_spread_rpm=15,
        limit_rpm=car.rev_limit_rpm or 14_600,
    )
    sound.add_rev_check(connection, own_check, moment)
    beside = Comparison(compared_at=moment, heard_rpm=17_560, instrument_rpm=17_610)
    sound.add_comparison(connection, beside, moment)
