"""A season on a laptop and on a phone, with runs added on both: what differs is said, what is missing added."""

from __future__ import annotations

import io
import re
import sqlite3
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.copies import store
from pitapp.copies.adding import identities
from pitapp.copies.adding import store as adding
from pitapp.demo import fill
from pitapp.drive import store as drive
from pitapp.errors import Refused
from pitapp.exchange import readers
from pitapp.exchange import store as exchange
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting
from pitapp.packs import store as packs
from pitapp.packs.models import Pack, Reading
from pitapp.runs import store as runs
from pitapp.runs.models import FittedCar, FittedPack, Run, Snapshot
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track
from tests.support import Clock, PageClient

CAR = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)


class Place:
    """A database somewhere: a laptop's or a phone's."""

    def __init__(self, app: Flask, clock: Clock) -> None:
        self.app, self.clock = app, clock
        app.test_client_class = PageClient
        self.folder: Path = app.config["PITAPP_DATA_DIR"]
        self.db: sqlite3.Connection = app.extensions["pitapp.db"].connection()

    def now(self) -> datetime:
        self.clock.tick(60)
        return self.clock()

    def copy(self) -> Path:
        path = self.folder / "taken.sqlite3"
        store.write_copy(self.db, path)
        return path

    def takes(self, copy: Path) -> None:
        store.restore(self.db, copy, self.folder, self.now())

    def adds(self, copy: Path) -> dict[str, int]:
        return store.add_missing(self.db, copy, self.folder, self.now())[1]

    def differences(self, copy: Path) -> dict[str, tuple[int, int, int]]:
        with store.looked_through(copy, self.folder) as ready:
            listed = store.differences(self.db, ready)
        return {each.table: (each.only_here, each.only_there, each.unlike) for each in listed}

    def car(self, name: str) -> int:
        return next(car.id for car in kit.cars(self.db) if car.name == name)

    def run(self, car_id: int, **more: Any) -> str:
        item = Run(
            uuid=uuid4(),
            car_id=car_id,
            started_at=self.now(),
            **{"snapshot": Snapshot(car=FittedCar(id=car_id, name="as it was")), **more},
        )
        runs.save_run(self.db, item, self.now())
        return str(item.uuid)

    def table(self, sql: str) -> list[tuple[Any, ...]]:
        return sorted(tuple(row) for row in self.db.execute(sql))


@pytest.fixture
def places(tmp_path: Path, clock: Clock) -> Iterator[tuple[Place, Place]]:
    """A laptop with a car and a run, and a phone that has taken them over."""
    apps = [create_app(tmp_path / name, clock=clock) for name in ("laptop", "phone")]
    laptop, phone = (Place(app, clock) for app in apps)
    car_id, _ = kit.save_car(laptop.db, CAR, laptop.now())
    laptop.run(car_id)
    phone.takes(laptop.copy())
    yield laptop, phone
    for app in apps:
        app.extensions["pitapp.db"].close()


RUNS = (
    "SELECT runs.uuid, cars.name, packs.mark, tracks.name, runs.best_lap_s FROM runs "
    "JOIN cars ON cars.id = runs.car_id LEFT JOIN packs ON packs.id = runs.pack_id "
    "LEFT JOIN tracks ON tracks.id = runs.track_id"
)


def test_runs_added_on_both_sides_are_on_both_afterwards(places: tuple[Place, Place]) -> None:
    laptop, phone = places
    assert phone.differences(laptop.copy()) == {}
    # The same numbers, given to different things on either side.
    other, _ = kit.save_car(laptop.db, CAR.model_copy(update={"name": "Second"}), laptop.now())
    pack, _ = packs.save_pack(
        phone.db, Pack(mark="P1", cells_series=2, capacity_mah=6000), phone.now()
    )
    track, _ = tracks.save_track(phone.db, Track(name="Invented Dunes"), phone.now())
    laptop.run(other, best_lap_s=15.5)
    own = phone.car("Invented TC")
    fitted = Snapshot(car=FittedCar(id=own, name="x"), pack=FittedPack(id=pack, mark="P1"))
    phone.run(own, pack_id=pack, track_id=track, best_lap_s=14.9, snapshot=fitted)
    phone.run(own)
    gearing.fit(phone.db, kit.car(phone.db, own), 45, 66, phone.now())
    packs.add_reading(phone.db, Reading(pack_id=pack, read_at=phone.now(), cell_c=21), phone.now())

    assert laptop.differences(phone.copy()) == {
        "runs": (1, 2, 0),
        "gear_fits": (0, 1, 0),
        "pack_readings": (0, 1, 0),
        "cars": (1, 0, 0),
        "packs": (0, 1, 0),
        "tracks": (0, 1, 0),
    }
    assert laptop.adds(phone.copy())["runs"] == 2
    assert phone.adds(laptop.copy()) == {"runs": 1, "cars": 1}
    assert laptop.table(RUNS) == phone.table(RUNS)
    assert len(laptop.table(RUNS)) == 4
    assert {row[2] for row in laptop.table(RUNS)} == {None, "P1"}
    for place in places:
        assert place.differences(laptop.copy()) == place.differences(phone.copy()) == {}
        assert place.adds(phone.copy()) == {}
        readers.read_all(place.db)
    added = next(run for run in runs.runs(laptop.db) if run.pack_id)
    assert added.snapshot.pack is not None
    assert added.snapshot.pack.id == added.pack_id
    assert added.snapshot.car.id == added.car_id


