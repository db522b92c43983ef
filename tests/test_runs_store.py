"""Runs in the database: what they keep, their order, undo, and tyres that count their runs."""

from __future__ import annotations

import json
import sqlite3
from datetime import timedelta

import pytest

from pitapp.db import undo
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.kit import store as kit
from pitapp.runs import store
from pitapp.runs.models import FittedCar, Run, Setting, Snapshot
from pitapp.runs.setup import store as setup
from pitapp.runs.snapshot import snapshot
from pitapp.runs.tyres import store as tyres
from tests.runs_support import Pit, furnish
from tests.support import RACE_MORNING, Clock


def logged(db: sqlite3.Connection, pit: Pit, minutes: float = 0, **values: object) -> Run:
    """A run so many minutes after the morning, with what is fitted now, on record."""
    known = {
        "car_id": pit.car,
        "track_id": pit.track,
        "race_class_id": pit.race_class,
        "motor_id": pit.motor,
        "tyre_set_id": pit.tyres,
        "started_at": RACE_MORNING + timedelta(minutes=minutes),
        "snapshot": Snapshot(car=FittedCar(id=pit.car, name="")),
    }
    item = Run(**(known | values))
    item = item.model_copy(update={"snapshot": snapshot(db, item)})
    run_id, _ = store.save_run(db, item, RACE_MORNING)
    return store.run(db, run_id)


def test_a_run_comes_back_as_it_was_saved(db: sqlite3.Connection, clock: Clock) -> None:
    pit = furnish(db)
    item = Run(
        car_id=pit.car,
        meeting_id=pit.meeting,
        heat_id=pit.heats[0],
        track_id=pit.track,
        race_class_id=pit.race_class,
        motor_id=pit.motor,
        pack_id=pit.pack,
        tyre_set_id=pit.tyres,
        started_at=RACE_MORNING,
        time_zone="Europe/Lisbon",
        pinion_teeth=45,
        spur_teeth=66,
        internal_ratio=1.9,
        tyre_diameter_mm=62.5,
        can_c=71.25,
        read_after_s=30,
        air_c=19.5,
        best_lap_s=14.876,
        laps=20,
        run_s=303.2,
        position=2,
        remarks="Line one\nline two 🏁",
        snapshot=Snapshot(
            car=FittedCar(id=pit.car, name="As it was"),
            setup=(Setting(group="Front", name="Springs", value="soft"),),
        ),
    )
    run_id, _ = store.save_run(db, item, clock())
    assert store.run(db, run_id) == item.model_copy(update={"id": run_id})
    bare = item.snapshot.model_copy(update={"setup": ()})
    (without,) = store.runs(db, with_lists=False)
    assert without == item.model_copy(update={"id": run_id, "snapshot": bare})


def test_the_snapshot_says_its_version_and_what_was_in_the_car(db: sqlite3.Connection) -> None:
    pit = furnish(db)
    run = logged(db, pit, pack_id=pit.pack)
    was = run.snapshot
    assert was.motor is not None
    assert was.pack is not None
    assert was.tyres is not None
    assert (was.schema_version, was.car.name, was.car.mass_g) == (1, "Example car", 1350)
    assert (was.motor.kv_rpm_per_v, was.pack.mark) == (2380, "A")
    assert (was.tyres.name, was.tyres.runs_done) == ("Set 1", 3)
    assert [(one.group, one.name, one.text) for one in was.setup] == [
        ("Front", "Ride height", "5.2 mm"),
        ("Front", "Springs", "2.6 N/mm"),
        ("Rear", "Springs", "2.4 N/mm"),
        ("Rear", "Body mount", "standard"),
    ]
    stored = db.execute("SELECT snapshot FROM runs").fetchone()[0]
    assert Snapshot(**json.loads(stored)).car == was.car


def test_changing_the_kit_does_not_rewrite_history(db: sqlite3.Connection, clock: Clock) -> None:
    pit = furnish(db)
    before = logged(db, pit)
    car, motor = kit.car(db, pit.car), kit.motor(db, pit.motor)
    renamed = {"name": "Renamed", "mass_g": 1400, "internal_ratio": 2.1}
    kit.save_car(db, car.model_copy(update=renamed), clock())
    kit.save_motor(db, motor.model_copy(update={"name": "Rewound"}), clock())
    for entry in setup.entries(db, pit.car):
        setup.set_value(db, entry.id, "99", clock())
    item = tyres.tyre_set(db, pit.tyres)
    tyres.save(db, item.model_copy(update={"name": "Old", "diameter_mm": 60}), clock())
    kit.remove(db, "motors", pit.motor, clock())
    assert store.run(db, before.id) == before
    after = logged(db, pit, 60)
    assert after.snapshot.car.name == "Renamed"
    assert {one.value for one in after.snapshot.setup} == {"99"}


def test_editing_keeps_what_was_and_takes_only_what_was_changed(
    db: sqlite3.Connection, clock: Clock
) -> None:
    pit = furnish(db)
    before = logged(db, pit)
    kit.save_motor(db, kit.motor(db, pit.motor).model_copy(update={"name": "Rewound"}), clock())
    edited = before.model_copy(update={"tyre_set_id": pit.other_tyres, "pack_id": pit.pack})
    taken = snapshot(db, edited, before)
    assert (taken.motor, taken.setup) == (before.snapshot.motor, before.snapshot.setup)
    assert taken.tyres is not None
    assert taken.pack is not None
    assert (taken.tyres.name, taken.pack.mark) == ("Set 2", "A")


