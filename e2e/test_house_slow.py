"""Answers that take their time: what is tapped or typed meanwhile counts, and the screen shows what is so."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from e2e.pages.base import Screen
from e2e.pages.board import Board
from e2e.pages.kit import GearBox
from e2e.pages.runs import NewRun, Runs
from e2e.pages.tracks import NewTrack
from e2e.server import Live
from e2e.test_board import begin
from e2e.test_runs_log import pit, runs
from pitapp.kit import store as kit
from tests.support import RACE_MORNING

TAP_AFTER_12_S = """button => {
    button.click();
    const later = Date.now() + 12000;
    setTimeout(() => { Date.now = () => later; button.click(); }, 300);
}"""


def fill_box(live: Live) -> None:
    connection = live.app.extensions["pitapp.db"].connection()
    kit.add_gears(connection, "spur", "dp:64", [64, 66, 69, 72], RACE_MORNING)


def test_gears_taken_out_before_the_first_answer_are_all_shown_as_gone(
    live: Live, page: Page
) -> None:
    fill_box(live)
    box = GearBox(page, live.url).open()
    page.get_by_text("Delete gears").tap()
    box.slow_down()
    for teeth in (66, 69):
        page.get_by_role("button", name=f"Delete the {teeth}-tooth spur").tap()
    expect(page.get_by_text("Removed the 69-tooth spur")).to_be_visible()
    expect(page.get_by_text("64, 72", exact=True)).to_be_visible()


def test_a_gear_tapped_out_twice_leaves_its_undo(live: Live, page: Page) -> None:
    fill_box(live)
    box = GearBox(page, live.url).open()
    page.get_by_text("Delete gears").tap()
    box.slow_down()
    Screen.tap_twice(page.get_by_role("button", name="Delete the 66-tooth spur"))
    expect(page.get_by_text("64, 69, 72", exact=True)).to_be_visible()
    page.wait_for_timeout(1500)
    box.press("Undo")
    expect(page.get_by_text("64, 66, 69, 72", exact=True)).to_be_visible()


def test_later_and_at_once_earlier_again_shows_the_first_time(live: Live, page: Page) -> None:
    page.clock.set_fixed_time(live.clock())
    begin(live)
    board = Board(page, live.url).open()
    at = page.locator(".countdown-label")
    expect(at).to_have_text("Heat 1 at 09:30")
    board.slow_down()
    board.later("Heat 1")
    page.get_by_role("button", name="Heat 1 and all after it: 5 min earlier").tap()
    expect(page.get_by_text("5 min earlier", exact=False).last).to_be_visible()
    page.wait_for_timeout(2500)
    expect(at).to_have_text("Heat 1 at 09:30")


def test_a_heat_that_starts_leaves_what_is_being_typed(live: Live, page: Page) -> None:
    begin(live)
    page.clock.set_fixed_time(live.clock())
    Board(page, live.url).open()
    page.locator(".board-next").tap()
    page.get_by_text("Edit", exact=True).tap()
    number = page.get_by_label("Number")
    number.fill("7")
    live.clock.tick(1801)
    page.clock.set_fixed_time(live.clock())
    expect(
        page.get_by_role("link", name="Log the run").and_(page.locator(".main-action"))
    ).to_be_visible()
    expect(number).to_be_visible()
    expect(number).to_have_value("7")


def test_a_save_tapped_twice_is_one_run_and_says_so(live: Live, page: Page) -> None:
    pit(live)
    live.slow_down()
    new = NewRun(page, live.url).open()
    new.temperature(71)
    Screen.tap_twice(page.get_by_role("button", name="Save").first)
    expect(page.get_by_text("Logged the run")).to_be_visible()
    expect(Runs(page, live.url).lines()).to_have_count(1)
    assert len(runs(live)) == 1


def test_what_is_typed_while_gears_are_added_stays(live: Live, page: Page) -> None:
    fill_box(live)
    box = GearBox(page, live.url).open()
    box.slow_down()
    box.add("Spurs", "75")
    page.get_by_label("Spurs").fill("78")
    expect(page.get_by_text("64, 66, 69, 72, 75", exact=True)).to_be_visible()
    expect(page.get_by_label("Spurs")).to_have_value("78")


def test_what_is_typed_while_a_straight_is_added_stays(live: Live, page: Page) -> None:
    form = NewTrack(page, live.url).open()
    form.measure(1, "52")
    form.slow_down()
    form.press("Another straight")
    form.straight(1).get_by_label("In, km/h").fill("44")
    added = int(page.locator(".straight").count())
    expect(page.locator(".straight")).to_have_count(added + 1)
    expect(form.straight(1).get_by_label("Length")).to_have_value("52")
    expect(form.straight(1).get_by_label("In, km/h")).to_have_value("44")


def test_a_copy_made_and_brought_back_by_two_taps_is_so_once(live: Live, page: Page) -> None:
    fill_box(live)
    live.slow_down()
    page.goto(f"{live.url}/copies")
    Screen.tap_twice(page.get_by_role("button", name="Make a copy now"))
    expect(page.get_by_text("Copied to")).to_be_visible()
    (made,) = (live.data_dir / "copies").iterdir()
    page.goto(f"{live.url}/copies/{made.name}/look")
    Screen.tap_twice(page.get_by_role("button", name="Bring this back"))
    expect(page.get_by_text("Brought back. What was here before is kept as")).to_be_visible()
    Screen(page, live.url).check_usable()
    assert len(list((live.data_dir / "copies").glob("*before-restore*"))) == 1


def test_a_save_tapped_again_after_a_long_wait_is_one_run(live: Live, page: Page) -> None:
    pit(live)
    live.slow_down(2)
    new = NewRun(page, live.url).open()
    new.temperature(71)
    page.get_by_role("button", name="Save").first.evaluate(TAP_AFTER_12_S)
    expect(page.get_by_text("Logged the run")).to_be_visible()
    assert len(runs(live)) == 1
