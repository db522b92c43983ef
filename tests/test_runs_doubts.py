"""Slips are asked about once, at their fields; what is said to be right is logged as it is."""

from __future__ import annotations

import sqlite3
from datetime import timedelta

import pytest

from pitapp.runs import store
from tests.runs_support import Pit, form_values, furnish
from tests.support import PageClient


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    return furnish(db)


def opened(client: PageClient, path: str = "/runs/new") -> dict[str, str]:
    return form_values(client.get(path).text)


def send(client: PageClient, path: str = "/runs/new", **values: str):  # type: ignore[no-untyped-def]
    fields = opened(client, path) | {"pack_id": "1"} | values | {"csrf_token": client.csrf_token()}
    return client.post(path, data=fields)


def usual(client: PageClient, clock, count: int = 3) -> None:  # type: ignore[no-untyped-def]
    for index in range(count):
        clock.tick(timedelta(minutes=40).total_seconds())
        answer = send(client, can_c=str(60 + index), air_c="20", best_lap_s=f"15.{index}5")
        assert answer.status_code == 303


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("can_c", {"can_c": "6.8", "air_c": "20"}),
        ("can_c", {"can_c": "150", "air_c": "20"}),
        ("best_lap_s", {"can_c": "62", "best_lap_s": "1.55"}),
        ("best_lap_s", {"can_c": "62", "best_lap_s": "155"}),
    ],
)
def test_a_slip_is_asked_about_and_taken_when_it_is_said_to_be_right(
    client: PageClient, db: sqlite3.Connection, clock, pit: Pit, field: str, values: dict[str, str]
) -> None:  # type: ignore[no-untyped-def]
    usual(client, clock)
    clock.tick(2400)
    answer = send(client, **values)
    assert answer.status_code == 422
    assert f'id="{field}-error"' in answer.text
    shown = form_values(answer.text)
    assert {name: shown[name] for name in values} == values
    assert 'name="sure"' in answer.text
    assert len(store.runs(db)) == 3
    assert send(client, **values, sure="y").status_code == 303
    assert len(store.runs(db)) == 4
    # Changing something else of it later asks nothing again.
    run_id = store.runs(db)[0].id
    assert send(client, f"/runs/{run_id}/edit", remarks="hot day").status_code == 303


@pytest.mark.parametrize(
    "values",
    [
        {"can_c": "18.5", "air_c": "20"},
        {"can_c": "112", "air_c": "31"},
        {"can_c": "62", "best_lap_s": "13.2"},
        {"can_c": "62", "best_lap_s": "24"},
        {"can_c": "62", "air_c": "", "best_lap_s": ""},
    ],
)
def test_what_a_run_may_well_give_is_not_asked_about(
    client: PageClient, clock, pit: Pit, values: dict[str, str]
) -> None:  # type: ignore[no-untyped-def]
    usual(client, clock)
    clock.tick(2400)
    assert send(client, **values).status_code == 303


def test_a_first_lap_at_a_track_has_nothing_to_be_held_against(
    client: PageClient, clock, pit: Pit
) -> None:  # type: ignore[no-untyped-def]
    usual(client, clock, 2)
    clock.tick(2400)
    assert send(client, can_c="62", best_lap_s="155").status_code == 303
