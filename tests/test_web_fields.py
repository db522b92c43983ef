"""Fields of quantities: short in any unit, and exact where nobody touched them."""

from __future__ import annotations

import sqlite3

import pytest

from pitapp.db import settings
from pitapp.tracks import store
from pitapp.tracks.models import Straight, Track
from tests.runs_support import form_values
from tests.support import RACE_MORNING, PageClient

FOOT_M = 0.3048  # the international foot, exactly


@pytest.fixture
def track_id(db: sqlite3.Connection) -> int:
    settings.save(db, "length_unit", "imperial")
    straight = Straight(length_m=23.4567891, entry_kmh=20, exit_kmh=24)
    track = Track(name="Invented hall", lap_length_m=248, straights=(straight,))
    return store.save_track(db, track, RACE_MORNING)[0]


def test_a_metric_value_is_short_in_feet_and_stays_exact(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    address = f"/tracks/{track_id}/edit"
    before = store.track(db, track_id)
    for name in ("Invented hall", "Another name"):
        shown = form_values(client.get(address).get_data(as_text=True))
        assert shown["lap_length_m"] == "813.6"  # 248 / 0.3048 = 813.648…
        assert client.post_form(address, shown | {"name": name}).status_code == 303
        after = store.track(db, track_id)
        assert after.lap_length_m == 248
        assert after.straights == before.straights


def test_what_was_typed_comes_back_as_it_was_typed(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    address = f"/tracks/{track_id}/edit"
    for typed in ("813.7", "813.65", "820.0625", "900"):
        shown = form_values(client.get(address).get_data(as_text=True))
        client.post_form(address, shown | {"lap_length_m": typed})
        assert store.track(db, track_id).lap_length_m == pytest.approx(float(typed) * FOOT_M)
        again = form_values(client.get(address).get_data(as_text=True))
        assert again["lap_length_m"] == typed
        assert client.post_form(address, again).status_code == 303
        assert store.track(db, track_id).lap_length_m == pytest.approx(float(typed) * FOOT_M)


def test_a_refused_form_still_has_the_exact_value(
    client: PageClient, db: sqlite3.Connection, track_id: int
) -> None:
    address = f"/tracks/{track_id}/edit"
    shown = form_values(client.get(address).get_data(as_text=True))
    refused = client.post_form(address, shown | {"name": ""})
    assert refused.status_code == 422
    again = form_values(refused.get_data(as_text=True)) | {"name": "Named"}
    assert client.post_form(address, again).status_code == 303
    assert store.track(db, track_id).lap_length_m == 248


@pytest.mark.parametrize("exact", ["", "x", "nan", "1e999", "9" * 60])
def test_nonsense_behind_a_field_is_passed_over(
    client: PageClient, db: sqlite3.Connection, track_id: int, exact: str
) -> None:
    address = f"/tracks/{track_id}/edit"
    shown = form_values(client.get(address).get_data(as_text=True))
    assert client.post_form(address, shown | {"lap_length_m-exact": exact}).status_code == 303
    assert store.track(db, track_id).lap_length_m == pytest.approx(813.6 * FOOT_M)
