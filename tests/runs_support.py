"""A car with all that a run copies, and runs to compare."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from pitapp.db import transaction
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.packs import store as packs
from pitapp.packs.models import Pack
from pitapp.runs.formulas import parse_setup
from pitapp.runs.models import FittedCar, Run, Snapshot, TyreSet
from pitapp.runs.setup import store as setup
from pitapp.runs.tyres import store as tyres
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track
from tests.support import RACE_MORNING

SETUP = """Front:
Ride height 5.2 mm
Springs 2.6 N/mm
Rear:
Springs 2.4 N/mm
Body mount = standard"""


class Pit(NamedTuple):
    """The ids of what was put into the database."""

    car: int
    motor: int
    pack: int
    other_pack: int
    tyres: int
    other_tyres: int
    track: int
    race_class: int
    meeting: int
    heats: tuple[int, ...]


def furnish(connection: sqlite3.Connection, now: datetime = RACE_MORNING) -> Pit:
    """A car with motor, gear, packs, tyres and set-up at a meeting whose first heat was 8 min ago."""
    with transaction(connection):
        return _furnish(connection, now)


def _furnish(connection: sqlite3.Connection, now: datetime) -> Pit:
    motor, _ = kit.save_motor(connection, Motor(name="Example motor", kv_rpm_per_v=2380), now)
    item = Car(
        name="Example car",
        internal_ratio=1.9,
        pitch="dp:64",
        tyre_diameter_mm=63,
        motor_id=motor,
        mass_g=1350,
    )
    car, _ = kit.save_car(connection, item, now)
    gearing.fit(connection, kit.car(connection, car), 45, 66, now)
    pack, other_pack = (
        packs.save_pack(connection, Pack(mark=mark, cells_series=2, capacity_mah=6000), now)[0]
        for mark in ("A", "B")
    )
    packs.put_in(connection, car, "Example car", pack, now - timedelta(minutes=9))
    first, other = (
        tyres.save(connection, TyreSet(name=name, kind="example", runs_elsewhere=before), now)[0]
        for name, before in (("Set 1", 3), ("Set 2", 0))
    )
    tyres.fit_tyres(connection, car, first, now)
    setup.add(connection, car, parse_setup(SETUP), now)
    track, _ = tracks.save_track(connection, Track(name="Example hall"), now)
    race_class, _ = meetings.save_class(connection, RaceClass(name="Example class"), now)
    meeting, _ = meetings.save_meeting(
        connection,
        Meeting(
            day=now.date(), time_zone="Europe/Lisbon", track_id=track, race_class_id=race_class
        ),
        now,
        [Entry("heat", now - timedelta(minutes=8)), Entry("heat", now + timedelta(minutes=40))],
    )
    heats = tuple(heat.id for heat in meetings.heats(connection, meeting))
    return Pit(car, motor, pack, other_pack, first, other, track, race_class, meeting, heats)


def a_run(**values: Any) -> Run:
    """A run of car 1 at track 1 with a gear of 43 / 66; `values` and its snapshot's parts replace."""
    parts = {
        name: values.pop(name)
        for name in ("motor", "pack", "tyres", "controller", "setup", "car")
        if name in values
    }
    known: dict[str, Any] = {
        "car_id": 1,
        "track_id": 1,
        "started_at": RACE_MORNING,
        "pinion_teeth": 43,
        "spur_teeth": 66,
        "internal_ratio": 1.9,
    }
    snapshot = Snapshot(**({"car": FittedCar(id=1, name="Example car")} | parts))
    return Run(**(known | values), snapshot=snapshot)


def form_values(page: str) -> dict[str, str]:
    """Every value that the first form of a page would send, with its token left out."""
    from html.parser import HTMLParser

    class Reader(HTMLParser):
        def __init__(self) -> None:
            super().__init__()
            self.values: dict[str, str] = {}
            self.area = self.select = ""
            self.forms = 0

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found = {name: value or "" for name, value in attrs}
            name = found.get("name", "")
            if tag == "form":
                self.forms += 1
            if self.forms != 1:
                return
            if tag == "input" and name not in ("csrf_token", ""):
                if found.get("type") != "radio":
                    self.values.setdefault(name, found.get("value", ""))
                elif "checked" in found and found["value"] != "other":
                    self.values[name] = found["value"]
            elif tag == "textarea":
                self.area = name
                self.values[name] = ""
            elif tag == "select":
                self.select = name
                self.values[name] = ""
            elif tag == "option" and "selected" in found:
                self.values[self.select] = found.get("value", "")

        def handle_data(self, data: str) -> None:
            if self.area:
                self.values[self.area] += data

        def handle_endtag(self, tag: str) -> None:
            if tag == "textarea":
                self.values[self.area] = (
                    self.values[self.area].removeprefix("\r\n").removeprefix("\n")
                )
                self.area = ""

    reader = Reader()
    reader.feed(page)
    return reader.values
