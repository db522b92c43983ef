"""A car that came before its class, motor and packs works with what they say as soon as they say it."""

from __future__ import annotations

import re
import sqlite3
from datetime import timedelta
from math import pi

import pytest

from pitapp.drive.forecast_context import ForecastContext
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.class_figures import with_class_figures
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.packs import store as packs
from pitapp.packs.models import Pack
from pitapp.runs import store as runs
from pitapp.runs.models import FittedCar, Run, Snapshot
from tests.support import Clock, PageClient
from tests.test_gearing_routes import figures

# By hand: 66/45 × 1.9 is 2.78667, π × 63 / that 71.0240 mm a turn of the motor.
ROLLOUT_MM = pi * 63 / (66 / 45 * 1.9)


def kmh(rpm: float) -> float:
    return rpm * ROLLOUT_MM * 60 / 1e6


@pytest.fixture
def car(db: sqlite3.Connection, clock: Clock) -> Car:
    """A car of which no more is known than its gears."""
    car_id, _ = kit.save_car(
        db, Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63), clock()
    )
    kit.add_gears(db, "pinion", "dp:64", [44, 45, 46], clock())
    kit.add_gears(db, "spur", "dp:64", [66], clock())
    gearing.fit(db, kit.car(db, car_id), 45, 66, clock())
    return kit.car(db, car_id)


def add_class(db: sqlite3.Connection, clock: Clock, **rules: float) -> None:
    meetings.save_class(db, RaceClass(name="Class", **rules), clock())


def add_motor(db: sqlite3.Connection, clock: Clock, car: Car) -> None:
    motor_id, _ = kit.save_motor(db, Motor(name="Motor", kv_rpm_per_v=2380), clock())
    changed = kit.car(db, car.id).model_copy(update={"motor_id": motor_id})
    kit.save_car(db, changed, clock())


def near_speeds(page: str) -> list[float]:
    rows = re.findall(r"<small>FDR .*?, ([\d.]+)\u00a0?\s*km/h</span>", page, re.S)
    return [float(each) for each in rows]


