"""Which gear for this track: from a guess to a gear on record, and what the runs teach."""

from __future__ import annotations

import sqlite3

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.pages.drive import Figures, Forecast, Learned, Shopping, WhatIf
from e2e.server import Live
from pitapp.gearing import store as gearing
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from tests.drive_racer import add_car, add_track, log_runs
from tests.support import RACE_MORNING

SCREENS = {
    "light": (
        "/forecast",
        "/forecast?track=0",
        "/forecast/gear?pinion=44&spur=69",
        "/forecast/learned",
        "/forecast/what-if",
        "/forecast/what-if?mass_g=x&air_c=30",
        "/forecast/shopping?low=3&high=2&step=x",
        "/forecast/figures",
        "/forecast/figures/grip",
        "/forecast/figures/measure/coast-down",
    ),
    "dark": ("/forecast", "/forecast/what-if"),
    "glare": ("/forecast/gears", "/forecast/learned", "/forecast/shopping"),
}


def database(live: Live) -> sqlite3.Connection:
    connection: sqlite3.Connection = live.app.extensions["pitapp.db"].connection()
    return connection


@pytest.mark.alone
@pytest.mark.every_engine
def test_a_guess_of_the_track_leads_to_a_gear_on_record(live: Live, page: Page) -> None:
    connection = database(live)
    car = add_car(connection, RACE_MORNING)
    Screen(page, live.url).open()
    page.goto(live.url + "/gearing")
    page.get_by_role("link", name="Forecast").tap()
    screen = Forecast(page, live.url)
    screen.guess_track("45", "Tight")
    page.get_by_text("What it does not know").tap()
    expect(page.get_by_text("The track is a guess from its longest straight")).to_be_visible()
    # Nothing is known of the heat yet: a direction, but no gear to stake a motor on.
    expect(page.get_by_role("button", name="Fit this")).to_have_count(0)
    assert screen.value("lap-difference-s") < 0
    screen.others().first.get_by_role("link").tap()
    pair = page.locator("#gear-title b").inner_text()
    page.get_by_role("button", name="Fit this").tap()
    expect(page.get_by_text(f"Fitted {pair}")).to_be_visible()
    entry = gearing.fitted(database(live), car.id)
    assert entry is not None
    assert f"{entry.pinion_teeth} / {entry.spur_teeth}" == pair
    screen.open()
    expect(screen.others().filter(has_text=pair)).to_contain_text("fitted")


def test_the_runs_teach_and_are_shown_beside_their_forecasts(live: Live, page: Page) -> None:
    connection = database(live)
    car = add_car(connection, RACE_MORNING)
    track_id = add_track(connection, RACE_MORNING)
    screen = Forecast(page, live.url).open()
    expect(page.locator("#sureness")).to_contain_text("no run of this motor")
    guess = screen.value("flag-temperature-se-c")
    log_runs(connection, car, track_id, RACE_MORNING, 8)
    screen.open()
    assert screen.value("flag-temperature-se-c") < guess / 2
    # The first screen has the gear, what it changes, the button, how sure and the back-test.
    for part in (screen.best(), page.get_by_role("button", name="Fit this")):
        expect(part).to_be_in_viewport()
    page.get_by_role("link", name="How it did so far").tap()
    trials = Learned(page, live.url).trials()
    expect(trials).to_have_count(8)
    expect(trials.first).to_contain_text("was")
    page.get_by_label("Track").select_option("New track (rough guess)")
    page.wait_for_url("**/forecast/learned?track=0*")
    expect(page.get_by_role("button", name="Show")).to_have_count(0)


def test_a_measured_figure_changes_the_forecast_and_is_undone(live: Live, page: Page) -> None:
    connection = database(live)
    add_car(connection, RACE_MORNING)
    add_track(connection, RACE_MORNING)
    before = Forecast(page, live.url).open().value("top-speed-kmh")
    Figures(page, live.url).open()
    page.get_by_role("link", name="Grip").tap()
    page.get_by_role("link", name="Timed start").tap()
    screen = Screen(page, live.url)
    page.get_by_label("Distance").fill("4")
    page.get_by_label("Time").fill("1,1")
    screen.press("Work it out and keep it")
    expect(page.get_by_text("measured here")).to_be_visible()
    weak = Forecast(page, live.url).open().value("top-speed-kmh")
    assert weak < before
    Figures(page, live.url).open()
    WhatIf(page, live.url).open(mass_g="1500", air_c="30")
    expect(WhatIf(page, live.url).effects()).to_have_count(3)
    Shopping(page, live.url).open(low="2.6", high="2.9", step="0.8")
    expect(page.locator("#to-buy")).to_contain_text("64 DP")


@pytest.mark.parametrize("theme", SCREENS)
def test_every_forecast_screen_is_usable(live: Live, page: Page, watch: object, theme: str) -> None:
    watch.allow("status of 4")  # type: ignore[attr-defined]
    connection = database(live)
    car = add_car(connection, RACE_MORNING)
    for name in ("Spec", "Open"):
        meetings.save_class(connection, RaceClass(name=name, rev_limit_rpm=14600), RACE_MORNING)
    log_runs(connection, car, add_track(connection, RACE_MORNING), RACE_MORNING, 5)
    page.context.add_cookies([{"name": "pitapp_theme", "value": theme, "url": live.url}])
    for path in SCREENS[theme]:
        page.goto(live.url + path)
        Screen(page, live.url).check_usable()


def test_the_empty_forecast_is_usable(live: Live, page: Page) -> None:
    for screen in (Forecast, Figures):
        screen(page, live.url).open().check_usable()
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
