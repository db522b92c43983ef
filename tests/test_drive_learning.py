"""What runs teach, against SciPy; slips left aside; the head, its margin, and what to try next."""

from __future__ import annotations

import math
import random
from datetime import timedelta

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import norm

from pitapp.drive.learning.can import CanPrior, CanReading
from pitapp.drive.learning.can_fit import FREEDOM, fit_can
from pitapp.drive.learning.laps import LapPrior, LapTime, fit_laps
from pitapp.drive.learning.logged_run import LoggedRun, logged_run
from pitapp.drive.learning.run_history import fit_runs, run_residuals
from pitapp.drive.models import Car, Motor, Pack, Setup, Straight, Track
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.head import HOT_COST_S, choose
from pitapp.drive.ranking.uncertainty import can_se_k, widened
from pitapp.drive.ranking.value_of_information import try_next
from pitapp.drive.ranking.verdict import MOST_HOT, Outlook, level_of
from pitapp.heat.formulas import two_node_temperatures_c
from pitapp.heat.two_node import WINDING_SHARE, run_response
from pitapp.runs.models import FittedCar, Run, Snapshot
from tests.support import RACE_MORNING

TAU, WINDING_TAU, STANDING, RESISTANCE, EXPONENT = 520.0, 28.0, 700.0, 3.2, 0.3


def read(ratio: float, power: float, run_s: float, air: float, after: float) -> float:
    """A reading by the public two-node function, with hidden figures."""
    heat = power * (ratio / 4.0) ** EXPONENT * (1 + 0.0028 * (air - 20))
    outer = 1 / RESISTANCE
    c1, c2 = WINDING_SHARE * TAU * outer, (1 - WINDING_SHARE) * TAU * outer
    inner = c1 / WINDING_TAU
    hot = two_node_temperatures_c(air, air, air, heat, c1, c2, inner, outer, run_s)
    still = TAU * outer / STANDING
    return two_node_temperatures_c(*hot, air, 0, c1, c2, inner, still, after)[1]


def readings(count: int, seed: int, noise: float = 1.0) -> list[CanReading]:
    rng = random.Random(seed)
    found = []
    for _ in range(count):
        ratio, air = rng.uniform(3.6, 4.4), rng.uniform(15, 27)
        run_s, after = rng.choice([240.0, 300.0, 420.0]), rng.uniform(0, 300)
        power = 24.0 * (4.0 / ratio) ** 1.5
        can = read(ratio, power, run_s, air, after) + rng.gauss(0, noise)
        found.append(CanReading(power, ratio, run_s, air, air, can, after))
    return found


# scipy.optimize.least_squares: Student-t loss for the readings, none for the rows of the prior.
@pytest.mark.parametrize("slip", [0.0, -45.0])
def test_the_fit_is_the_one_that_scipy_finds(slip: float) -> None:
    points = readings(14, 3)
    points[5] = points[5]._replace(read_c=points[5].read_c + slip)
    prior = CanPrior()
    fit = fit_can(points, prior)
    centre = np.array([math.log(2.5), math.log(470), math.log(35), math.log(600), 0, 0])
    spreads = np.array([0.6, 0.45, 0.6, 0.4, 0.4, 1.0])
    scale, runs = fit.noise_k, len(points)

    def rows(theta: np.ndarray) -> np.ndarray:
        misses = []
        for p in points:
            k, d = run_response(p.run_s, p.after_s, *np.exp(theta[[2, 1, 3]]))
            x = math.log(p.ratio / fit.reference_ratio)
            heat = p.power_w * math.exp(theta[0] + theta[4] * x + theta[5] * x * x)
            heat *= 1 + 0.0028 * (p.air_c - 20)
            misses.append((p.read_c - p.air_c - heat * k - d * (p.start_c - p.air_c)) / scale)
        return np.concatenate([misses, (theta - centre) / spreads])

    def loss(z: np.ndarray) -> np.ndarray:
        out = np.array([z, np.ones_like(z), np.zeros_like(z)])
        part = z[:runs] / FREEDOM
        out[0, :runs] = (FREEDOM + 1) * np.log1p(part)
        out[1, :runs] = (FREEDOM + 1) / FREEDOM / (1 + part)
        out[2, :runs] = -(FREEDOM + 1) / FREEDOM**2 / (1 + part) ** 2
        return out

    other = least_squares(rows, np.array(fit.theta) + 0.05, loss=loss, xtol=1e-12, ftol=1e-12)
    errors = np.sqrt(np.diag(np.array(fit.covariance)))
    assert np.abs(other.x - np.array(fit.theta)) == pytest.approx(0, abs=0.02 * errors.min())
    assert (fit.weights[5] < 0.2) == bool(slip)


