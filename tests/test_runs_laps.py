"""The figures of laps against SciPy, NumPy and the statistics module, and laps in one column."""

from __future__ import annotations

import random
import sqlite3
import statistics

import numpy as np
import pytest
from scipy import stats

from pitapp.db import undo
from pitapp.errors import ChangedMeanwhile
from pitapp.exchange import readers
from pitapp.exchange import store as exchange
from pitapp.runs import store
from pitapp.runs.formulas import (
    better_half_mean_s,
    lap_figures,
    packed_laps,
    robust_spread_s,
    slope_with_interval,
    traffic_laps,
    traffic_limit_s,
    unpacked_laps,
)
from pitapp.runs.laps import store as laps_store
from pitapp.runs.models import FittedCar, Run, Snapshot
from tests.runs_support import Pit, furnish
from tests.support import RACE_MORNING

RUNS, LAPS, MOST_MB = 20_000, 20, 45


def driven(seed: int) -> list[float]:
    """Laps as they are driven: a pace, a fade, noise, ties by rounding, and some traffic."""
    dice = random.Random(seed)
    pace, fade = dice.uniform(8, 90), dice.uniform(-0.02, 0.05)
    digits = dice.choice([1, 2, 3])
    return [
        round(pace + fade * lap + abs(dice.gauss(0, 0.2)) + 4 * (dice.random() < 0.08), digits)
        for lap in range(dice.randint(1, 60))
    ]