def test_a_run_that_was_changed_on_one_side_is_said_and_stays_as_it_is(
    places: tuple[Place, Place],
) -> None:
    laptop, phone = places
    run = runs.runs(phone.db)[0]
    runs.save_run(phone.db, run.model_copy(update={"remarks": "loose rear"}), phone.now())
    assert laptop.differences(phone.copy()) == {"runs": (0, 0, 1)}
    assert laptop.adds(phone.copy()) == {}
    assert runs.runs(laptop.db)[0].remarks == ""


def test_what_was_renamed_is_known_by_the_runs_it_has_on_both_sides(
    places: tuple[Place, Place],
) -> None:
    laptop, phone = places
    car = kit.cars(phone.db)[0]
    kit.save_car(phone.db, car.model_copy(update={"name": "Old faithful"}), phone.now())
    phone.run(car.id)
    assert laptop.adds(phone.copy()) == {"runs": 1}
    assert [car.name for car in kit.cars(laptop.db)] == ["Invented TC"]
    assert len(laptop.table(RUNS)) == 2


def test_a_run_that_was_removed_on_one_side_does_not_come_back(
    places: tuple[Place, Place],
) -> None:
    laptop, phone = places
    runs.remove_run(laptop.db, runs.runs(laptop.db)[0].id, laptop.now())
    assert laptop.adds(phone.copy()) == {}
    assert runs.runs(laptop.db) == []


def test_a_car_that_was_removed_comes_back_with_runs_of_its_own(
    places: tuple[Place, Place],
) -> None:
    laptop, phone = places
    runs.remove_run(laptop.db, runs.runs(laptop.db)[0].id, laptop.now())
    kit.remove(laptop.db, "cars", laptop.car("Invented TC"), laptop.now())
    phone.run(phone.car("Invented TC"))
    laptop.adds(phone.copy())
    assert [car.name for car in kit.cars(laptop.db)] == ["Invented TC"]
    assert len(runs.runs(laptop.db)) == 1


def test_what_was_removed_here_stays_removed_where_no_new_run_needs_it(
    places: tuple[Place, Place],
) -> None:
    laptop, phone = places
    pack = Pack(mark="P1", cells_series=2, capacity_mah=6000)
    spare, _ = kit.save_car(laptop.db, CAR.model_copy(update={"name": "Spare"}), laptop.now())
    own, _ = packs.save_pack(laptop.db, pack, laptop.now())
    phone.takes(laptop.copy())
    kit.remove(laptop.db, "cars", spare, laptop.now())
    packs.remove(laptop.db, "packs", own, "Removed P1", laptop.now())
    phone.run(phone.car("Invented TC"))
    assert laptop.differences(phone.copy()) == {"runs": (0, 1, 0)}
    assert laptop.adds(phone.copy()) == {"runs": 1}
    assert [car.name for car in kit.cars(laptop.db)] == ["Invented TC"]
    assert packs.packs(laptop.db) == []
    # A run that needs them brings back the same ones, with what is on record of them.
    for _ in range(2):
        phone.run(phone.car("Spare"), pack_id=own)
        laptop.adds(phone.copy())
    assert {run.car_id for run in runs.runs(laptop.db) if run.pack_id == own} == {spare}
    assert [car.name for car in kit.cars(laptop.db)] == ["Invented TC", "Spare"]
    assert [each.id for each in packs.packs(laptop.db)] == [own]