def test_the_rev_limit_is_that_of_a_class_that_came_later(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    assert "limit-speed-kmh" not in figures(client.get("/gearing").text)
    add_class(db, clock, rev_limit_rpm=14_600)
    page = client.get("/gearing?kind=ratio&value=2.79").text
    assert figures(page)["limit-speed-kmh"] == pytest.approx(kmh(14_600), rel=1e-9)
    assert near_speeds(page)[0] == pytest.approx(kmh(14_600), abs=0.06)
    assert 'id="speed-lacks"' not in page
    asked = client.get("/gearing?kind=speed&value=62.2")
    assert asked.status_code == 200
    assert near_speeds(asked.text)
    own = kit.car(db, car.id).model_copy(update={"rev_limit_rpm": 12_000.0})
    kit.save_car(db, own, clock())
    assert figures(client.get("/gearing").text)["limit-speed-kmh"] == pytest.approx(kmh(12_000))


def test_with_no_limit_the_top_speed_is_that_of_motor_and_pack(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    add_class(db, clock)
    add_motor(db, clock, car)
    packs.save_pack(db, Pack(mark="A", cells_series=2, capacity_mah=6000), clock())
    page = client.get("/gearing?kind=ratio&value=2.79").text
    # Kv × 2 cells of 3.7 V, as pack makers label them (common practice).
    assert figures(page)["free-speed-kmh"] == pytest.approx(kmh(2380 * 7.4), rel=1e-9)
    assert near_speeds(page)[0] == pytest.approx(kmh(2380 * 7.4), abs=0.06)
    assert re.search(r'<div class="figure" hidden>\s*<span class="figure-label">At the rev', page)
    assert 'id="speed-lacks"' not in page


def test_what_lacks_for_the_top_speed_is_said_with_the_way_to_its_field(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    page = client.get("/gearing").text
    assert "Top speed needs a rev limit, or a motor and a pack." in page
    assert f'href="/kit/cars/{car.id}?for=speed#new_motor_kv"' in page
    form = client.get(f"/kit/cars/{car.id}?for=speed").text
    assert re.search(r'<details open>\s*<summary>Motor and speed.*?id="new_motor_kv"', form, re.S)
    add_motor(db, clock, car)
    page = client.get("/gearing").text
    assert "Top speed needs a rev limit, or the pack&#39;s voltage." in page
    assert f'href="/kit/cars/{car.id}?for=speed#pack_v"' in page
    assert 'id="pack_v"' in client.get(f"/kit/cars/{car.id}?for=speed").text
    # A racer who types one figure has the speed at once, and is not asked for it any more.
    typed = client.get("/gearing?rev_limit=14600").text
    assert re.search(r'id="speed-lacks"[^>]*hidden', typed)


def test_the_voltage_is_that_of_the_pack_run_last_else_of_the_class(
    db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    def volts() -> float | None:
        return with_class_figures(db, kit.car(db, car.id), clock()).pack_v

    assert volts() is None
    other, _ = packs.save_pack(db, Pack(mark="A", cells_series=3, capacity_mah=6000), clock())
    assert volts() == pytest.approx(11.1)
    # 8.44 V at the start are two full cells of 4.2 V.
    add_class(db, clock, most_start_v=8.44, least_mass_g=1320)
    assert volts() == pytest.approx(7.4)
    assert with_class_figures(db, car, clock()).mass_g == 1320
    label = Pack(mark="B", cells_series=2, capacity_mah=6000, nominal_v=7.6)
    pack_id, _ = packs.save_pack(db, label, clock())
    run = Run(
        car_id=car.id,
        pack_id=pack_id,
        started_at=clock() - timedelta(hours=1),
        snapshot=Snapshot(car=FittedCar(id=car.id, name=car.name)),
    )
    runs.save_run(db, run, clock())
    assert volts() == pytest.approx(7.6)
    own = kit.car(db, car.id).model_copy(update={"pack_v": 6.6})
    kit.save_car(db, own, clock())
    assert volts() == pytest.approx(6.6)
    assert other != pack_id


def test_the_forecast_takes_voltage_and_pack_by_the_class(
    db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    add_motor(db, clock, car)
    packs.save_pack(db, Pack(mark="A", cells_series=3, capacity_mah=5000), clock())
    add_class(db, clock, most_start_v=8.44)
    context = ForecastContext(db, {}, clock())
    assert context.pack is None
    assert context.inputs["pack_v"].source == "from the class"
    assert context.inputs["capacity_mah"].value != 5000
    # Two cells at rest, half way through a run: between 3.9 and 4.1 V each.
    assert 7.8 < (context.inputs["pack_v"].value or 0) < 8.2
    packs.save_pack(db, Pack(mark="B", cells_series=2, capacity_mah=5100), clock())
    assert ForecastContext(db, {}, clock()).inputs["capacity_mah"].value == 5100


@pytest.mark.parametrize(("own", "holds"), [(12_000, 12_000), (20_000, 14_600)])
def test_of_two_rev_limits_the_lower_holds_on_every_screen(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car, own: float, holds: float
) -> None:
    add_motor(db, clock, car)
    add_class(db, clock, rev_limit_rpm=14_600)
    limited = kit.car(db, car.id).model_copy(update={"rev_limit_rpm": own})
    kit.save_car(db, limited, clock())
    assert figures(client.get("/gearing").text)["limit-speed-kmh"] == pytest.approx(kmh(holds))
    assert ForecastContext(db, {}, clock()).inputs["rev_limit_rpm"].value == holds


def test_any_pack_that_can_be_written_down_has_a_gearing_screen(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    add_motor(db, clock, car)
    packs.save_pack(db, Pack(mark="A", cells_series=16, capacity_mah=5000, nominal_v=62), clock())
    assert client.get("/gearing").status_code == 200


def test_the_parked_car_weighs_what_its_class_asks_at_least(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    add_class(db, clock, least_mass_g=1320)
    page = client.get("/roll/test").text
    field = re.search(r'<input[^>]*id="mass_g"[^>]*>', page)
    assert field is not None
    assert 'value="1320"' in field[0]
