"""Knowing the motor before the meeting: bench checks, weights and leads on the phone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.pages.bench import Bench, CheckEntry, Leads, Weights
from e2e.server import Live
from pitapp.bench import store
from pitapp.bench.models import MotorCheck
from pitapp.kit import store as kit
from pitapp.kit.leads import store as leads
from pitapp.kit.leads.models import Lead
from pitapp.kit.models import Car, Motor
from pitapp.kit.scales import store as scales
from pitapp.kit.scales.models import Part, Weighing
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from tests.support import RACE_MORNING

SCREENS = (
    "/bench",
    "/bench/motors/1",
    "/bench/motors/2",
    "/bench/checks/2",
    "/bench/motors/1/new",
    "/bench/checks/2/change",
    "/kit/scales",
    "/kit/scales/parts/1",
    "/kit/scales/corners/new",
    "/kit/scales/move?part_g=40&total_g=1324&forward_mm=9&left_mm=-9&wheelbase_mm=257&track_width_mm=160",
    "/kit/scales/move?part_g=x&total_g=0",
    "/kit/leads",
    "/kit/leads/1?current_a=-1",
)
COLOURED = ("/bench/motors/1", "/bench/motors/1/new", "/kit/scales")


def furnish(live: Live) -> None:
    """A car with a motor of 2460 rpm/V, a second motor, and a class that fixes the timing."""
    connection = live.app.extensions["pitapp.db"].connection()
    motor = Motor(name="Race motor", kv_rpm_per_v=2460, mass_g=165)
    motor_id, _ = kit.save_motor(connection, motor, RACE_MORNING)
    kit.save_motor(connection, Motor(name="Spare", kv_rpm_per_v=2460), RACE_MORNING)
    car = Car(
        name="Test car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63, motor_id=motor_id
    )
    kit.save_car(connection, car, RACE_MORNING)
    spec = RaceClass(
        name="Spec", timing_fixed=True, timing_deg=40, timing_tolerance_deg=1, least_mass_g=1305
    )
    meetings.save_class(connection, spec, RACE_MORNING)


def fill(live: Live) -> None:
    """A past on top of that."""
    connection = live.app.extensions["pitapp.db"].connection()
    for days, rpm, amps in ((90, 17150, 2.2), (60, 17300, 2.3), (1, 17850, 2.9)):
        at = RACE_MORNING - timedelta(days=days)
        check = MotorCheck(
            motor_id=1,
            checked_at=at,
            free_rpm=rpm,
            volts=7,
            current_a=amps,
            sensor_a_deg=40,
            sensor_b_deg=40,
            sensor_c_deg=43,
            can_c=24,
            resistance_ohm=0.0225,
            mass_g=165,
            remarks="Bearings oiled.",
        )
        store.save_check(connection, check, at)
    scales.save_part(connection, Part(car_id=1, name="Ballast", mass_g=40), RACE_MORNING)
    weighing = Weighing(
        car_id=1,
        weighed_at=RACE_MORNING,
        front_left_g=320,
        front_right_g=330,
        rear_left_g=335,
        rear_right_g=325,
        wheelbase_mm=257,
        track_width_mm=160,
    )
    scales.save_weighing(connection, weighing, RACE_MORNING)
    leads.save_lead(connection, Lead(car_id=1, name="Pack", awg=12, length_mm=90), RACE_MORNING)


@pytest.mark.every_engine
def test_the_motor_is_known_before_the_meeting(live: Live, page: Page) -> None:
    """By hand: 18 204 rpm at 7.4 V is 2460 rpm/V; 18 944 is 2560, a change of −3.906 %.

    Common practice, no source: 2460 rpm/V at 7.4 V is 18 204 rpm; 40, 40, 43° are 41.0°, 3° apart.
    """
    furnish(live)
    Bench(page, live.url).open().press("Check Race motor")
    entry = CheckEntry(page, live.url)
    entry.enter(volts="7,4", free_rpm="18204", current_a="2,0")
    entry.expect_figure("kv", "2460")
    page.get_by_role("link", name="All checks of Race motor").tap()
    live.clock.tick(3600)
    entry.press("Check this motor")
    entry.enter(
        volts="7.4",
        free_rpm="18944",
        current_a="2.6",
        sensor_a_deg="40",
        sensor_b_deg="40",
        sensor_c_deg="43",
    )
    entry.expect_figure("kv", "2560")
    entry.expect_figure("rotor-change", "−3.9")
    entry.expect_figure("current-change", "+30")
    entry.expect_figure("timing-mean", "41.0")
    entry.expect_figure("timing-spread", "3.0")
    findings = page.locator("#findings")
    expect(page.locator("#urgent")).to_contain_text("Timing not legal")
    for sentence in ("Sensor C is out", "Rotor weaker", "Draws much more"):
        expect(findings).to_contain_text(sentence)

    connection = live.app.extensions["pitapp.db"].connection()
    page.get_by_role("button", name="Take over Kv").tap()
    expect(page.get_by_text("Kv of Race motor is now 2560 rpm/V")).to_be_visible()
    assert kit.motor(connection, 1).kv_rpm_per_v == 2560
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_role("button", name="Take over Kv")).to_be_visible()
    assert kit.motor(connection, 1).kv_rpm_per_v == 2460

    page.get_by_role("link", name="All checks of Race motor").tap()
    expect(page.locator("#kv-plot .plot-mark")).to_have_count(2)


def test_the_car_is_weighed_and_its_ballast_moved(live: Live, page: Page) -> None:
    """By hand: 1320 g with 668 g left is 50.606 %; 40 g have to go 8 / 40 × 160 = 32 mm right."""
    furnish(live)
    weights = Weights(page, live.url).open()
    weights.add_part("Ballast", "40")
    expect(page.get_by_text("Added Ballast")).to_be_visible()
    weights.expect_figure("parts-total", "205")
    weights.press("Weigh the car")
    CheckEntry(page, live.url).enter(
        front_left_g="333",
        front_right_g="325",
        rear_left_g="335",
        rear_right_g="327",
        wheelbase_mm="257",
        track_width_mm="160",
    )
    weights.expect_figure("total", "1320")
    expect(page.get_by_text("Heavy enough")).to_be_visible()
    page.get_by_role("link", name="Ballast").tap()
    weights.press("What moving it does")
    page.get_by_label("To the left").fill("−32")
    weights.press("Work it out")
    weights.expect_figure("left-grams", "−8.0")
    weights.expect_figure("left-then", "50.0")
    weights.expect_figure("to-the-middle", "32")


def test_the_leads_lose_what_the_wire_table_says(live: Live, page: Page) -> None:
    """ASTM B258 wire table: number 12 has 5.211 Ω/km: 0.2 m are 1.042 mΩ, 0.0521 V at 50 A."""
    furnish(live)
    screen = Leads(page, live.url).open()
    screen.add("Pack to controller", "A pair", "12", "100")
    screen.expect_figure("leads-drop", "0.052")
    assert screen.value("leads-resistance") == pytest.approx(1.0422e-3, rel=1e-3)


@pytest.mark.parametrize(
    ("theme", "paths"), [("light", SCREENS), ("dark", COLOURED), ("glare", COLOURED)]
)
def test_every_screen_is_usable(live: Live, page: Page, theme: str, paths: tuple[str, ...]) -> None:
    furnish(live)
    fill(live)
    page.context.add_cookies([{"name": "pitapp_theme", "value": theme, "url": live.url}])
    for path in paths:
        page.goto(live.url + path)
        Screen(page, live.url).check_usable()


def test_the_empty_bench_is_usable(live: Live, page: Page) -> None:
    Bench(page, live.url).open().check_usable()
    furnish(live)
    for screen in (Bench, Weights, Leads):
        screen(page, live.url).open().check_usable()
