"""The invented season: the same from the same seed, whole, plausible, and marked on every screen."""

from __future__ import annotations

import itertools
import json
import re
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask import Flask

from pitapp import create_app
from pitapp.checks.controllers import store as controllers
from pitapp.demo import fill
from pitapp.demo.driving import COOLING_TAU_S, PACK
from pitapp.demo.plan import CARS, CHANGES, MACHINES, SEASON, TRACKS
from pitapp.drive.formulas import run_lap
from pitapp.drive.models import Air, Controller
from pitapp.exchange import document
from pitapp.gearing.store import fitted
from pitapp.kit import store as kit
from pitapp.kit.scales import store as scales
from pitapp.meetings import store as meetings
from pitapp.packs import store as packs
from pitapp.packs.charging import store as charging
from pitapp.packs.overview import states
from pitapp.runs import store as runs
from pitapp.runs.models import Run
from pitapp.runs.setup import store as setup
from pitapp.tracks import store as tracks
from pitapp.tracks.formulas import for_drive
from tests.support import Clock, PageClient

NOW = datetime(2026, 9, 12, 11, 3, tzinfo=UTC)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    app = create_app(tmp_path_factory.mktemp("demo"), clock=Clock(NOW), invented=True)
    app.test_client_class = PageClient
    fill(app)
    yield app
    app.extensions["pitapp.db"].close()


@pytest.fixture
def connection(demo: Flask) -> sqlite3.Connection:
    found: sqlite3.Connection = demo.extensions["pitapp.db"].connection()
    return found


@pytest.fixture
def logged(connection: sqlite3.Connection) -> list[Run]:
    return runs.runs(connection, limit=1000)


def test_the_season_has_what_it_promises(connection: sqlite3.Connection, logged: list[Run]) -> None:
    assert 54 <= len(logged) <= 66
    assert len(meetings.meetings(connection)) == 8
    assert len(kit.cars(connection)) == 2
    assert len(tracks.tracks(connection)) == 3
    assert len(meetings.race_classes(connection)) == 2
    assert {run.meeting_id for run in logged} == {each.id for each in meetings.meetings(connection)}
    assert {run.car_id for run in logged} == {car.id for car in kit.cars(connection)}
    assert {run.track_id for run in logged} == {each.id for each in tracks.tracks(connection)}


def test_the_same_seed_gives_the_same_season(demo: Flask, tmp_path: Path) -> None:
    """Row for row; each data folder has an identity of its own, each meeting a key in calendars."""
    again = create_app(tmp_path / "again", clock=Clock(NOW), invented=True)
    fill(again)
    files = [
        json.loads("".join(document.write(app.extensions["pitapp.db"].connection(), NOW)))
        for app in (demo, again)
    ]
    again.extensions["pitapp.db"].close()
    assert files[0].pop("origin") != files[1].pop("origin")
    keys = [{row.pop("calendar_key") for row in each["tables"]["meetings"]} for each in files]
    assert keys[0].isdisjoint(keys[1])
    assert files[0] == files[1]


def test_it_has_gaps_and_mistakes(connection: sqlite3.Connection, logged: list[Run]) -> None:
    for field in ("can_c", "read_after_s", "air_c", "best_lap_s", "laps", "run_s", "pack_id"):
        missing = sum(getattr(run, field) is None for run in logged)
        assert 0 < missing < len(logged) / 2, field
    assert any(run.race_class_id is None for run in logged)
    assert any(run.heat_id is None for run in logged)
    assert any(run.version > 1 for run in logged)
    removed = connection.execute("SELECT count(*) FROM runs WHERE removed_at IS NOT NULL")
    assert removed.fetchone()[0] == 1
    late = [run for run in logged if run.can_c and run.read_after_s is None]
    assert any("read it at the table" in run.remarks for run in late)


def test_runs_lie_in_the_past_and_do_not_overlap(logged: list[Run]) -> None:
    assert max(run.started_at for run in logged) < NOW
    ordered = sorted(run.started_at for run in logged)
    assert min(b - a for a, b in itertools.pairwise(ordered)) >= timedelta(minutes=30)