@pytest.mark.parametrize("seed", range(60))
def test_spread_and_better_half_agree_with_scipy_and_numpy(seed: int) -> None:
    laps = driven(seed)
    assert robust_spread_s(laps) == pytest.approx(
        1.4826 * stats.median_abs_deviation(laps), abs=1e-9
    )
    assert robust_spread_s(laps) == pytest.approx(
        stats.median_abs_deviation(laps, scale="normal"), rel=1e-4, abs=1e-9
    )
    half = np.sort(laps)[: (len(laps) + 1) // 2]
    assert better_half_mean_s(laps) == pytest.approx(float(half.mean()), abs=1e-9)
    mirrored = [*half, *([2 * max(laps)] * (len(laps) // 2))]
    assert better_half_mean_s(mirrored) == pytest.approx(float(half.mean()), abs=1e-9)


@pytest.mark.parametrize("seed", range(60))
def test_the_fade_is_the_slope_of_theil_and_sen_with_sens_interval(seed: int) -> None:
    laps = driven(seed)
    numbers = [float(n) for n in range(1, len(laps) + 1)]
    ours = slope_with_interval(numbers, laps)
    if len(laps) < 3:
        assert ours is None
        return
    theirs = stats.theilslopes(laps, numbers, alpha=0.95)
    assert ours == pytest.approx((theirs.slope, theirs.low_slope, theirs.high_slope), abs=1e-9)


@pytest.mark.parametrize("seed", range(60))
def test_all_figures_are_of_the_laps_that_the_rule_leaves(seed: int) -> None:
    laps = driven(seed)
    figures = lap_figures(laps)
    limit = np.median(laps) + 3 * 1.4826 * stats.median_abs_deviation(laps)
    free = [n for n, lap in enumerate(laps) if lap <= limit + 1e-6]
    rest = [laps[n] for n in free]
    assert figures.traffic_limit_s == pytest.approx(limit, abs=1e-9)
    assert figures.traffic == tuple(n + 1 for n in range(len(laps)) if n not in free)
    assert (figures.best_s, figures.laps) == (min(laps), len(laps))
    assert laps[figures.best_lap - 1] == min(laps)
    assert figures.median_s == statistics.median(laps)
    assert figures.average_s == pytest.approx(statistics.mean(rest), abs=1e-9)
    assert figures.spread_s == pytest.approx(1.4826 * stats.median_abs_deviation(rest), abs=1e-9)
    assert figures.total_s == pytest.approx(sum(laps), abs=1e-6)
    if len(rest) < 3:
        assert (figures.fade_per_lap_s, figures.fade_per_minute_s) == (None, None)
        return
    middles = (np.cumsum(laps) - np.array(laps) / 2)[free] / 60
    for fade, x in ((figures.fade_per_lap_s, free), (figures.fade_per_minute_s, middles)):
        theirs = stats.theilslopes(rest, x, alpha=0.95)
        assert fade == pytest.approx((theirs.slope, theirs.low_slope, theirs.high_slope), abs=1e-6)


def test_a_known_run_by_hand() -> None:
    """Deviations of 15.0 15.1 15.2 15.3 19.0 from their median 15.2: 0.2 0.1 0 0.1 3.8, median 0.1."""
    laps = [15.0, 15.1, 15.2, 15.3, 19.0]
    assert robust_spread_s(laps) == pytest.approx(0.14826)
    assert traffic_limit_s(laps) == pytest.approx(15.64478)
    assert traffic_laps(laps) == (5,)
    figures = lap_figures(laps)
    assert figures.average_s == pytest.approx(15.15)
    assert figures.better_half_s == pytest.approx(15.05)
    assert figures.fade_per_lap_s is not None
    assert figures.fade_per_lap_s.slope == pytest.approx(0.1)


@pytest.mark.parametrize("laps", [[], [0.0], [-1.0], [float("nan")], [4000.0], [15.0] * 601])
def test_impossible_laps_are_refused(laps: list[float]) -> None:
    with pytest.raises(ValueError, match=r"lap"):
        lap_figures(laps)
    with pytest.raises(ValueError, match=r"lap"):
        packed_laps(laps)


@pytest.mark.parametrize("seed", range(30))
def test_packed_laps_come_back_exactly(seed: int) -> None:
    laps = driven(seed)
    assert list(unpacked_laps(packed_laps(laps))) == laps


@pytest.mark.parametrize(
    "text", ["", "14.87", "0", "-5", "1 2", "99999999", "١٤٨٧٠", "15000  2000"]
)
def test_a_column_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        unpacked_laps(text)


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    return furnish(db)


def logged(db: sqlite3.Connection, pit: Pit, **values: object) -> int:
    snapshot = Snapshot(car=FittedCar(id=pit.car, name="Example car"))
    known = {"car_id": pit.car, "started_at": RACE_MORNING, "snapshot": snapshot}
    return store.save_run(db, Run(**(known | values)), RACE_MORNING)[0]


def test_laps_fill_what_is_empty_and_are_undone_whole(db: sqlite3.Connection, pit: Pit) -> None:
    run_id = logged(db, pit)
    token = laps_store.save_laps(db, run_id, [15.2, 14.9, 15.0], RACE_MORNING)
    run = store.run(db, run_id)
    assert laps_store.laps(db, run_id) == (15.2, 14.9, 15.0)
    assert (run.best_lap_s, run.laps) == (14.9, 3)
    undo.undo(db, token, RACE_MORNING)
    run = store.run(db, run_id)
    assert laps_store.laps(db, run_id) == ()
    assert (run.best_lap_s, run.laps) == (None, None)


def test_what_was_typed_of_the_run_stays(db: sqlite3.Connection, pit: Pit) -> None:
    run_id = logged(db, pit, best_lap_s=14.5, laps=30)
    laps_store.save_laps(db, run_id, [15.2, 14.9], RACE_MORNING)
    run = store.run(db, run_id)
    assert (run.best_lap_s, run.laps) == (14.5, 30)
    store.save_run(db, run.model_copy(update={"remarks": "loose"}), RACE_MORNING)
    assert laps_store.laps(db, run_id) == (15.2, 14.9)
    token = laps_store.remove_laps(db, run_id, RACE_MORNING)
    assert laps_store.laps(db, run_id) == ()
    undo.undo(db, token, RACE_MORNING)
    assert laps_store.laps(db, run_id) == (15.2, 14.9)


def test_laps_of_another_screen_are_not_written_over(db: sqlite3.Connection, pit: Pit) -> None:
    run_id = logged(db, pit)
    laps_store.save_laps(db, run_id, [15.2, 14.9], RACE_MORNING)
    with pytest.raises(ChangedMeanwhile):
        laps_store.save_laps(db, run_id, [15.3], RACE_MORNING)
    earlier = laps_store.packed(db, run_id)
    laps_store.save_laps(db, run_id, [15.3], RACE_MORNING, earlier=earlier)
    assert laps_store.laps(db, run_id) == (15.3,)


def test_a_column_of_laps_that_cannot_be_read_is_named(db: sqlite3.Connection, pit: Pit) -> None:
    run_id = logged(db, pit)
    laps_store.save_laps(db, run_id, [15.2], RACE_MORNING)
    assert list(readers.unreadable_in(db, "runs")) == []
    db.execute("UPDATE runs SET lap_times = 'fast' WHERE id = ?", (run_id,))
    (sentence,) = readers.unreadable_in(db, "runs")
    assert f"runs, row {run_id}" in sentence
    assert exchange.count(db, "runs") == 1


def test_the_laps_of_twenty_thousand_runs_stay_small(db: sqlite3.Connection, pit: Pit) -> None:
    logged(db, pit, pinion_teeth=45, spur_teeth=66, best_lap_s=14.5, laps=20, run_s=300)
    dice = random.Random(1)
    columns = [name for name in dict(db.execute("SELECT * FROM runs").fetchone()) if name != "id"]
    chosen = ", ".join({"uuid": "?", "lap_times": "?"}.get(name, name) for name in columns)
    with db:
        db.execute("BEGIN")
        db.executemany(
            f"INSERT INTO runs ({', '.join(columns)}) SELECT {chosen} FROM runs WHERE id = 1",
            (
                (
                    str(number),
                    packed_laps([round(dice.uniform(10, 20), 3) for _ in range(LAPS)]),
                )
                for number in range(RUNS)
            ),
        )
    pages, size = (
        db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size")
    )
    assert db.execute("SELECT count(*) FROM runs").fetchone()[0] == RUNS + 1
    assert pages * size < MOST_MB * 1e6
