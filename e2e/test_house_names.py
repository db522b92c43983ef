"""Names as long as they may be, without a space in them, push nothing off a small phone's screen."""

from __future__ import annotations

from playwright.sync_api import Page

from e2e.a11y import too_wide
from e2e.server import Live
from pitapp.checks.controllers import store as controllers
from pitapp.checks.models import Controller
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.packs import store as packs
from pitapp.packs.models import Pack
from pitapp.runs.formulas import SetupLine
from pitapp.runs.setup import store as setup
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track
from tests.drive_racer import add_car
from tests.support import RACE_MORNING

LONG = "Unbroken" * 5
SCREENS = (
    "/",
    "/bench",
    "/checks",
    "/checks/card",
    "/checks/controllers/1",
    "/forecast",
    "/gearing",
    "/kit",
    "/meetings/1",
    "/packs",
    "/packs/1",
    "/packs/plan/settings",
    "/packs/plan/chargers/new",
    "/runs/setup",
    "/tracks",
    "/tracks/1",
)


def test_long_names_stay_on_the_screen(live: Live, page: Page) -> None:
    connection = live.app.extensions["pitapp.db"].connection()
    car = add_car(connection, RACE_MORNING, name=LONG)
    connection.execute("UPDATE motors SET name = ?", (LONG,))
    controllers.add(
        connection,
        Controller(name=LONG, firmware=LONG),
        STARTING_LIST,
        car.id,
        RACE_MORNING,
    )
    race_class = RaceClass(name=LONG, winding=LONG, tyre=LONG)
    class_id, _ = meetings.save_class(connection, race_class, RACE_MORNING)
    track_id, _ = tracks.save_track(connection, Track(name=LONG, surface=LONG), RACE_MORNING)
    meeting = Meeting(
        day=RACE_MORNING.date(),
        name=LONG,
        time_zone="UTC",
        track_id=track_id,
        race_class_id=class_id,
        car_id=car.id,
    )
    meetings.save_meeting(connection, meeting, RACE_MORNING)
    pack = Pack(mark="Unbroken" * 2, cells_series=2, capacity_mah=6000)
    packs.save_pack(connection, pack, RACE_MORNING)
    setup.add(connection, car.id, [SetupLine(LONG, LONG, LONG, "")], RACE_MORNING)
    found = {}
    for screen in SCREENS:
        page.goto(live.url + screen)
        if wide := too_wide(page):
            found[screen] = wide
    assert found == {}
