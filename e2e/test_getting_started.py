"""From an empty database to the first logged run, with every touch and every field counted."""

from __future__ import annotations

from contextlib import closing
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.board import Board
from e2e.pages.runs import NewRun
from e2e.pages.start import Start
from e2e.server import Live
from e2e.thumb import Thumb
from e2e.watch import Watch
from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.db.connect import connect
from pitapp.drive import store as guesses
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.meetings import store as meetings
from pitapp.packs import store as packs
from pitapp.runs import store as runs
from pitapp.tracks import store as tracks
from tests.runs_support import furnish
from tests.support import RACE_MORNING

MOST_TAPS, MOST_FIELDS = 45, 18
MOST_LOG_TAPS, MOST_LOG_FIELDS = 5, 1
STEPS = ("Class", "New car", "Gear box", "New controller", "New pack", "New track", "Meeting")
AFTER_THE_FIRST = RACE_MORNING + timedelta(hours=1, minutes=37)


def set_clocks(live: Live, page: Page, moment: datetime) -> None:
    live.clock.set(moment)
    page.clock.set_fixed_time(moment)


def walk(start: Start) -> None:
    """The path as it lies before somebody who reads from the rules, the label and the flyer."""
    start.begin("Add your class")
    start.at("Class")
    start.type("Name", "Invented 21.5")
    start.type("Rev limit", "14,600")
    start.type("Minimum weight", "1320")
    start.type("Maximum start voltage", "8.44")
    start.save()

    start.at("New car")
    start.type("Name", "Invented TC")
    start.type("Internal ratio", "1.9")
    start.choose("Gear pitch", "64 DP")
    start.type("Tyre diameter", "63")
    start.save()

    start.at("Gear box")
    start.type("Pinions", "38-46")
    start.type("Spurs", "66, 68")
    start.press("Add to the box")

    start.at("New controller")
    start.type("Kv of the motor", "2380")
    start.tick("Advance and boost at zero")
    start.type("Drag brake", "8")
    start.type("Brake strength", "75")
    start.save()

    start.at("New pack")
    start.type("Capacity", "6000")
    start.save()

    start.at("New track")
    start.type("Name", "Invented Dunes")
    start.type("Longest straight", "38")
    start.tick("Flowing")
    start.save()

    start.at("Meeting")
    start.type("First at", "1030")
    start.type("Then every", "40")
    start.save()


@pytest.mark.alone
def test_from_nothing_to_the_first_logged_run(live: Live, page: Page) -> None:
    set_clocks(live, page, RACE_MORNING)
    thumb = Thumb(page)
    start = Start(thumb, live.url).open()
    walk(start)

    board = Board(page, live.url)
    board.press("Fit the gear")
    board.press("Fit this")
    expect(page.get_by_text("Fitted").first).to_be_visible()
    set_clocks(live, page, AFTER_THE_FIRST)
    board.press("Board")
    board.press("Log the run of Heat 1")
    thumb.type(page.get_by_label("Can temperature"), "58")
    NewRun(page, live.url).save()

    board.press("Gearing")
    page.get_by_role("link", name="Forecast").tap()
    expect(page.locator("#best-title")).to_be_visible()

    print(f"\nFrom nothing to the first run: {thumb.taps} taps, {thumb.fields} fields")
    check_what_is_stored(live)
    assert thumb.taps <= MOST_TAPS, "\n".join(thumb.touched)
    assert thumb.fields <= MOST_FIELDS, "\n".join(thumb.typed_in)


