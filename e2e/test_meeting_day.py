"""A whole meeting on a phone: timetable, five heats, the last one past midnight, and the log."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.board import Board
from e2e.pages.gearing import Gearing
from e2e.pages.meetings import HeatPage, NewClass, NewMeeting
from e2e.pages.runs import NewRun, Runs
from e2e.server import Live
from pitapp.db.connect import connect
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.runs import store as runs
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track

EVENING = datetime(2026, 5, 16, 19, 50, tzinfo=UTC)  # 20:50 in Lisbon
FIRST = datetime(2026, 5, 16, 20, 30, tzinfo=UTC)
CAN_C = (58.0, 61.5, 64.0, 66.0, 67.5)
BEST_LAP_S = (15.42, 15.31, 15.08, 15.11, 14.97)
# Every forty minutes from 21:30; after the second heat everything runs five minutes later.
ON_THE_WALL = ("21:30", "22:10", "22:55", "23:35", "00:15")
PINIONS = (45, 45, 46, 46, 46)
SPUR = 66


class Day:
    """The phone, the Board, and one clock for both phone and server."""

    def __init__(self, live: Live, page: Page) -> None:
        self.live, self.page = live, page
        self.board = Board(page, live.url)

    def at(self, moment: datetime) -> Board:
        """Look at the Board at that moment."""
        self.live.clock.set(moment)
        self.page.clock.set_fixed_time(moment)
        return self.board.open()


@pytest.fixture
def day(live: Live, page: Page) -> Day:
    """A car with last week's gear, a gear box and a track; nothing of this meeting."""
    db = connect(live.database)
    past = EVENING - timedelta(days=7)
    motor_id, _ = kit.save_motor(db, Motor(name="Invented motor", kv_rpm_per_v=2380), past)
    car = Car(
        name="Invented TC",
        internal_ratio=1.9,
        pitch="dp:64",
        tyre_diameter_mm=63,
        motor_id=motor_id,
    )
    car_id, _ = kit.save_car(db, car, past)
    kit.add_gears(db, "pinion", "dp:64", [45, 46], past)
    kit.add_gears(db, "spur", "dp:64", [SPUR], past)
    gearing.fit(db, kit.car(db, car_id), 45, SPUR, past)
    tracks.save_track(db, Track(name="Invented Dunes"), past)
    db.close()
    live.clock.set(EVENING)
    return Day(live, page)


def enter_the_day(day: Day) -> None:
    """The rules and the timetable, as typed before the first heat."""
    new_class = NewClass(day.page, day.live.url).open()
    new_class.add("Invented 21.5", rev_limit_rpm="14 600", run_length_s="5", heats_a_day="5")
    form = NewMeeting(day.page, day.live.url).open()
    day.page.get_by_label("Track", exact=True).select_option(label="Invented Dunes")
    day.page.get_by_text("Name, time zone, remarks").tap()
    form.fill("Time zone of the track", "Europe/Lisbon")
    form.enter("2026-05-16", "2130", 40, 5, marshal_after_min=8)


def log(day: Day, number: int, start: datetime) -> None:
    """One heat: go, race, walk back, log."""
    board = day.at(start - timedelta(minutes=4))
    expect(board.countdown()).to_have_text("4:00")
    expect(board.due()).to_have_text(f"Go: Heat {number}")
    day.at(start + timedelta(minutes=7)).press(f"Log the run of Heat {number}")
    run = NewRun(day.page, day.live.url)
    run.temperature(CAN_C[number - 1])
    run.read_after("1 min")
    day.page.get_by_label("Best lap").fill(str(BEST_LAP_S[number - 1]))
    run.save()