def test_laps_are_those_of_the_drive_model(
    connection: sqlite3.Connection, logged: list[Run]
) -> None:
    """Every best lap lies within 3 % of the model's for that gear, those tyres and that track."""
    names = {car.id: car.name for car in kit.cars(connection)}
    timed = [run for run in logged if run.best_lap_s]
    assert len(timed) > 40
    for run in timed:
        machine = MACHINES[names[run.car_id]]
        assert run.track_id
        assert run.final_drive_ratio
        lap = run_lap(
            machine.car.model_copy(update={"tyre_diameter_mm": run.tyre_diameter_mm}),
            machine.motor,
            PACK,
            Controller(rev_limit_rpm=machine.rev_limit_rpm),
            Air(temperature_c=20),
            for_drive(tracks.track(connection, run.track_id)),
            run.final_drive_ratio,
        )
        assert run.best_lap_s is not None
        assert 0.985 < run.best_lap_s / lap.lap_s < 1.04
        if run.laps and run.run_s:
            assert run.run_s / run.laps > run.best_lap_s


def test_cans_are_warmer_than_the_air_and_below_any_damage(logged: list[Run]) -> None:
    read = [run for run in logged if run.can_c is not None]
    assert len(read) > 35
    for run in read:
        assert run.can_c is not None
        assert 35 <= run.can_c <= 85
        assert run.air_c is None or run.can_c > run.air_c + 5


def test_a_longer_gear_is_hotter_at_the_same_place() -> None:
    """With the machine's own figures, as the heat and drive models have it."""
    machine = MACHINES["Invented TC"]
    track = for_drive(TRACKS[0])
    powers = [
        run_lap(
            machine.car, machine.motor, PACK, Controller(rev_limit_rpm=14600), Air(), track, ratio
        ).motor_power_w
        for ratio in (3.2, 2.9, 2.6)
    ]
    assert powers == sorted(powers)
    assert machine.time_constant_s < COOLING_TAU_S


def test_a_meeting_is_on_with_a_heat_to_come(connection: sqlite3.Connection) -> None:
    meeting = meetings.current_meeting(connection, NOW)
    assert meeting is not None
    heat = meetings.next_heat(connection, meeting.id, NOW)
    assert heat is not None
    assert timedelta(minutes=5) < heat.starts_at - NOW < timedelta(minutes=40)
    car = kit.current_car(connection, {})
    assert car is not None
    assert car.name in CARS
    assert fitted(connection, car.id) is not None


@pytest.mark.parametrize(
    "path",
    ["/", "/gearing", "/kit", "/tracks", "/tracks/1", "/tracks/1/plots", "/meetings", "/runs",
     "/runs/1", "/packs", "/bench", "/checks", "/forecast", "/exchange", "/settings", "/more", "/no"],
)  # fmt: skip
def test_every_screen_says_that_it_is_invented(demo: Flask, path: str) -> None:
    page = demo.test_client().get(path).get_data(as_text=True)
    assert "Invented demo data" in page


def test_every_name_and_sign_in_it_says_that_it_is_invented(connection: sqlite3.Connection) -> None:
    """A car, a class or a lamp of the demo is not to be taken for a real one."""
    assert all(car.name.startswith("Invented ") for car in kit.cars(connection))
    for item in controllers.controllers(connection):
        assert item.name.startswith("Invented ")
        assert item.signal_text.endswith("(invented)")
    for race_class in meetings.race_classes(connection):
        assert race_class.remarks == "Invented rules."
        assert not race_class.winding or race_class.winding.endswith("(invented)")