def test_the_flag_is_learned_from_readings_at_other_times() -> None:
    """Early by the prior's width, late within a kelvin, and the ± holds the truth as it says."""
    inside, misses = 0, []
    for seed in range(30):
        fit = fit_can(readings(20, seed))
        truth = read(3.7, 24.0 * (4.0 / 3.7) ** 1.5, 300, 22, 0)
        can, se, rise = fit.warming(300).can(24.0 * (4.0 / 3.7) ** 1.5, 3.7, 22, 22)
        misses.append(can - truth)
        inside += abs(can - truth) <= can_se_k(se, rise, 22, fit.mean_air_c)
    assert abs(float(np.mean(misses))) < 0.5
    assert float(np.sqrt(np.mean(np.square(misses)))) < 1.2
    assert 18 <= inside <= 30


def test_laps_are_a_linear_model_with_days_of_their_own() -> None:
    rng = random.Random(2)
    points, shifts = [], [0.3, -0.2, 0.05, 0.1]
    for index in range(24):
        ratio, day = rng.uniform(3.6, 4.4), index // 6
        x = math.log(ratio / 4.0)
        logged = 20.4 + shifts[day] + 0.8 * x + rng.gauss(0, 0.05)
        points.append(LapTime(day, ratio, logged, 20.0))
    fit = fit_laps(points, 20.4)
    assert fit.slope_s == pytest.approx(0.8, abs=3 * fit.slope_se_s)
    # numpy.linalg.lstsq with the prior's rows and the weights of the errors.
    prior = LapPrior()
    rows, right = [], []
    for point, weight in zip(points, fit.weights, strict=True):
        x = math.log(point.ratio / fit.reference_ratio)
        days = [float(point.day == day) for day in range(4)]
        pull = math.sqrt(weight) / fit.scatter_s
        rows.append([pull * each for each in (1, x, x * x, *days)])
        right.append(pull * (point.logged_s - point.modelled_s))
    spreads = [0.3 * 20.4, prior.slope_share * 20.4, prior.bend_share * 20.4, *[fit.day_s] * 4]
    centre = float(np.median([p.logged_s - p.modelled_s for p in points]))
    right = [each - row[0] * centre for each, row in zip(right, rows, strict=True)]
    rows += [[float(i == j) / s for j in range(7)] for i, s in enumerate(spreads)]
    found = np.linalg.lstsq(np.array(rows), np.array(right + [0.0] * 7))[0]
    assert fit.slope_s == pytest.approx(found[1], abs=0.02 * fit.slope_se_s)
    assert fit.offset_s == pytest.approx(centre + found[0], abs=0.01)
    slipped = [*points, points[0]._replace(logged_s=155.0), points[3]._replace(logged_s=1.55)]
    other = fit_laps(slipped, 20.4)
    assert other.slope_s == pytest.approx(fit.slope_s, abs=0.5 * fit.slope_se_s)
    assert max(other.weights[-2:]) < 0.01


def test_a_mean_of_the_better_half_counts_for_more_than_one_lap() -> None:
    ratios = (3.8, 3.9, 4.0, 4.1, 4.2, 4.3)
    best = [LapTime(0, ratio, 20 + ratio / 10, 20.0) for ratio in ratios]
    means = [each._replace(laps=20) for each in best]
    assert fit_laps(means, 20.4).slope_se_s < fit_laps(best, 20.4).slope_se_s
    # Means are slower than best laps by an offset of their own, which is no slope.
    mixed = [*best, *[each._replace(logged_s=each.logged_s + 0.2, laps=20) for each in best]]
    fit = fit_laps(mixed, 20.4)
    assert fit.slope_s == pytest.approx(0.4, abs=2 * fit.slope_se_s)


def logged(run_id: int, laps_s: tuple[float, ...] = (), **values: object) -> LoggedRun:
    """A run at 40/80, logged one a day."""
    run = Run(
        id=run_id, car_id=1, track_id=1, pinion_teeth=40, spur_teeth=80, internal_ratio=1.9,
        started_at=RACE_MORNING + timedelta(days=run_id), tyre_diameter_mm=63, run_s=300,
        snapshot=Snapshot(car=FittedCar(id=1, name="Car")), **values,
    )  # fmt: skip
    track = Track(straights=(Straight(length_m=40, entry_speed_m_s=6, exit_speed_m_s=6),) * 4)
    made = logged_run(run, lambda _: track, {}, laps_s)
    assert made is not None
    return made


def plain_setup() -> Setup:
    return Setup(
        car=Car(mass_kg=1.35, tyre_diameter_mm=63),
        motor=Motor(kv_rpm_per_v=2400, resistance_ohm=0.02),
        pack=Pack(voltage_v=7.8),
    )


def test_a_list_of_laps_gives_the_mean_of_its_better_half() -> None:
    laps = (15.2, 15.0, 15.1, 15.3, 15.4, 15.5, 22.0)
    run = logged(1, laps, best_lap_s=15.0)
    # By hand: 22.0 is traffic; the better half of the six others is 15.0, 15.1 and 15.2.
    assert run.mean_lap_s == pytest.approx(15.1)
    assert run.laps_in_mean == 6
    assert run.fade is not None
    assert run.fade.slope > 0
    (residual,) = run_residuals((run,), plain_setup(), 600.0)
    assert residual.lap is not None
    assert residual.lap.logged_s == pytest.approx(15.1)
    short = logged(2, (15.2, 15.0), best_lap_s=15.0)
    assert (short.mean_lap_s, short.laps_in_mean) == (None, 0)


