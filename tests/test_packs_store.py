"""Packs, readings, storage and charges in the database."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from uuid import uuid4

import pytest

from pitapp.db import undo
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.packs import store
from pitapp.packs.charging import store as charging
from pitapp.packs.models import Reading, Storage
from pitapp.packs.overview import state, states
from tests.packs_walk import PACK, add_pack, walk
from tests.support import RACE_MORNING

LATER = RACE_MORNING + timedelta(hours=1)


def test_a_pack_is_kept_changed_and_taken_back(db: sqlite3.Connection) -> None:
    pack_id, _ = store.save_pack(db, PACK.model_copy(update={"remarks": "new leads"}), RACE_MORNING)
    kept = store.pack(db, pack_id)
    assert kept == PACK.model_copy(update={"id": pack_id, "remarks": "new leads"})
    changed = kept.model_copy(update={"capacity_mah": 5000.0})
    _, token = store.save_pack(db, changed, RACE_MORNING)
    assert store.pack(db, pack_id).capacity_mah == 5000
    with pytest.raises(ChangedMeanwhile):
        store.save_pack(db, changed, RACE_MORNING)
    undo.undo(db, token, RACE_MORNING)
    assert store.pack(db, pack_id).capacity_mah == 6000


def test_what_is_not_there(db: sqlite3.Connection) -> None:
    with pytest.raises(NotThere):
        store.pack(db, 77)
    with pytest.raises(NotThere):
        store.reading(db, 77)
    with pytest.raises(NotThere):
        store.save_pack(db, PACK.model_copy(update={"id": 77}), RACE_MORNING)
    with pytest.raises(NotThere):
        charging.charge(db, str(uuid4()))


def test_condition_is_marked_and_undone(db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    token = store.set_condition(db, pack_id, "damaged", "swollen", RACE_MORNING)
    assert (store.pack(db, pack_id).condition, store.pack(db, pack_id).damage) == (
        "damaged",
        "swollen",
    )
    undo.undo(db, token, RACE_MORNING)
    assert store.pack(db, pack_id).condition == "sound"
    store.set_condition(db, pack_id, "retired", "old", RACE_MORNING)
    assert store.pack(db, pack_id).retired_at == RACE_MORNING
    assert store.pack(db, pack_id).damage == ""


def test_sound_packs_come_first_and_removed_ones_not(db: sqlite3.Connection) -> None:
    damaged, gone, sound = (add_pack(db, mark=mark) for mark in "ABC")
    store.set_condition(db, damaged, "damaged", "", RACE_MORNING)
    token = store.remove(db, "packs", gone, "Removed", RACE_MORNING)
    assert [one.id for one in store.packs(db)] == [sound, damaged]
    undo.undo(db, token, RACE_MORNING)
    assert len(store.packs(db)) == 3


def test_readings_are_paged_and_the_newest_of_each_kind_is_found(db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    for minute in range(5):
        at = RACE_MORNING + timedelta(minutes=minute)
        volts = Reading(pack_id=pack_id, read_at=at, cell_v=(3.8, 3.8 + minute / 100))
        store.add_reading(db, volts, at)
    ohms = Reading(pack_id=pack_id, read_at=LATER, cell_ohm=(0.002, 0.003), cell_c=20.0)
    ohm_id, _ = store.add_reading(db, ohms, LATER)
    pages = [store.readings(db, pack_id, limit=4)]
    pages.append(store.readings(db, pack_id, limit=4, before=pages[0][-1].id))
    found = [one.id for page in pages for one in page]
    assert found == sorted(found, reverse=True)
    assert len(found) == 6
    assert store.latest_readings(db, "cell_v")[pack_id].cell_v == (3.8, 3.84)
    assert store.latest_readings(db, "cell_ohm")[pack_id] == ohms.model_copy(update={"id": ohm_id})
    assert store.latest_readings(db, "after_charge") == {}
    store.remove(db, "pack_readings", ohm_id, "Removed", LATER)
    assert store.latest_readings(db, "cell_ohm") == {}


def test_storage_is_the_newest_place(db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    for hours, place in ((0, "Box 1"), (2, "Box 2")):
        at = RACE_MORNING + timedelta(hours=hours)
        store.put_away(db, Storage(pack_id=pack_id, stored_at=at, place=place), at)
    assert store.latest_storages(db)[pack_id].place == "Box 2"
    assert [one.place for one in store.storages(db, pack_id)] == ["Box 2", "Box 1"]


def test_charges_count_and_average(db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    for number, (outcome, moved) in enumerate(
        [("done", 3000.0), ("done", 4000.0), ("stopped", 100.0), ("done", None)]
    ):
        at = RACE_MORNING + timedelta(hours=number)
        item = charging.charge(db, walk(db, pack_id))
        charging.start(db, item.model_copy(update={"due_at": at}), "On", at)
        running = charging.running(db)
        assert [one.uuid for one in running] == [item.uuid]
        charging.finish(db, charging.charge(db, item.uuid), outcome, moved, at)  # type: ignore[arg-type]
    assert charging.full_charges(db) == {pack_id: (3, 3500.0)}
    assert len(charging.charges(db, pack_id, limit=3)) == 3
    newest = charging.charges(db, pack_id, limit=1)[0]
    assert len(charging.charges(db, pack_id, before=newest.id)) == 3
    assert charging.latest_charges(db)[pack_id] == newest
    assert state(db, store.pack(db, pack_id)).usual_mah == 3500


def test_the_shelf_takes_as_many_queries_for_forty_packs_as_for_one(
    db: sqlite3.Connection,
) -> None:
    def asked() -> int:
        sent: list[str] = []
        db.set_trace_callback(sent.append)
        states(db)
        db.set_trace_callback(None)
        return len([each for each in sent if each.startswith("SELECT")])

    add_pack(db)
    one = asked()
    for number in range(39):
        add_pack(db, mark=f"P{number}")
    assert asked() == one <= 10
    assert len(states(db)) == 40