def test_the_address_in_readme_is_of_the_car_of_the_demo(
    demo: Flask, connection: sqlite3.Connection
) -> None:
    """By hand: 2380 rpm/V at 7.4 V is 17 612 rpm; the invented class stops at 14 600."""
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    addresses = re.findall(r"^    (/gearing\?\S+)$", text, re.MULTILINE)
    assert len(addresses) == 1
    page = demo.test_client().get(addresses[0]).get_data(as_text=True)
    assert '<data id="free-speed-rpm" value="17612.0"' in page
    query = dict(pair.split("=") for pair in addresses[0].partition("?")[2].split("&"))
    car = kit.current_car(connection, {})
    assert car is not None
    assert car.motor_id is not None
    assert float(query["kv"]) == kit.motor(connection, car.motor_id).kv_rpm_per_v == 2380
    limits = {item.rev_limit_rpm for item in meetings.race_classes(connection)} - {None}
    assert {float(query["rev_limit"]), car.rev_limit_rpm} == limits == {14_600}


def test_another_zone_and_a_late_hour_make_a_season_too(tmp_path: Path) -> None:
    """Half past midnight in Auckland: the meeting of the evening before is still on."""
    from pitapp.demo.season import write

    app = create_app(tmp_path / "late", clock=Clock(NOW), invented=True)
    connection = app.extensions["pitapp.db"].connection()
    late = datetime(2026, 9, 12, 12, 30, tzinfo=UTC)
    write(connection, late, "Pacific/Auckland")
    meeting = meetings.current_meeting(connection, late)
    app.extensions["pitapp.db"].close()
    assert meeting is not None
    assert meeting.day.isoformat() == "2026-09-12"
    assert re.fullmatch(r"[A-Za-z ]+", meeting.name)


def test_the_set_ups_have_their_groups_and_every_change_finds_its_entry(
    connection: sqlite3.Connection,
) -> None:
    named = {}
    for car in kit.cars(connection):
        entries = setup.entries(connection, car.id)
        assert all(entry.value for entry in entries)
        assert {entry.group_name for entry in entries} == {"Front", "Rear"}
        named[car.name] = {(entry.group_name, entry.name) for entry in entries}
    cars = {day.days_ago: day.car for day in SEASON}
    assert [
        change for (days, _), change in CHANGES.items() if change[:2] not in named[cars[days]]
    ] == []


def test_the_packs_were_charged_for_every_run_and_stored_after_every_meeting(
    demo: Flask, connection: sqlite3.Connection, logged: list[Run]
) -> None:
    found = states(connection)
    all_full = 0
    for state in found:
        charges = charging.charges(connection, state.pack.id, limit=200)
        full = [one for one in charges if one.purpose == "full"]
        all_full += len(full)
        assert state.cycles == len(full) > 15
        assert len(packs.storages(connection, state.pack.id)) == len(SEASON) - 1
        assert all(one.outcome == "done" and one.moved_mah for one in charges)
        assert all(one.moved_mah < state.pack.capacity_mah for one in charges if one.moved_mah)
        spans = sorted((one.started_at or NOW, one.ended_at or NOW) for one in charges)
        assert all(ended < began for (_, ended), (began, _) in itertools.pairwise(spans))
        assert spans[-1][1] < NOW
        ends = [one.ended_at or NOW for one in full]
        for run in logged:
            if run.pack_id == state.pack.id:
                before = max(ended for ended in ends if ended < run.started_at)
                assert run.started_at - before < timedelta(minutes=30)
        readings = packs.readings(connection, state.pack.id)
        page = demo.test_client().get(f"/packs/{state.pack.id}/history").get_data(as_text=True)
        assert 'id="resistance-plot"' in page
        assert 'id="spread-plot"' in page
        assert all(reading.read_at < NOW for reading in readings)
    assert len(logged) < all_full <= len(logged) + 3
    assert {state.verdict(NOW).level for state in found} == {"fit to race", "look at it"}
    assert max(state.percent or 0 for state in found) == 100


def test_the_motor_is_weighed_once(connection: sqlite3.Connection) -> None:
    names = [part.name for car in kit.cars(connection) for part in scales.parts(connection, car.id)]
    assert names
    assert "Motor" not in names
