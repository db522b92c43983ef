"""What measured top speeds teach of drag and power, against SciPy; and what they do to the forecast."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from math import exp, inf

import numpy as np
import pytest
from scipy.optimize import least_squares

from pitapp.drive.inputs.build_setup import with_changes
from pitapp.drive.learning.logged_run import LoggedRun, logged_run
from pitapp.drive.learning.top_speed import (
    MODEL_SHARE,
    RUN_SHARE,
    UNKNOWN_SHARE,
    TopSpeedPrior,
    fit_top_speeds,
    taught,
    unlikely_speeds,
)
from pitapp.drive.models import Car, Controller, Motor, Pack, Setup, Straight, Track
from pitapp.drive.physics.lap import run_lap
from pitapp.kit.models import Car as KitCar
from pitapp.runs import store as run_store
from pitapp.runs.models import FittedCar, Run, Snapshot
from tests.drive_racer import add_car, add_track, log_runs
from tests.support import RACE_MORNING, Clock, PageClient
from tests.test_drive_routes import figures

TRACK = Track(
    straights=(
        Straight(length_m=55, entry_speed_m_s=6, exit_speed_m_s=6),
        Straight(length_m=15, entry_speed_m_s=6, exit_speed_m_s=6),
    )
)


def believed(rev_limit: float | None = None) -> Setup:
    return Setup(
        car=Car(mass_kg=1.35, tyre_diameter_mm=63),
        motor=Motor(kv_rpm_per_v=2400, resistance_ohm=0.05),
        pack=Pack(voltage_v=7.8),
        controller=Controller(rev_limit_rpm=rev_limit),
    )


def true_kmh(setup: Setup, logs: tuple[float, float, float], ratio: float) -> float:
    """The top speed of a car whose drag, efficiency and voltage are so much more, as logarithms."""
    drag, efficiency, voltage = (exp(each) for each in logs)
    car = with_changes(setup.car, drag_area_m2=0.009 * drag, drive_efficiency=0.9 * efficiency)
    pack = with_changes(setup.pack, voltage_v=7.8 * voltage)
    lap = run_lap(car, setup.motor, pack, setup.controller, setup.air, TRACK, ratio)
    return 3.6 * lap.top_speed_m_s


def measured(number: int, pinion: int, speed_kmh: float | None, spread: float | None) -> LoggedRun:
    run = Run(
        id=number, car_id=1, track_id=1, pinion_teeth=pinion, spur_teeth=80, internal_ratio=1.9,
        started_at=RACE_MORNING + timedelta(days=number), tyre_diameter_mm=63, air_c=20.0,
        top_speed_kmh=speed_kmh, top_speed_spread_kmh=spread,
        snapshot=Snapshot(car=FittedCar(id=1, name="Car")),
    )  # fmt: skip
    logged = logged_run(run, lambda _: TRACK, {})
    assert logged is not None
    return logged


NONE = (0.0, 0.0, 0.0)
TRUE = (0.15, -0.04, 0.02)


def runs_of(logs: tuple[float, float, float], setup: Setup) -> tuple[LoggedRun, ...]:
    pinions = (34, 38, 42, 46)
    return tuple(
        measured(at, pinion, true_kmh(setup, logs, 1.9 * 80 / pinion), 0.3)
        for at, pinion in enumerate(pinions)
    )


def test_the_fit_is_the_one_that_scipy_finds() -> None:
    """Least squares over the same model: Student-t for the speeds, none for the rows of the prior."""
    setup, prior = believed(), TopSpeedPrior()
    runs = runs_of(TRUE, setup)
    fit = fit_top_speeds(runs, setup, prior)
    assert fit is not None
    spreads = [prior.drag_spread, prior.efficiency_spread, prior.voltage_spread]

    def lack(logs: np.ndarray) -> np.ndarray:
        rows = []
        for run in runs:
            speed = run.top_speed_kmh or 0.0
            share = np.hypot(RUN_SHARE, 0.3 / speed)
            slip = np.hypot(share, MODEL_SHARE)
            part = (true_kmh(setup, tuple(logs), run.ratio) - speed) / (slip * speed)
            rows.append(slip / share * np.sqrt(5 * np.log1p(part * part / 4)))
        return np.array([*rows, *(logs / spreads)])

    by_scipy = least_squares(lack, NONE, diff_step=1e-3).x
    assert np.log([fit.drag, fit.efficiency, fit.voltage]) == pytest.approx(by_scipy, abs=0.004)
    own = taught(setup, fit)
    for run in runs:
        lap = run_lap(own.car, own.motor, own.pack, own.controller, own.air, TRACK, run.ratio)
        assert 3.6 * lap.top_speed_m_s == pytest.approx(run.top_speed_kmh, rel=0.005)


def test_nothing_measured_teaches_nothing() -> None:
    assert fit_top_speeds((measured(1, 40, None, None),), believed(), TopSpeedPrior()) is None
    assert fit_top_speeds((), believed(), TopSpeedPrior()) is None


def test_at_the_rev_limit_a_speed_tells_nothing_of_drag_and_power() -> None:
    setup = believed(9000.0)
    limited = true_kmh(setup, NONE, 1.9 * 80 / 34)
    fit = fit_top_speeds((measured(1, 34, 1.03 * limited, 0.3),), setup, TopSpeedPrior())
    assert fit is not None
    assert (fit.drag, fit.efficiency, fit.voltage) == pytest.approx((1.0, 1.0, 1.0), abs=1e-6)


def test_a_car_too_weak_for_the_limiter_is_learned_from_its_speed() -> None:
    """The model had it at the limiter, where neither drag nor power shows."""
    setup = believed(17_500.0)
    limited = true_kmh(setup, NONE, 3.8)
    assert limited == pytest.approx(true_kmh(setup, (0.0, 0.0, 0.05), 3.8))
    slower = 0.96 * limited
    fit = fit_top_speeds((measured(1, 40, slower, 0.2),), setup, TopSpeedPrior())
    own = taught(setup, fit)
    lap = run_lap(own.car, own.motor, own.pack, own.controller, own.air, TRACK, 3.8)
    assert abs(3.6 * lap.top_speed_m_s - slower) < 0.4 * (limited - slower)


def test_a_mistyped_speed_hardly_counts() -> None:
    setup = believed()
    runs = runs_of(TRUE, setup)
    wrong = (*runs[:3], runs[3]._replace(top_speed_kmh=2 * (runs[3].top_speed_kmh or 0.0)))
    fit, slip = (fit_top_speeds(each, setup, TopSpeedPrior()) for each in (runs, wrong))
    assert fit is not None
    assert slip is not None
    assert slip.voltage == pytest.approx(fit.voltage, abs=0.005)
    assert slip.drag == pytest.approx(fit.drag, abs=0.04)


def test_a_speed_counts_by_its_own_spread() -> None:
    """One without any counts as one with a spread of 2 %."""
    setup = believed()
    speed = 0.97 * true_kmh(setup, NONE, 3.8)
    moved = []
    for spread in (0.2, None, UNKNOWN_SHARE * speed, 3.0):
        fit = fit_top_speeds((measured(1, 40, speed, spread),), setup, TopSpeedPrior())
        assert fit is not None
        moved.append(fit.voltage)
    assert moved[0] < moved[1] < moved[3] < 1.0
    assert moved[1] == pytest.approx(moved[2])


def test_drag_that_was_measured_yields_less() -> None:
    setup = believed()
    runs = runs_of(TRUE, setup)
    free, held = (
        fit_top_speeds(runs, setup, TopSpeedPrior(drag_spread=spread)) for spread in (0.2, 0.02)
    )
    assert free is not None
    assert held is not None
    assert 1.0 < held.drag < free.drag


def test_the_laws_of_the_car_stay_in_bounds() -> None:
    setup = believed()
    for part in (0.88, 1.13):
        speed = part * true_kmh(setup, NONE, 3.8)
        fit = fit_top_speeds((measured(1, 40, speed, 0.1),), setup, TopSpeedPrior())
        assert fit is not None
        car = taught(setup, fit).car
        assert 0.4 <= car.drive_efficiency <= 0.98
        assert 0.0 < car.drag_area_m2 < inf


@pytest.mark.parametrize("changes", [{"drag_area_m2": 0.95}, {"mass_kg": 4.9}])
def test_a_figure_at_the_models_bounds_takes_nothing_away(changes: dict[str, float]) -> None:
    """A drag area typed as .95 m² for .0095: it is forecast with, and nothing is learned over it."""
    setup = believed()
    odd = setup.model_copy(update={"car": with_changes(setup.car, **changes)})
    runs = (measured(1, 40, 40.0, 0.5), measured(2, 42, 55.0, 0.5))
    fit = fit_top_speeds(runs, odd, TopSpeedPrior())
    assert fit is None or 0.0 < taught(odd, fit).car.drag_area_m2 <= 1.0
    assert set(unlikely_speeds(runs, odd, TopSpeedPrior())) <= set(runs)


MPH = 1 / 1.609344


@pytest.mark.parametrize("rev_limit", [None, 17_500.0, 14_000.0])
@pytest.mark.parametrize("part", [MPH, 1 / MPH, 1 / 3.6, 10.0, 0.1])
def test_speeds_that_are_all_wrong_alike_teach_nothing(
    part: float, rev_limit: float | None
) -> None:
    """Miles for kilometres and back, metres a second, a comma put wrong."""
    setup, prior = believed(rev_limit), TopSpeedPrior()
    right = runs_of(TRUE, setup) * 2
    wrong = tuple(run._replace(top_speed_kmh=part * (run.top_speed_kmh or 0.0)) for run in right)
    assert fit_top_speeds(wrong, setup, prior) is None
    assert unlikely_speeds(wrong, setup, prior) == wrong
    # Among good ones they change nothing, however many are newer.
    assert fit_top_speeds(wrong + right, setup, prior) == fit_top_speeds(right, setup, prior)
    assert unlikely_speeds(wrong + right, setup, prior) == wrong


@pytest.mark.parametrize("rev_limit", [None, 17_500.0, 14_000.0])
def test_speeds_of_cars_as_likely_as_any_are_all_learned_from(rev_limit: float | None) -> None:
    """Cars drawn by the prior itself, measured as well as is said: four spreads leave all of 100."""
    rng = np.random.default_rng(5)
    setup, prior = believed(rev_limit), TopSpeedPrior()
    spreads = np.array([prior.drag_spread, prior.efficiency_spread, prior.voltage_spread])
    for _ in range(100):
        drag, efficiency, voltage = spreads * rng.normal(size=3)
        # No drive gives more than 98 % on.
        logs = (drag, min(efficiency, float(np.log(0.98 / 0.9))), voltage)
        runs = tuple(
            run._replace(top_speed_kmh=(run.top_speed_kmh or 0.0) * (1 + 0.02 * rng.normal()))
            for run in runs_of(logs, setup)
        )
        assert unlikely_speeds(runs, setup, prior) == ()


@pytest.fixture
def car(db: sqlite3.Connection, clock: Clock) -> KitCar:
    return add_car(db, clock(), rev_limit_rpm=None)


def test_speeds_in_another_unit_are_named_and_leave_the_forecast_alone(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: KitCar
) -> None:
    log_runs(db, car, add_track(db, clock()), clock(), 8)
    before = figures(client.get("/forecast/gears").text)
    for run in run_store.runs(db):
        key = f"gear-{run.pinion_teeth}-{run.spur_teeth}-top-speed-kmh"
        wrong = run.model_copy(update={"top_speed_kmh": round(MPH * before[key], 1)})
        run_store.save_run(db, wrong, clock())
    after = figures(client.get("/forecast/gears").text)
    assert after == pytest.approx(before)
    for screen in ("", "/learned", "/gear?pinion=44&spur=69"):
        text = client.get(f"/forecast{screen}").text
        assert "8 top speeds do not fit this car and gear, so not used: km/h?" in " ".join(
            text.split()
        )
    newest = run_store.runs(db)[0]
    assert f'href="/runs/{newest.id}/edit"' in text
    right = newest.model_copy(update={"top_speed_kmh": (newest.top_speed_kmh or 0.0) / MPH})
    run_store.save_run(db, right, clock())
    assert "7 top speeds do not fit" in client.get("/forecast").text


@pytest.mark.parametrize("part", [0.97, 1.03])
def test_the_forecast_goes_towards_the_speed_that_was_measured(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: KitCar, part: float
) -> None:
    log_runs(db, car, add_track(db, clock()), clock(), 2)
    run = run_store.runs(db)[0]
    where = f"/forecast/gear?pinion={run.pinion_teeth}&spur={run.spur_teeth}"
    before = figures(client.get(where).text)["top-speed-kmh"]
    assert "Drive efficiency, by top speeds" not in client.get("/forecast/figures").text
    typed = {
        "car_id": car.id,
        "run_id": run.id,
        "top_speed_kmh": f"{part * before:.2f}",
        "top_speed_spread_kmh": "0.3",
    }
    assert client.post_form("/sound/passing", typed).status_code == 303
    after = figures(client.get(where).text)["top-speed-kmh"]
    assert abs(after - part * before) < 0.6 * abs(before - part * before)
    page = client.get("/forecast/figures").text
    assert "Drive efficiency, by top speeds" in page
    assert "fitted from runs: 1 top speed" in page
