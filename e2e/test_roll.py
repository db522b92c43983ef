"""The parked car: a tilt test, what it says, and what is said when it no longer holds."""

from __future__ import annotations

import sqlite3

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.pages.roll import ParkedCar, TiltTest
from e2e.server import Live
from e2e.watch import Watch
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.roll import store
from tests.support import RACE_MORNING


def furnish(live: Live) -> tuple[sqlite3.Connection, Car]:
    """A car with a motor and a gear in it."""
    connection: sqlite3.Connection = live.app.extensions["pitapp.db"].connection()
    motor_id, _ = kit.save_motor(
        connection, Motor(name="Bench motor", kv_rpm_per_v=2380, resistance_ohm=0.02), RACE_MORNING
    )
    item = Car(
        name="Test car",
        internal_ratio=1.9,
        pitch="dp:64",
        tyre_diameter_mm=63,
        motor_id=motor_id,
        mass_g=1350,
    )
    car = kit.car(connection, kit.save_car(connection, item, RACE_MORNING)[0])
    gearing.fit(connection, car, 40, 80, RACE_MORNING)
    return connection, car


@pytest.mark.every_engine
def test_a_tilt_test_and_then_a_longer_gear(live: Live, page: Page) -> None:
    connection, car = furnish(live)
    parked = ParkedCar(page, live.url).open()
    parked.expect_says("Do the tilt test.")
    parked.press("Tilt test")
    page.get_by_label("Angle", exact=False).first.fill("6,4")
    page.get_by_role("button", name="Save").tap()
    parked.expect_says("It stays on 2°")
    live.clock.tick(60)
    gearing.fit(connection, car, 45, 72, live.clock())
    parked.open()
    parked.expect_says("A longer gear is fitted since the tilt test")
    for _ in range(8):
        parked.more("Slope")
    parked.expect_says("It rolls on 6°")
    parked.less("Drag brake")
    expect(page.get_by_role("textbox", name="Drag brake")).to_have_value("5")
    parked.expect_says("It rolls on 6°")
    parked.check_usable()


def test_no_tap_is_lost_while_the_answer_is_on_its_way(live: Live, page: Page) -> None:
    furnish(live)
    parked = ParkedCar(page, live.url).open()
    slope = page.get_by_role("textbox", name="Slope")
    begun = float(slope.input_value())
    parked.slow_down()
    for tap, pause_ms in enumerate((600, 450, 500, 100, 700, 100, 100), start=1):
        parked.more("Slope")
        expect(slope).to_have_value(f"{begun + tap / 2:g}")
        page.wait_for_timeout(pause_ms)
    parked.expect_says(f"on {begun + 3.5:g}°")
    parked.wait_for_answers()
    expect(slope).to_have_value(f"{begun + 3.5:g}")
    parked.expect_says(f"on {begun + 3.5:g}°")


def test_the_phone_lying_on_the_board_gives_the_angle(live: Live, page: Page) -> None:
    """The browser's own clock stands still, so that nothing happens between two looks but what is done."""
    page.clock.install()
    connection, car = furnish(live)
    tilt = TiltTest(page, live.url).open()
    before = (
        "button => [false, true].map(off => { button.hidden = off; return angle_deg.offsetTop; })"
    )
    shown, not_yet = page.locator("#sensor-start").evaluate(before)
    assert shown == not_yet
    page.locator("#sensor-start").evaluate("button => { button.hidden = false; }")
    tilt.press("Use this phone's sensor")
    expect(page.locator("#sensor")).to_be_visible()
    tilt.lean(1, 1)
    expect(page.locator("#tilt-now")).to_have_text("1.4°")
    tilt.press("Level: zero")
    expect(page.locator("#tilt-now")).to_have_text("0.0°")
    page.clock.run_for(5000)
    expect(page.get_by_text("This browser gives no angle.")).to_be_hidden()
    tilt.lean(6, 1)
    expect(page.locator("#tilt-now")).to_have_text("5.0°")
    tilt.check_usable()
    tilt.press("It rolls")
    expect(page.get_by_label("Angle", exact=False).first).to_have_value("5.0")
    page.get_by_role("button", name="Save").tap()
    expect(page.get_by_text("Tilt test at 5.0°")).to_be_visible()
    test = store.latest_test(connection, car.id)
    assert test is not None
    assert (test.angle_deg, test.read_by) == (5.0, "sensor")


@pytest.mark.engines("chromium", "firefox")
def test_a_phone_without_a_sensor_says_so(live: Live, page: Page) -> None:
    furnish(live)
    tilt = TiltTest(page, live.url).open()
    tilt.press("Use this phone's sensor")
    expect(page.get_by_text("This browser gives no angle. Type it below.")).to_be_visible()


@pytest.mark.parametrize("theme", ["light", "dark", "glare"])
def test_every_screen_is_usable(live: Live, page: Page, watch: Watch, theme: str) -> None:
    watch.allow("status of 422")
    page.context.add_cookies([{"name": "pitapp_theme", "value": theme, "url": live.url}])
    ParkedCar(page, live.url).open().check_usable()
    furnish(live)
    for screen in (ParkedCar, TiltTest):
        screen(page, live.url).open().check_usable()
    page.get_by_role("button", name="Save").tap()
    expect(page.get_by_text("Write the angle, or both lengths below.")).to_be_visible()
    Screen(page, live.url).check_usable()
    page.get_by_label("Angle", exact=False).first.fill("5")
    page.get_by_role("button", name="Save").tap()
    expect(page.get_by_text("Tilt test at 5.0°")).to_be_visible()
    page.goto(f"{live.url}/roll/tests")
    Screen(page, live.url).check_usable()