@pytest.mark.every_engine
def test_a_meeting_of_five_heats_from_the_timetable_to_the_last_log(day: Day) -> None:
    enter_the_day(day)
    board = day.at(EVENING)
    expect(board.countdown()).to_have_text("40:00")
    board.press("Fit the gear")
    day.page.get_by_role("button", name="Keep it for this meeting").tap()
    expect(day.page.get_by_text("Fitted 45 / 66").first).to_be_visible()
    expect(board.open().line("Gear")).to_contain_text("ready")
    board.check_usable()

    log(day, 1, FIRST)
    expect(board.open().countdown()).to_have_text("1:00")
    board.countdown().tap()
    HeatPage(day.page, day.live.url).press("Marshalling is done")
    expect(board.countdown()).to_have_text("33:00")

    log(day, 2, FIRST + timedelta(minutes=40))
    board.open().later("Marshal 2")
    expect(board.countdown()).to_have_text("6:00")

    late = FIRST + timedelta(minutes=5)
    day.at(late + timedelta(minutes=65))
    gears = Gearing(day.page, day.live.url).open()
    gears.tap_step("Pinion", "more")
    gears.expect_figure("final-drive", "2.73")  # 66 / 46 × 1.9
    day.page.get_by_role("button", name="Fit this").tap()
    expect(day.page.get_by_text("Fitted 46 / 66").first).to_be_visible()
    for number in (3, 4, 5):
        log(day, number, late + timedelta(minutes=40 * (number - 1)))

    expect(Runs(day.page, day.live.url).open().lines()).to_have_count(5)
    assert day.page.url.endswith("/runs")
    expect(board.open().due()).to_have_text("Packs to storage")
    expect(day.page.get_by_text("Sun 00:23")).to_be_visible()  # the last marshalling
    read_back_from_the_database(day.live)
    read_back_from_the_sheet(day)
    read_back_from_everything(day)


def read_back_from_the_database(live: Live) -> None:
    db = connect(live.database)
    logged = sorted(runs.runs(db), key=lambda run: run.started_at)
    zone = meetings.meeting(db, 1).zone
    heats = [meetings.heat(db, run.heat_id or 0) for run in logged]
    db.close()
    assert [heat.title for heat in heats] == [f"Heat {number}" for number in range(1, 6)]
    assert all(heat.done_at for heat in heats)
    walls = [f"{run.started_at.astimezone(zone):%H:%M}" for run in logged]
    assert tuple(walls) == ON_THE_WALL
    assert tuple(run.can_c for run in logged) == CAN_C
    assert {run.read_after_s for run in logged} == {60}
    assert tuple(run.best_lap_s for run in logged) == BEST_LAP_S
    assert tuple(run.pinion_teeth for run in logged) == PINIONS
    assert {run.spur_teeth for run in logged} == {SPUR}
    assert {run.snapshot.car.name for run in logged} == {"Invented TC"}
    assert {(run.meeting_id, run.track_id, run.race_class_id) for run in logged} == {(1, 1, 1)}


def read_back_from_the_sheet(day: Day) -> None:
    answer = day.page.request.get(f"{day.live.url}/exchange/sheets/runs.csv")
    assert answer.ok
    rows = list(csv.DictReader(io.StringIO(answer.body().decode("utf-8-sig"))))
    assert tuple(row["started"][11:16] for row in rows) == ON_THE_WALL
    assert rows[-1]["started"].startswith("2026-05-17 ")
    assert tuple(float(row["can °C"]) for row in rows) == CAN_C
    assert tuple(float(row["best lap s"]) for row in rows) == BEST_LAP_S
    assert tuple(int(row["pinion"]) for row in rows) == PINIONS
    assert {(row["car"], row["track"], row["class"]) for row in rows} == {
        ("Invented TC", "Invented Dunes", "Invented 21.5")
    }


def read_back_from_everything(day: Day) -> None:
    answer = day.page.request.get(f"{day.live.url}/exchange/everything.json")
    assert answer.ok
    tables = json.loads(answer.body())["tables"]
    rows = sorted(tables["runs"], key=lambda row: row["started_at"])
    first, last = rows[0], rows[-1]
    assert len(rows) == 5
    assert first["started_at"] == "2026-05-16T20:30:00Z"
    assert last["started_at"] == "2026-05-16T23:15:00Z"
    assert tuple(row["can_c"] for row in rows) == CAN_C
    assert tuple(row["pinion_teeth"] for row in rows) == PINIONS
    done = [heat["done_at"] for heat in tables["heats"] if heat["kind"] == "heat"]
    assert len(done) == 5
    assert all(done)