def check_what_is_stored(live: Live) -> None:
    """Everything that the racer meant, whether it was typed or filled in."""
    with closing(connect(live.database)) as db:
        (race_class,) = meetings.race_classes(db)
        assert race_class.name == "Invented 21.5"
        assert race_class.rev_limit_rpm == 14_600
        assert race_class.least_mass_g == 1320
        assert race_class.most_start_v == 8.44
        (car,) = kit.cars(db)
        assert (car.name, car.internal_ratio, car.pitch) == ("Invented TC", 1.9, "dp:64")
        assert (car.tyre_diameter_mm, car.rev_limit_rpm, car.mass_g) == (63, 14_600, 1320)
        assert car.pack_v == 7.4  # two cells of 3.7 V, from the class's 8.44 V
        assert kit.owned_teeth(db, "dp:64") == (list(range(38, 47)), [66, 68])
        assert kit.motor(db, car.motor_id or 0).kv_rpm_per_v == 2380
        controller = controllers.in_car(db, car.id)
        assert controller is not None
        own = lists.settings_list(db, controller.id)
        planned = {step.name: step.planned for step in lists.steps(db, own.id) if step.planned}
        assert planned == {
            "Rev limit": "14600",
            "Advance and boost at zero": "yes",
            "Drag brake": "8",
            "Brake strength": "75",
        }
        (pack,) = packs.packs(db)
        assert (pack.mark, pack.build, pack.capacity_mah) == ("A", "2S1P", 6000)
        assert pack.most_charge_c == 1
        (track,) = tracks.tracks(db)
        assert track.name == "Invented Dunes"
        assert guesses.feels(db)[track.id] == (38, "flowing")
        (meeting,) = meetings.meetings(db)
        assert meeting.day == RACE_MORNING.date()
        assert (meeting.track_id, meeting.race_class_id) == (track.id, race_class.id)
        assert meeting.car_id == car.id
        heats = meetings.heats(db, meeting.id)
        starts = [f"{heat.title} {heat.starts_at:%H:%M}" for heat in heats]
        assert starts == ["Heat 1 10:30", "Heat 2 11:10", "Heat 3 11:50", "Heat 4 12:30"]
        fit = gearing.fitted(db, car.id)
        assert fit is not None
        assert fit.pinion_teeth in range(38, 47)
        assert fit.spur_teeth in (66, 68)
        (run,) = runs.runs(db)
        assert (run.can_c, run.car_id, run.heat_id) == (58, car.id, heats[0].id)
        assert (run.meeting_id, run.track_id) == (meeting.id, track.id)
        assert run.race_class_id == race_class.id
        assert (run.pinion_teeth, run.spur_teeth) == (fit.pinion_teeth, fit.spur_teeth)


def test_a_run_is_logged_with_its_temperature_and_pack(live: Live, page: Page) -> None:
    furnish(live.app.extensions["pitapp.db"].connection())
    set_clocks(live, page, RACE_MORNING)
    thumb = Thumb(page)
    Board(page, live.url).open().press("Log the run of Heat 1")
    new = NewRun(page, live.url)
    thumb.type(page.get_by_label("Can temperature"), "71")
    new.pack("B")
    new.save()
    print(f"\nA run from the Board: {thumb.taps} taps, {thumb.fields} fields")
    with closing(connect(live.database)) as db:
        (run,) = runs.runs(db)
        marks = {pack.id: pack.mark for pack in packs.packs(db)}
    assert (run.can_c, marks[run.pack_id or 0]) == (71, "B")
    assert thumb.taps <= MOST_LOG_TAPS, "\n".join(thumb.touched)
    assert thumb.fields <= MOST_LOG_FIELDS, "\n".join(thumb.typed_in)


def test_every_step_is_usable_and_can_be_skipped(live: Live, page: Page) -> None:
    start = Start(Thumb(page), live.url).open()
    start.check_usable()
    start.begin("Add your class")
    for title in STEPS:
        start.at(title)
        start.check_usable()
        start.go_past()
    expect(page.get_by_role("heading", name="Getting started")).to_be_visible()


def test_a_refused_save_is_seen(live: Live, page: Page, watch: Watch) -> None:
    watch.allow("status of 422")
    start = Start(Thumb(page), live.url)
    page.goto(f"{live.url}/kit/cars/new")
    start.type("Name", "Invented TC")
    page.get_by_text("Gear limits of this chassis").tap()
    start.type("Minimum tooth sum", "ten")
    page.get_by_label("Tyre diameter").fill("63")
    page.get_by_label("Internal ratio").fill("1.9")
    start.save()
    fault = page.get_by_label("Minimum tooth sum")
    expect(fault).to_be_focused()
    expect(fault).to_be_in_viewport()
    expect(page.locator(".refused")).to_contain_text("Minimum tooth sum")
    start.check_usable()


def test_what_was_typed_is_there_after_adding_what_the_list_lacked(live: Live, page: Page) -> None:
    start = Start(Thumb(page), live.url)
    page.goto(f"{live.url}/meetings/new")
    start.type("First at", "1030")
    start.type("Then every", "40")
    start.press("New – add a track")
    start.type("Name", "Invented Dunes")
    start.save()
    expect(start.field("Track").locator("option:checked")).to_have_text("Invented Dunes")
    expect(page.get_by_label("First at")).to_have_value("1030")
    expect(page.get_by_label("Then every")).to_have_value("40")
    start.save()
    expect(page.locator("#notices")).to_contain_text("Saved")
    with closing(connect(live.database)) as db:
        (meeting,) = meetings.meetings(db)
        assert tracks.track(db, meeting.track_id or 0).name == "Invented Dunes"
        assert len(meetings.heats(db, meeting.id)) == 4