def test_of_several_with_one_name_each_keeps_its_own_runs(places: tuple[Place, Place]) -> None:
    laptop, phone = places
    second, _ = kit.save_car(laptop.db, CAR, laptop.now())
    phone.takes(laptop.copy())
    phone.run(second)
    assert laptop.adds(phone.copy()) == {"runs": 1}
    assert runs.runs(laptop.db)[0].car_id == second
    # Also once the first of them was removed here.
    kit.remove(laptop.db, "cars", kit.cars(laptop.db)[0].id, laptop.now())
    phone.run(second)
    assert laptop.adds(phone.copy()) == {"runs": 1}
    assert [run.car_id for run in runs.runs(laptop.db)][:2] == [second, second]
    assert [car.id for car in kit.cars(laptop.db)] == [second]


def test_all_that_are_missing_of_one_name_are_added(places: tuple[Place, Place]) -> None:
    laptop, phone = places
    pack = Pack(mark="P1", cells_series=2, capacity_mah=6000)
    packs.save_pack(laptop.db, pack, laptop.now())
    for _ in range(3):
        number, _ = packs.save_pack(phone.db, pack, phone.now())
        phone.run(phone.car("Invented TC"), pack_id=number)
    extra = [kit.save_car(phone.db, CAR, phone.now())[0] for _ in range(2)]
    meeting = Meeting(day=phone.now().date(), time_zone="UTC")
    for _ in range(2):
        meetings.save_meeting(phone.db, meeting, phone.now())
    phone.run(extra[1])
    # A run that both have, and that was put right there: it makes no car the one that is here.
    first = next(run for run in runs.runs(laptop.db))
    there = next(run for run in runs.runs(phone.db) if run.uuid == first.uuid)
    runs.save_run(phone.db, there.model_copy(update={"car_id": extra[0]}), phone.now())
    copy = phone.copy()
    assert laptop.differences(copy) == {
        "runs": (0, 4, 0),
        "cars": (0, 2, 0),
        "packs": (0, 2, 0),
        "meetings": (0, 2, 0),
    }
    assert laptop.adds(copy) == {"runs": 4, "cars": 2, "packs": 2, "meetings": 2}
    counted = "SELECT count(*) FROM runs GROUP BY pack_id"
    assert laptop.table(counted) == phone.table(counted) == [(1,), (1,), (1,), (2,)]
    assert len(kit.cars(laptop.db)) == 3
    assert laptop.differences(copy) == {}
    assert laptop.adds(copy) == {}


def test_what_was_entered_anew_there_is_not_there_twice_afterwards(
    places: tuple[Place, Place],
) -> None:
    laptop, phone = places
    pack, _ = packs.save_pack(
        laptop.db, Pack(mark="P1", cells_series=2, capacity_mah=6000), laptop.now()
    )
    reading = Reading(pack_id=pack, read_at=laptop.now(), cell_c=21)
    packs.add_reading(laptop.db, reading, laptop.now())
    phone.takes(laptop.copy())
    old = packs.readings(phone.db, pack)[0].id
    packs.remove(phone.db, "pack_readings", old, "Removed a reading", phone.now())
    packs.add_reading(phone.db, reading, phone.now())
    assert laptop.differences(phone.copy()) == {}
    assert laptop.adds(phone.copy()) == {}


def test_a_photograph_comes_with_its_picture(places: tuple[Place, Place]) -> None:
    laptop, phone = places
    values = "(?, NULL, 'grip', 40, 30, 4, '2026-05-16T09:00:00Z')"
    columns = "(run_id, car_id, caption, width_px, height_px, size_bytes, added_at)"
    phone.db.execute(f"INSERT INTO photographs {columns} VALUES {values}", (1,))
    phone.run(phone.car("Invented TC"))
    phone.db.execute(f"INSERT INTO photographs {columns} VALUES {values}", (2,))
    for number, picture in ((1, "_9j_4AAQ"), (2, "_9j_4BBQ")):
        phone.db.execute("INSERT INTO photograph_data VALUES (?, ?)", (number, picture))
    laptop.db.execute(f"INSERT INTO photographs {columns} VALUES {values}", (1,))
    laptop.db.execute("INSERT INTO photograph_data VALUES (1, '_9j_4AAQ')")
    store_of = "SELECT jpeg, uuid FROM photographs JOIN photograph_data USING (id) JOIN runs ON run_id = runs.id"
    laptop.db.execute("ATTACH DATABASE ? AS brought", (str(phone.copy()),))
    assert adding.add(laptop.db) == {"runs": 1, "photographs": 1}
    assert laptop.table(store_of) == phone.table(store_of)
    assert len(laptop.table(store_of)) == 2