def test_equal_set_ups_are_kept_once(db: sqlite3.Connection) -> None:
    pit = furnish(db)
    for minute in range(5):
        logged(db, pit, minute)
    assert db.execute("SELECT count(*) FROM run_setups").fetchone()[0] == 1


def test_tyres_count_their_runs_by_themselves(db: sqlite3.Connection, clock: Clock) -> None:
    pit = furnish(db)
    first, second = logged(db, pit), logged(db, pit, 30)
    assert tyres.tyre_set(db, pit.tyres).runs_done == 5
    assert second.snapshot.tyres is not None
    assert second.snapshot.tyres.runs_done == 4
    token = store.remove_run(db, first.id, clock())
    assert tyres.tyre_set(db, pit.tyres).runs_done == 4
    undo.undo(db, token, clock())
    store.save_run(db, second.model_copy(update={"tyre_set_id": pit.other_tyres}), clock())
    assert tyres.tyre_set(db, pit.tyres).runs_done == 4
    assert tyres.tyre_set(db, pit.other_tyres).runs_done == 1


def test_lists_are_paged_and_filtered_newest_first(db: sqlite3.Connection) -> None:
    pit = furnish(db)
    all_runs = [logged(db, pit, minute).id for minute in range(7)]
    # Two runs that began in the same second are kept apart by their number.
    all_runs.append(logged(db, pit, 6).id)
    elsewhere = logged(db, pit, -60, track_id=None).id
    newest_first = [*reversed(all_runs), elsewhere]
    seen: list[int] = []
    while page := store.lines(db, {}, limit=3, before=seen[-1] if seen else None):
        seen += [line.id for line in page]
    assert seen == newest_first
    assert [run.id for run in store.runs(db, track_id=pit.track)] == newest_first[:-1]
    assert store.runs(db, track_id=pit.track, car_id=99) == []
    line = store.lines(db, {"track_id": pit.track}, limit=1)[0]
    assert (line.car_name, line.track_name, line.tyres_name) == (
        "Example car",
        "Example hall",
        "Set 1",
    )


def test_the_run_before_and_the_best_here(db: sqlite3.Connection, clock: Clock) -> None:
    pit = furnish(db)
    slow = logged(db, pit, 0, best_lap_s=15.2)
    quick = logged(db, pit, 30, best_lap_s=14.8)
    unmeasured = logged(db, pit, 60)
    logged(db, pit, 90, best_lap_s=13.0, race_class_id=None)
    logged(db, pit, 91, best_lap_s=12.0, track_id=None)
    assert store.run_before(db, slow) is None
    assert store.run_before(db, unmeasured) == quick
    assert store.best_run(db, unmeasured) == quick
    assert store.best_run(db, quick) == slow
    store.remove_run(db, quick.id, clock())
    assert store.run_before(db, unmeasured) == slow
    assert store.best_run(db, unmeasured) == slow


def test_a_stale_version_is_refused_and_changes_nothing(
    db: sqlite3.Connection, clock: Clock
) -> None:
    pit = furnish(db)
    run = logged(db, pit)
    store.save_run(db, run.model_copy(update={"can_c": 70}), clock())
    with pytest.raises(ChangedMeanwhile):
        store.save_run(db, run.model_copy(update={"can_c": 80}), clock())
    assert store.run(db, run.id).can_c == 70


def test_a_removed_run_is_gone_until_undone(db: sqlite3.Connection, clock: Clock) -> None:
    pit = furnish(db)
    run = logged(db, pit)
    token = store.remove_run(db, run.id, clock())
    for read in (store.run, store.line):
        with pytest.raises(NotThere):
            read(db, run.id)
    with pytest.raises(NotThere):
        store.remove_run(db, run.id, clock())
    assert store.runs(db) == []
    undo.undo(db, token, clock())
    assert store.run(db, run.id) == run


@pytest.mark.parametrize(
    ("column", "index"),
    [
        ("car_id", "runs_by_car"),
        ("track_id", "runs_by_track"),
        ("race_class_id", "runs_by_class"),
        ("tyre_set_id", "runs_by_tyres"),
        ("pack_id", "runs_by_pack"),
        ("motor_id", "runs_by_motor"),
        ("heat_id", "runs_by_heat"),
        ("meeting_id", "runs_by_meeting"),
    ],
)
def test_each_filter_has_its_index(db: sqlite3.Connection, column: str, index: str) -> None:
    asked: list[str] = []
    db.set_trace_callback(asked.append)
    store.lines(db, {column: 1}, before=None)  # type: ignore[dict-item]
    db.set_trace_callback(None)
    plan = " ".join(row["detail"] for row in db.execute(f"EXPLAIN QUERY PLAN {asked[-1]}"))
    assert f"USING INDEX {index}" in plan
    assert "SCAN runs" not in plan
    assert column == "heat_id" or "TEMP B-TREE" not in plan
