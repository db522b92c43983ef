"""Tracks in the database: saved, changed, taken out, and all of it undone."""

from __future__ import annotations

import sqlite3

import pytest

from pitapp.db import to_db, undo
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.tracks import store
from pitapp.tracks.models import Straight, Track
from tests.support import RACE_MORNING

LONG = Straight(length_m=48, entry_kmh=32, exit_kmh=28)
SHORT = Straight(length_m=21, entry_kmh=28, exit_kmh=32)
HOLLOW = Track(name="Hollow", surface="asphalt", lap_length_m=260, straights=(LONG, SHORT))


def test_what_is_saved_is_read_back(db: sqlite3.Connection) -> None:
    track_id, _ = store.save_track(db, HOLLOW, RACE_MORNING)
    assert store.track(db, track_id) == HOLLOW.model_copy(update={"id": track_id})
    assert store.tracks(db) == [store.track(db, track_id)]


def test_a_change_can_be_undone_straights_and_all(db: sqlite3.Connection) -> None:
    track_id, _ = store.save_track(db, HOLLOW, RACE_MORNING)
    before = store.track(db, track_id)
    changed = before.model_copy(update={"name": "Dale", "straights": (SHORT, LONG, SHORT)})
    _, token = store.save_track(db, changed, RACE_MORNING)
    assert store.track(db, track_id).straights == (SHORT, LONG, SHORT)
    undo.undo(db, token, RACE_MORNING)
    assert store.track(db, track_id) == before


def test_the_second_of_two_changes_is_refused(db: sqlite3.Connection) -> None:
    track_id, _ = store.save_track(db, HOLLOW, RACE_MORNING)
    seen = store.track(db, track_id)
    store.save_track(db, seen.model_copy(update={"name": "Dale"}), RACE_MORNING)
    with pytest.raises(ChangedMeanwhile):
        store.save_track(
            db, seen.model_copy(update={"name": "Glen", "straights": ()}), RACE_MORNING
        )
    assert store.track(db, track_id).straights == (LONG, SHORT)


def test_a_removed_track_leaves_the_list_and_comes_back(db: sqlite3.Connection) -> None:
    track_id, _ = store.save_track(db, HOLLOW, RACE_MORNING)
    token = store.remove_track(db, track_id, RACE_MORNING)
    assert store.tracks(db) == []
    assert store.track(db, track_id).name == "Hollow"
    undo.undo(db, token, RACE_MORNING)
    assert [track.name for track in store.tracks(db)] == ["Hollow"]


@pytest.mark.parametrize(
    "act", [store.track, lambda db, id: store.remove_track(db, id, RACE_MORNING)]
)
def test_an_unknown_track_is_not_there(db: sqlite3.Connection, act) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(NotThere):
        act(db, 7)


def test_outings_are_the_runs_whose_gear_is_known(db: sqlite3.Connection) -> None:
    track_id, _ = store.save_track(db, HOLLOW, RACE_MORNING)
    db.execute(
        "INSERT INTO cars (id, name, internal_ratio, pitch, tyre_diameter_mm) "
        "VALUES (1, 'Invented TC', 1.9, 'dp:64', 63)"
    )
    for number, pinion, removed in ((1, 44, None), (2, None, None), (3, 45, to_db(RACE_MORNING))):
        db.execute(
            "INSERT INTO runs (id, uuid, car_id, track_id, started_at, pinion_teeth, spur_teeth, "
            "internal_ratio, tyre_diameter_mm, snapshot, removed_at) "
            "VALUES (?, ?, 1, ?, ?, ?, 66, 1.9, 63.0, '{}', ?)",
            (number, f"run-{number}", track_id, to_db(RACE_MORNING), pinion, removed),
        )
    assert [outing.id for outing in store.outings(db, track_id)] == [1]
    assert store.outings(db, track_id)[0].started_at == RACE_MORNING
    assert store.visits(db)[track_id] == (2, RACE_MORNING)
    assert store.outings(db, track_id + 1) == []
