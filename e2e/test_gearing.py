"""Gearing between heats, from nothing to a gear on record."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from e2e.pages.base import Screen
from e2e.pages.gearing import Gearing, Log, Table
from e2e.pages.kit import GearBox, Kit, NewCar
from e2e.pages.offline import Phone, bars, visit_once
from e2e.server import Live, ServerProcess, rows
from e2e.thumb import Thumb
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from tests.support import RACE_MORNING

THEMES = ("light", "dark", "glare")
SCREENS = (
    "/",
    "/gearing",
    "/gearing?spur=0&pinion=zz&tyre=-1",
    "/gearing?kind=ratio&value=2.8",
    "/gearing?kind=speed&value=x",
    "/gearing/table",
    "/gearing/log",
    "/kit",
    "/kit/cars/1",
    "/kit/motors/1",
    "/kit/gears",
    "/more",
    "/settings",
    "/nowhere",
)


def furnish(live: Live) -> Car:
    """A car with a box of gears and one gear on record."""
    connection = live.app.extensions["pitapp.db"].connection()
    motor_id, _ = kit.save_motor(
        connection, Motor(name="Bench motor", kv_rpm_per_v=2380), RACE_MORNING
    )
    car = Car(
        name="Test car",
        internal_ratio=1.9,
        pitch="dp:64",
        tyre_diameter_mm=63,
        motor_id=motor_id,
        pack_v=7.4,
        rev_limit_rpm=14600,
        most_tooth_sum=116,
    )
    car_id, _ = kit.save_car(connection, car, RACE_MORNING)
    kit.add_gears(connection, "pinion", "dp:64", list(range(40, 49)), RACE_MORNING)
    kit.add_gears(connection, "spur", "dp:64", [64, 66, 69, 72], RACE_MORNING)
    car = kit.car(connection, car_id)
    gearing.fit(connection, car, 45, 66, RACE_MORNING)
    return car


@pytest.mark.every_engine
def test_a_new_user_gets_a_gear_on_record_in_under_ninety_seconds(live: Live, page: Page) -> None:
    began = time.monotonic()
    Screen(page, live.url).open()
    page.get_by_role("link", name="Add your car").tap()
    NewCar(page, live.url).add("My car", "1,9", "64 DP", "63")
    box = GearBox(page, live.url)
    page.get_by_label("Pinions").fill("40-46")
    box.add("Spurs", "64, 66, 69")
    expect(page.get_by_text("Added 7 pinions and 3 spurs")).to_be_visible()
    box.press("Gearing")
    nearest = Gearing(page, live.url).find("2,8").first
    expect(nearest).to_contain_text("45 / 66")
    nearest.get_by_role("button").tap()
    expect(page.get_by_text("Fitted 45 / 66")).to_be_visible()
    page.get_by_role("link", name="Board").tap()
    # 66 / 45 × 1.9, by hand.
    Screen(page, live.url).expect_figure("final-drive", "2.79")
    assert time.monotonic() - began < 90


def test_what_is_typed_before_the_script_is_there_counts(live: Live, page: Page) -> None:
    furnish(live)
    held: list[Route] = []
    page.route("**/gearing-page*", lambda route: held.append(route))
    page.goto(f"{live.url}/gearing", wait_until="commit")
    page.get_by_label("How much").fill("2.9")
    while not held:
        page.wait_for_timeout(50)
    held[0].continue_()
    # By hand: 64 / 42 × 1.9 = 2.895 is the nearest to 2.9 in the box.
    expect(Gearing(page, live.url).near().first).to_contain_text("42 / 64")


@pytest.mark.every_engine
def test_three_taps_from_the_foot_bar_fit_the_gear_that_is_wanted(live: Live, page: Page) -> None:
    furnish(live)
    thumb = Thumb(page)
    Screen(page, live.url).open()
    page.get_by_role("link", name="Gearing").tap()
    thumb.type(page.get_by_label("How much"), "2.9")
    # By hand: 64 / 42 × 1.9 = 2.895 is the nearest to 2.9 in the box.
    nearest = Gearing(page, live.url).near().first
    expect(nearest).to_contain_text("42 / 64")
    expect(nearest.get_by_role("button")).to_be_in_viewport(ratio=1)
    nearest.get_by_role("button").tap()
    expect(page.locator("#notices")).to_contain_text("Fitted 42 / 64, FDR 2.90")
    print(f"\nA wanted gear: {thumb.taps} taps, {thumb.fields} field")
    assert thumb.taps == 3, "\n".join(thumb.touched)


def test_what_the_top_speed_lacks_is_one_tap_away_or_typed_on_the_spot(
    live: Live, page: Page
) -> None:
    bare = Car(name="Bare", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    kit.save_car(live.app.extensions["pitapp.db"].connection(), bare, RACE_MORNING)
    screen = Gearing(page, live.url).open()
    lacks = page.locator("#speed-lacks")
    expect(lacks).to_contain_text("a motor and a pack")
    expect(page.locator("#limit-speed-kmh")).to_be_hidden()
    screen.check_usable()
    page.evaluate(SCRIPTS_HAVE_RUN)
    page.get_by_text("Numbers used").tap()
    page.get_by_label("Rev limit").fill("14600")
    expect(lacks).to_be_hidden()
    # By hand: 72/40 × 1.9 is 3.42; π × 63 / 3.42 × 14 600 × 60 / 10⁶ is 50.7.
    screen.expect_figure("limit-speed-kmh", "50.7")
    page.get_by_label("Rev limit").fill("")
    expect(page.locator("#limit-speed-kmh")).to_be_hidden()
    lacks.get_by_role("link").tap()
    expect(page.locator("#new_motor_kv")).to_be_visible()


# A tap before a script is there goes to the server, as it does with no scripts at all.
SCRIPTS_HAVE_RUN = """() => Promise.all(
    [...document.querySelectorAll("script[type=module]")].map((script) => import(script.src))
).then(() => true)"""


@pytest.mark.every_engine
def test_the_steppers_answer_with_the_server_gone(
    pitapp_process: object, live: Live, page: Page
) -> None:
    furnish(live)
    screen = Gearing(page, live.url).open()
    screen.expect_figure("final-drive", "2.79")
    page.evaluate(SCRIPTS_HAVE_RUN)
    page.context.set_offline(True)
    expect(screen.fit()).to_be_disabled()
    screen.tap_step("Pinion", "less")
    screen.expect_figure("final-drive", "2.85")
    screen.expect_figure("rollout-mm", "69.4")
    screen.expect_figure("limit-speed-kmh", "60.8")
    expect(screen.fit()).to_be_enabled()
    screen.neighbour("longer").tap()
    # By hand: 43 / 64 would be 0.7 % longer, but the pinion alone comes first.
    screen.expect_figure("final-drive", "2.79")
    expect(screen.fit()).to_be_disabled()
    screen.neighbour("longer").tap()
    screen.expect_figure("final-drive", "2.73")
    expect(page.locator("#pinion-note")).to_have_text("in the box")
    expect(screen.find("2.9").first).to_contain_text("42 / 64")
    expect(screen.near().first).to_contain_text("FDR 2.90, −0.2 %, 59.9 km/h")
    page.get_by_label("Find a gear by").select_option(label="Top speed")
    expect(screen.find("60").first).to_contain_text("42 / 64")
    screen.find("0")
    expect(page.locator("#near")).to_be_hidden()
    expect(page.locator("#value-error")).to_contain_text("at least 1 km/h")
    page.context.set_offline(False)


def test_the_page_finds_what_the_server_finds(live: Live, page: Page) -> None:
    furnish(live)
    screen = Gearing(page, live.url)
    browser = page.context.browser
    assert browser is not None
    plain = browser.new_context(java_script_enabled=False)
    other = Gearing(plain.new_page(), live.url)
    try:
        for kind, figure in (
            ("ratio", "2,79"),
            ("rollout", "70.5"),
            ("speed", "61"),
            ("ratio", "0"),
            ("speed", "much"),
        ):
            screen.open()
            page.evaluate(SCRIPTS_HAVE_RUN)
            page.locator("#kind").select_option(kind)
            screen.find(figure)
            answer = other.page.goto(f"{live.url}/gearing?kind={kind}&value={figure}")
            assert answer is not None
            expect(page.locator("#value-error")).to_have_text(
                other.page.locator("#value-error").text_content() or "", use_inner_text=False
            )
            expect(screen.near()).to_have_text(other.near().all_text_contents())
            assert (other.near().count() > 0) == answer.ok
    finally:
        plain.close()


@pytest.mark.every_engine
def test_with_no_server_the_gear_that_waits_is_the_one_fitted(
    server: ServerProcess, phone: Phone
) -> None:
    ((pinion, spur),) = rows(
        server, "SELECT pinion_teeth, spur_teeth FROM gear_fits WHERE removed_at IS NULL "
        "AND car_id = 1 ORDER BY fitted_at DESC, id DESC LIMIT 1",
    )  # fmt: skip
    before = len(rows(server, "SELECT id FROM gear_fits"))
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    screen = Gearing(page, server.url)
    page.goto(server.url + screen.path)
    nearest = screen.find("2.9").first
    pair = nearest.locator("b").inner_text()
    nearest.get_by_role("button").tap()
    expect(bars(page)).to_contain_text(f"pinion {pair.partition(' ')[0]}", timeout=15_000)
    page.goto(server.url + screen.path)
    expect(screen.fit()).to_be_disabled()
    shown = f"{page.locator('#pinion').input_value()} / {page.locator('#spur').input_value()}"
    assert shown == pair
    page.locator("#pinion").fill(str(pinion))
    page.locator("#spur").fill(str(spur))
    screen.fit().tap()
    expect(bars(page)).to_contain_text(f"pinion {pinion}", timeout=15_000)
    server.start()
    expect(bars(page)).to_contain_text("Sent: 2 entries", timeout=20_000)
    assert len(rows(server, "SELECT id FROM gear_fits")) == before + 2


def test_nonsense_typed_into_a_stepper_is_told_at_once(live: Live, page: Page) -> None:
    furnish(live)
    screen = Gearing(page, live.url).open()
    page.get_by_role("textbox", name="Pinion").fill("0")
    screen.expect_figure("final-drive", "–")
    expect(page.locator("#why-not")).to_contain_text("pinion must be at least 6")
    page.get_by_role("textbox", name="Pinion").fill("45")
    screen.expect_figure("final-drive", "2.79")
    expect(page.locator("#why-not")).to_be_hidden()


def test_without_a_script_the_buttons_work(live: Live, new_context: object, page: Page) -> None:
    furnish(live)
    browser = page.context.browser
    assert isinstance(browser, Browser)
    plain = browser.new_context(java_script_enabled=False, viewport={"width": 360, "height": 640})
    try:
        screen = Gearing(plain.new_page(), live.url).open()
        screen.page.get_by_role("button", name="Pinion: more").click()
        screen.expect_figure("final-drive", "2.73")
        screen.page.get_by_role("button", name="Fit this").click()
        expect(screen.page.get_by_text("Fitted 46 / 66")).to_be_visible()
        screen.page.get_by_role("button", name="Undo").click()
        expect(screen.page.get_by_text("Undone: Fitted 46 / 66")).to_be_visible()
        screen.expect_figure("final-drive", "2.79")
    finally:
        plain.close()


def test_the_log_is_read_and_an_entry_taken_out_and_put_back(live: Live, page: Page) -> None:
    furnish(live)
    Log(page, live.url).open()
    page.get_by_role("button", name="Delete 45 / 66").tap()
    expect(page.get_by_text("No gear was fitted")).to_be_visible()
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_role("button", name="Delete 45 / 66")).to_be_visible()


def test_a_removed_gear_comes_back(live: Live, page: Page) -> None:
    furnish(live)
    GearBox(page, live.url).open()
    page.get_by_text("Delete gears").tap()
    page.get_by_role("button", name="Delete the 48-tooth pinion").tap()
    expect(page.get_by_role("button", name="Delete the 48-tooth pinion")).to_have_count(0)
    expect(page.get_by_text("40–47", exact=True)).to_be_visible()
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_text("40–48", exact=True)).to_be_visible()


@pytest.mark.every_engine
def test_the_table_opens_at_the_fitted_gear_with_the_unfit_folded_away(
    live: Live, page: Page
) -> None:
    car = furnish(live)
    connection = live.app.extensions["pitapp.db"].connection()
    kit.add_gears(connection, "pinion", "dp:64", list(range(20, 40)), RACE_MORNING)
    kit.add_gears(connection, "spur", "dp:64", list(range(80, 96)), RACE_MORNING)
    gearing.fit(connection, car, 36, 80, RACE_MORNING)
    table = Table(page, live.url).open()
    expect(page.locator("td.fitted")).to_have_text("[4.22]")
    expect(page.locator("td.fitted")).to_be_in_viewport(ratio=1)
    expect(page.get_by_role("heading", name="Gear table")).to_be_in_viewport()
    expect(table.pair(35, 81)).to_be_in_viewport()
    expect(page.locator("td.unfit s:visible")).to_have_count(0)
    expect(page.get_by_role("columnheader", name="95")).to_be_visible()  # 20 / 95 has 115
    page.get_by_text("that do not fit").tap()
    pinions, spurs = range(20, 49), [64, 66, 69, 72, *range(80, 96)]
    expect(page.locator("td.unfit s:visible")).to_have_count(
        len([1 for p in pinions for s in spurs if p + s > 116])
    )
    table.check_usable()
    Gearing(page, live.url).open()
    page.get_by_role("link", name="Table").tap()
    expect(page.locator("td.fitted")).to_be_in_viewport(ratio=1)


def test_what_was_typed_stays_when_it_is_wrong(live: Live, page: Page, watch: object) -> None:
    watch.allow("status of 422")  # type: ignore[attr-defined]
    NewCar(page, live.url).open()
    NewCar(page, live.url).add("🏎 " + "x" * 20, "0", "module 0.5", "tall")
    expect(page.get_by_text("This must be at least 0.2.")).to_have_count(0)
    expect(page.get_by_text("Write a number here, such as 63.5.")).to_be_visible()
    expect(page.get_by_label("Tyre diameter")).to_have_value("tall")
    expect(page.get_by_label("Gear pitch")).to_have_value("m:0.5")
    page.get_by_label("Tyre diameter").fill("63")
    page.get_by_role("button", name="Save").tap()
    expect(page.get_by_text("This must be at least 0.2.")).to_be_visible()
    expect(page.get_by_label("Internal ratio")).to_have_value("0")


@pytest.mark.parametrize("theme", THEMES)
def test_every_screen_is_usable(live: Live, page: Page, watch: object, theme: str) -> None:
    watch.allow("status of 4")  # type: ignore[attr-defined]
    furnish(live)
    page.context.add_cookies([{"name": "pitapp_theme", "value": theme, "url": live.url}])
    for path in SCREENS:
        page.goto(live.url + path)
        Screen(page, live.url).check_usable()


def test_the_empty_app_is_usable(live: Live, page: Page) -> None:
    for screen in (Screen, Gearing, Kit, NewCar, GearBox):
        screen(page, live.url).open().check_usable()