def test_second_readings_settle_how_the_motor_cools() -> None:
    runs = [
        logged(day, can_c=70.0, read_after_s=30.0, air_c=20.0, second_can_c=48.0, second_after_s=480.0)
        for day in range(1, 5)
    ]  # fmt: skip
    once = [run._replace(second_can_c=None, second_after_s=None) for run in runs]
    with_second, without = (
        fit_runs(run_residuals(tuple(each), plain_setup(), 600.0), 1).can for each in (runs, once)
    )
    assert with_second.spread(3) < 0.8 * without.spread(3)
    # 50 K over the air fell to 28 K in 450 s: a time constant of about 780 s at most.
    assert 500 < with_second.standing_tau_s < 800
    reading = run_residuals((runs[0],), plain_setup(), 600.0)[0].reading
    assert reading is not None
    warm = with_second.warming(300.0, 480.0).can(reading.power_w, 3.8, 20.0, 20.0)[0]
    assert warm == pytest.approx(48.0, abs=2.0)


def gear(ratio: float, lap: float, can: float, se: float, share: float = 0.5) -> GearForecast:
    out = Outlook(lap, lap - 20, can, se, 0.0, 2000.0, share, 80.0, 0.0)
    return GearForecast(
        round(300 / ratio), 78, ratio, out, out, False, 0.02, 20.0, None, 0.0, 20.0, level_of(out)
    )


def test_the_head_has_the_least_loss_by_lap_and_chance_of_a_hot_can() -> None:
    """By the normal distribution of SciPy."""
    cool, warm = gear(4.0, 20.0, 72.0, 4.0), gear(3.95, 19.995, 73.9, 4.0)
    worth = HOT_COST_S * (norm.sf(80, 73.9, 4.0) - norm.sf(80, 72.0, 4.0))
    assert choose([cool, warm], (4.0,)).gear is cool
    assert 0.005 < worth < 0.06
    for part, wanted in ((0.9, 0), (1.1, 1)):
        gears = [cool, gear(3.95, 20.0 - part * worth, 73.9, 4.0)]
        assert choose(gears, (4.0,)).gear is gears[wanted]


def test_the_head_is_the_quickest_that_stays_cool_near_what_was_logged() -> None:
    gears = [gear(4.0 - i / 10, 20 - i / 50, 66 + 2.2 * i, 1.5 + 0.2 * i) for i in range(8)]
    head = choose(gears, (4.0, 3.9))
    assert head.gear is not None
    out = head.gear.outlook
    assert norm.sf(80, out.temperature_c, out.temperature_se_c) <= MOST_HOT
    assert head.gear.final_drive_ratio >= 3.9 / 1.06
    assert head.quickest is gears[-1]
    assert choose(gears, ()).gear is None
    hot = [each._replace(outlook=each.outlook._replace(temperature_c=95.0)) for each in gears]
    assert (choose(hot, (4.0,)).gear, choose(hot, (4.0,)).reason) == (None, "none safe")


def test_a_head_beyond_the_reach_is_only_ever_a_shorter_gear() -> None:
    gears = [gear(4.0, 20.0, 90.0, 1.0), gear(4.6, 20.4, 70.0, 2.0), gear(3.2, 19.5, 60.0, 1.0)]
    head = choose(gears, (4.0,))
    assert head.gear is gears[1]


def test_trying_is_worth_something_where_something_is_unknown_and_nothing_elsewhere() -> None:
    gears = [gear(4.2 - i / 20, 20 - i / 300, 60.0 + i, 1.0) for i in range(10)]
    head = gears[4]

    def laps(spread: float):  # type: ignore[no-untyped-def]
        def covariance(one: GearForecast, other: GearForecast) -> float:
            x, y = (math.log(g.final_drive_ratio / head.final_drive_ratio) for g in (one, other))
            return spread**2 * x * y

        return covariance

    def cans(one: GearForecast, other: GearForecast) -> float:
        return 0.25

    logged = [each.final_drive_ratio for each in gears]
    unsure = try_next(gears, head, logged, laps(2.0), cans, 0.02, 1.5)
    assert unsure is not None
    assert unsure.gain_s >= 0.01
    more = try_next(gears, head, logged, laps(4.0), cans, 0.02, 1.5)
    assert more is not None
    assert more.gain_s > unsure.gain_s
    best = min(gears, key=lambda each: each.lap_s)
    assert try_next(gears, best, logged, laps(1e-6), cans, 0.02, 1.5) is None


def test_a_back_test_that_is_right_widens_nothing_and_one_that_is_wrong_does() -> None:
    rng = random.Random(1)
    right = [rng.gauss(0, 0.9) for _ in range(16)]
    assert 1.0 <= widened(right) < 1.15
    assert widened([3 * each for each in right]) > 1.7
    assert widened([1000.0]) < 2