def test_a_copy_is_made_first_and_leads_back(places: tuple[Place, Place]) -> None:
    laptop, phone = places
    phone.run(phone.car("Invented TC"))
    before, _ = store.add_missing(laptop.db, phone.copy(), laptop.folder, laptop.now())
    assert len(laptop.table(RUNS)) == 2
    laptop.takes(before)
    assert len(laptop.table(RUNS)) == 1


def test_a_row_that_does_not_fit_changes_nothing(places: tuple[Place, Place]) -> None:
    laptop, phone = places
    phone.run(phone.car("Invented TC"))
    laptop.db.execute(
        "CREATE TEMP TRIGGER no_more BEFORE INSERT ON main.runs BEGIN SELECT raise(ABORT, 'no more'); END"
    )
    before = laptop.table(RUNS)
    with pytest.raises(Refused, match="Nothing was changed"):
        laptop.adds(phone.copy())
    assert laptop.table(RUNS) == before


def test_a_season_goes_to_a_phone_and_back(tmp_path: Path, clock: Clock) -> None:
    apps = [create_app(tmp_path / name, clock=clock) for name in ("laptop", "phone", "empty")]
    fill(apps[0])
    laptop, phone, empty = (Place(app, clock) for app in apps)
    clock.set(max(run.started_at for run in runs.runs(laptop.db)) + timedelta(days=1))
    phone.takes(laptop.copy())
    assert phone.differences(laptop.copy()) == {}
    cars = [car.id for car in kit.cars(laptop.db)]
    for number in range(6):
        laptop.run(cars[0], best_lap_s=15 + number / 10)
        phone.run(cars[0], best_lap_s=16 + number / 10)
    assert laptop.adds(phone.copy()) == {"runs": 6}
    assert phone.adds(laptop.copy()) == {"runs": 6}
    assert laptop.table(RUNS) == phone.table(RUNS)

    empty.adds(laptop.copy())
    assert empty.differences(laptop.copy()) == {}
    readers.read_all(empty.db)
    for table in exchange.tables(laptop.db):
        if table not in identities.STAY:
            removed = "removed_at" in [each.name for each in exchange.columns(laptop.db, table)]
            sql = f"SELECT count(*) FROM {table}" + (" WHERE removed_at IS NULL" * removed)
            assert empty.table(sql) == laptop.table(sql), table
    for app in apps:
        app.extensions["pitapp.db"].close()


def test_every_table_is_added_or_belongs_to_another_or_stays_for_a_reason(
    db: sqlite3.Connection,
) -> None:
    named = {*identities.KINDS, *identities.BELONGS_TO, *identities.STAY}
    assert named | {*identities.UNDER_ITS_NUMBER} == set(exchange.tables(db))
    side = adding.Side(db, adding.HERE)
    for table, owners in identities.BELONGS_TO.items():
        assert {*owners} <= {*side.references(table)}, table


def test_a_track_comes_with_its_feel(places: tuple[Place, Place]) -> None:
    laptop, phone = places
    tracks.save_track(laptop.db, Track(name="Own track"), laptop.now())
    track, _ = tracks.save_track(phone.db, Track(name="Invented Dunes"), phone.now())
    drive.save_feel(phone.db, track, drive.Feel(31.5, "flowing"), phone.now())
    drive.save_feel(phone.db, 0, drive.Feel(20.0, "tight"), phone.now())
    assert laptop.adds(phone.copy()) == {"tracks": 1}
    added = {track.name: track.id for track in tracks.tracks(laptop.db)}["Invented Dunes"]
    assert added != track
    assert drive.feels(laptop.db) == {added: drive.Feel(31.5, "flowing")}


def test_the_screen_says_what_differs_before_anything_is_changed(
    places: tuple[Place, Place],
) -> None:
    laptop, phone = places
    laptop.run(laptop.car("Invented TC"))
    phone.run(phone.car("Invented TC"))
    phone.run(phone.car("Invented TC"))
    client = laptop.app.test_client()
    looked = client.post_form(  # type: ignore[attr-defined]
        "/copies/uploaded",
        {"file": (io.BytesIO(phone.copy().read_bytes()), "phone.sqlite3")},
        content_type="multipart/form-data",
    )
    assert re.search(r'id="only-here-runs" value="1"', looked.text)
    assert re.search(r'id="only-there-runs" value="2"', looked.text)
    assert len(laptop.table(RUNS)) == 2
    action = re.search(r'action="(/copies/uploaded/[0-9a-f]+/add)"', looked.text)
    assert action is not None
    assert client.post_form(action[1]).status_code == 303  # type: ignore[attr-defined]
    assert len(laptop.table(RUNS)) == 4
    assert client.post_form(action[1]).status_code == 404  # type: ignore[attr-defined]
