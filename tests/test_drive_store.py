"""The racer's own figures in the database, and what the app learns of the runs in it."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from typing import Any

import pytest
from flask import Flask

from pitapp.db import undo
from pitapp.drive import store
from pitapp.drive.forecast_context import ForecastContext
from pitapp.drive.inputs.definitions import OwnFigure
from pitapp.drive.learning.backtest import run_back_tests, temperature_score
from pitapp.drive.ranking.ranking_view import RankingView
from pitapp.drive.store import About, Feel
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.packs import store as packs
from pitapp.packs.models import Pack, Reading
from pitapp.runs import store as runs
from pitapp.tracks import store as tracks
from pitapp.tracks.formulas import for_drive
from tests.drive_racer import add_car, add_track, log_runs, truth
from tests.support import Clock

ABOUT = About(car_id=1, motor_id=2, track_id=3)


def own(db: sqlite3.Connection, about: About, clock: Clock) -> dict[str, float]:
    return {name: each.value for name, each in store.own_figures(db, about, clock()).items()}


def test_figures_belong_to_the_car_the_motor_or_the_track(
    db: sqlite3.Connection, clock: Clock
) -> None:
    figures = {"drag_area_m2": 0.01, "can_limit_c": 85.0, "grip": 1.5, "air_c": 28.0}
    store.save_figures(
        db, ABOUT, {name: OwnFigure(value, True) for name, value in figures.items()}, clock()
    )
    assert own(db, ABOUT, clock) == figures
    assert own(db, About(1, 9, 9), clock) == {"drag_area_m2": 0.01, "air_c": 28.0}
    assert own(db, About(9, 2, 3), clock) == {"can_limit_c": 85.0}
    assert own(db, About(1, 2, 0), clock) == {k: v for k, v in figures.items() if k != "grip"}


def test_a_figure_of_today_goes_stale(db: sqlite3.Connection, clock: Clock) -> None:
    store.save_figures(db, ABOUT, {"air_c": OwnFigure(28, True)}, clock())
    clock.tick(11 * 3600)
    assert own(db, ABOUT, clock) == {"air_c": 28}
    clock.tick(2 * 3600)
    assert own(db, ABOUT, clock) == {}


def test_changing_and_taking_back_can_be_undone(db: sqlite3.Connection, clock: Clock) -> None:
    add_car(db, clock())
    for name in ("One", "Two", "Three"):
        add_track(db, clock(), name)
    store.save_figures(db, ABOUT, {"grip": OwnFigure(1.5, True)}, clock())
    changed = store.save_figures(db, ABOUT, {"grip": OwnFigure(1.7, False)}, clock())
    assert own(db, ABOUT, clock) == {"grip": 1.7}
    taken_back = store.save_figures(db, ABOUT, {"grip": None}, clock())
    assert own(db, ABOUT, clock) == {}
    undo.undo(db, taken_back, clock())
    assert own(db, ABOUT, clock) == {"grip": 1.7}
    undo.undo(db, changed, clock())
    assert own(db, ABOUT, clock) == {"grip": 1.5}


def test_the_feel_of_a_track_is_kept_and_undone(db: sqlite3.Connection, clock: Clock) -> None:
    store.save_feel(db, 0, Feel(30, "mixed"), clock())
    token = store.save_feel(db, 0, Feel(45, "tight"), clock())
    assert store.feels(db) == {0: Feel(45, "tight")}
    undo.undo(db, token, clock())
    assert store.feels(db) == {0: Feel(30, "mixed")}


def test_class_pack_and_last_run_are_believed(db: sqlite3.Connection, clock: Clock) -> None:
    car = add_car(db, clock(), mass_g=None)
    track_id = add_track(db, clock())
    class_id, _ = meetings.save_class(
        db, RaceClass(name="Test class", rev_limit_rpm=14000, run_length_s=360, least_mass_g=1305),
        clock(),
    )  # fmt: skip
    day = Meeting(day=clock().date(), time_zone="UTC", track_id=track_id, race_class_id=class_id)
    meetings.save_meeting(db, day, clock())
    pack_id, _ = packs.save_pack(db, Pack(mark="A", cells_series=2, capacity_mah=5000), clock())
    packs.add_reading(
        db, Reading(pack_id=pack_id, read_at=clock(), cell_ohm=(0.002, 0.003)), clock()
    )
    run_id = log_runs(db, car, track_id, clock(), 1)[0]
    logged = runs.run(db, run_id)
    fresh = logged.model_copy(update={"started_at": clock() - timedelta(hours=1), "air_c": 31})
    runs.save_run(db, fresh, clock())
    known = ForecastContext(db, {}, clock()).inputs
    seen = {name: (known[name].value, known[name].source) for name in known}
    assert seen["rev_limit_rpm"] == (14000, "from the class")
    assert seen["run_length_s"] == (360, "from the class")
    assert seen["mass_g"] == (1305, "from the class")
    assert seen["capacity_mah"] == (5000, "from the pack")
    assert seen["pack_resistance_mohm"] == (pytest.approx(5.0), "from the pack")
    assert seen["air_c"] == (31, "from the last run")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_eight_logged_runs_forecast_a_ninth(
    app: Flask, db: sqlite3.Connection, clock: Clock, seed: int
) -> None:
    car = add_car(db, clock())
    track_id = add_track(db, clock())
    log_runs(db, car, track_id, clock(), 8, seed)
    context = ForecastContext(db, {}, clock())
    assert context.track is not None
    with app.test_request_context():
        found = RankingView(context)
    assert context.learned.can.runs == context.learned.laps.runs == 8
    measured = for_drive(tracks.track(db, track_id))
    inside = [each for each in found.gears if not each.extrapolated]
    assert len(inside) > 10
    laps = {}
    for each in found.gears:
        laps[each], flag_c = truth(measured, each.final_drive_ratio, 20.0, 300.0)
        if each in inside:
            assert abs(each.flag_temperature_c - flag_c) <= 3
    assert laps[found.gears[0]] <= min(laps.values()) + 0.02
    # The laps on the screen are those that were logged, not the model's.
    assert found.best.lap_s + found.shift_s == pytest.approx(laps[found.best], abs=0.15)


def test_trials_are_forecast_from_earlier_runs_alone(db: sqlite3.Connection, clock: Clock) -> None:
    car = add_car(db, clock())
    track_id = add_track(db, clock())
    log_runs(db, car, track_id, clock(), 8)
    context = ForecastContext(db, {}, clock())
    back_tests = run_back_tests(context.run_residuals(context.logged))
    assert len(back_tests) == 8
    first, last = back_tests[-1], back_tests[0]
    assert first.forecast_lap_s is None
    assert first.forecast_se_c is not None
    assert last.forecast_se_c is not None
    assert first.forecast_se_c > 2 * last.forecast_se_c
    # What a run itself has logged does not change its own forecast.
    spoilt = runs.run(db, context.logged[0].id).model_copy(update={"can_c": 120.0})
    runs.save_run(db, spoilt, clock())
    again = ForecastContext(db, {}, clock())
    after = run_back_tests(again.run_residuals(again.logged))[0]
    assert after.forecast_c == pytest.approx(last.forecast_c)
    assert after.miss_c != last.miss_c
    assert temperature_score(back_tests[:4]).miss < temperature_score(back_tests[-4:]).miss


def test_runs_that_say_too_little_are_passed_over(db: sqlite3.Connection, clock: Clock) -> None:
    car = add_car(db, clock())
    track_id = add_track(db, clock())
    changes = [{"can_c": None}, {"air_c": None}, {"pinion_teeth": None}, {"track_id": None}]
    for run_id, change in zip(log_runs(db, car, track_id, clock(), 4), changes, strict=True):
        runs.save_run(db, runs.run(db, run_id).model_copy(update=change), clock())
    learned = ForecastContext(db, {}, clock(), track_id).learned
    assert learned.can.runs == 0
    assert learned.laps.runs == 2
    assert [residual.refused for residual in learned.run_residuals].count("no track") == 1


def test_a_run_is_modelled_under_the_rules_and_weight_it_was_run_with(
    db: sqlite3.Connection, clock: Clock
) -> None:
    car = add_car(db, clock())
    track_id = add_track(db, clock())
    slow_id, _ = meetings.save_class(db, RaceClass(name="Slow", rev_limit_rpm=9000), clock())
    free_id, _ = meetings.save_class(db, RaceClass(name="Free"), clock())
    plain, slow, free, heavy = log_runs(db, car, track_id, clock(), 4)
    first = runs.run(db, plain)
    same = {name: getattr(first, name) for name in ("pinion_teeth", "spur_teeth", "air_c", "run_s")}
    weighty = first.snapshot.model_copy(
        update={"car": first.snapshot.car.model_copy(update={"mass_g": 1600.0})}
    )
    changes: dict[int, dict[str, Any]] = {
        slow: {"race_class_id": slow_id},
        free: {"race_class_id": free_id},
        heavy: {"snapshot": weighty},
    }
    for run_id, change in changes.items():
        runs.save_run(db, runs.run(db, run_id).model_copy(update=same | change), clock())
    run_residuals = ForecastContext(db, {}, clock(), track_id, free_id).learned.run_residuals
    by_run = {each.run.id: each for each in run_residuals}
    assert by_run[free].run.rev_limit_rpm == float("inf")
    lap = {run_id: each.lap.modelled_s for run_id, each in by_run.items() if each.lap}
    heat = {run_id: each.reading.power_w for run_id, each in by_run.items() if each.reading}
    assert lap[slow] > lap[plain] + 1
    assert lap[free] <= lap[plain]
    assert heat[slow] < heat[plain] < heat[heavy]
