"""The log on a phone: saved in three taps, set-up in two, two devices, and on paper."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from e2e.pages.base import Screen
from e2e.pages.runs import NewRun, OneRun, Runs, SetUp, Tyres
from e2e.server import Live
from e2e.watch import Watch
from pitapp.runs import store
from pitapp.runs.models import Run
from tests.runs_support import Pit, form_values, furnish
from tests.support import RACE_MORNING, PageClient

THEMES = ("light", "dark", "glare")


def pit(live: Live) -> Pit:
    return furnish(live.app.extensions["pitapp.db"].connection())


def runs(live: Live) -> list[Run]:
    return store.runs(live.app.extensions["pitapp.db"].connection())


def log(live: Live, **typed: str) -> None:
    """Log a run without a browser."""
    live.app.test_client_class = PageClient
    client = live.app.test_client()
    values = {"pack_id": ""} | form_values(client.get("/runs/new").text)
    assert client.post_form("/runs/new", values | typed).status_code == 303  # type: ignore[attr-defined]


def count_taps(page: Page) -> list[str]:
    """Count what a thumb does from now on: every tap on the page."""
    taps: list[str] = []
    page.expose_function("noteTap", lambda tapped: taps.append(tapped))
    page.add_init_script(
        "addEventListener('click', (e) => { if (e.isTrusted) noteTap(e.target.outerHTML); }, true)"
    )
    return taps


@pytest.mark.alone
@pytest.mark.every_engine
def test_a_temperature_is_logged_in_three_taps_from_the_board(live: Live, page: Page) -> None:
    pit(live)
    page.clock.install(time=RACE_MORNING)
    taps = count_taps(page)
    Screen(page, live.url).open().press("Log the run of Heat 1")
    field = page.get_by_label("Can temperature")
    field.tap()
    page.keyboard.type("71")
    NewRun(page, live.url).save()
    assert len(taps) <= 3, taps
    (run,) = runs(live)
    assert (run.can_c, run.pinion_teeth, run.spur_teeth, run.tyre_diameter_mm) == (71, 45, 66, 63)
    assert (run.pack_id, run.snapshot.pack and run.snapshot.pack.mark) == (1, "A")
    expect(Runs(page, live.url).lines()).to_have_count(1)


def test_the_pack_is_asked_where_nothing_says_which_it_was(live: Live, page: Page) -> None:
    pit(live)
    log(live)
    live.clock.tick(45 * 60)
    new = NewRun(page, live.url).open()
    new.check_usable()
    new.temperature(71)
    page.get_by_role("button", name="Save").first.tap()
    expect(page).to_have_url(live.url + "/runs/new")
    assert len(runs(live)) == 1
    new.pack("not noted")
    new.pack("B")
    new.save()
    assert runs(live)[0].pack_id == 2


@pytest.mark.every_engine
def test_the_whole_of_a_run_and_what_changed(live: Live, page: Page) -> None:
    pit(live)
    log(live, can_c="65", read_after_s="30", best_lap_s="15.02")
    live.clock.tick(45 * 60)
    new = NewRun(page, live.url).open()
    new.temperature("71,5")
    new.read_after("30 s")
    for label, value in (
        ("Best lap", "14.91"),
        ("Air", "19"),
        ("Laps", "20"),
        ("Time", "5.03.2"),
        ("Position", "2"),
        ("Pinion", "46"),
        ("Remarks", "Push at the sweeper"),
    ):
        page.get_by_label(label).fill(value)
    new.pack("B")
    new.save()
    newest = runs(live)[0]
    assert (newest.read_after_s, newest.run_s, newest.laps) == (30, 303.2, 20)
    Runs(page, live.url).expect_changes("pinion 45 → 46", "can +7 °C", "best lap −0.11 s")
    Runs(page, live.url).lines().first.tap()
    one = OneRun(new, newest.id)
    one.expect_figure("best-lap-s", "14.91")
    # 66 / 46 × 1.9, by hand.
    one.expect_figure("final-drive", "2.73")
    assert one.value("can-c") == 71.5
    expect(page.get_by_text("The best lap here")).to_be_visible()
    page.get_by_role("link", name="Change").tap()
    page.get_by_label("other", exact=True).tap()
    page.get_by_label("Read after the flag, in seconds").fill("45")
    page.get_by_role("button", name="Save").first.tap()
    expect(page.get_by_text("Can, read after 45 s")).to_be_visible()
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_text("Can, read after 30 s")).to_be_visible()
    page.get_by_role("button", name="Remove this run").tap()
    expect(Runs(page, live.url).lines()).to_have_count(1)
    page.get_by_role("button", name="Undo").tap()
    expect(Runs(page, live.url).lines()).to_have_count(2)


def test_an_entry_of_the_set_up_is_changed_in_two_taps(live: Live, page: Page) -> None:
    pit(live)
    setup = SetUp(page, live.url).open()
    taps = count_taps(page)
    setup.open()
    setup.entry("Springs", "Front").tap()
    page.get_by_role("button", name="Less: 2.5").tap()
    expect(page.get_by_text("Springs 2.6 → 2.5 N/mm")).to_be_visible()
    assert len(taps) == 2, taps
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_text("2.6 N/mm")).to_be_visible()
    page.get_by_role("button", name="More: 2.7").tap()
    expect(page.locator(".entry-value")).to_have_text("2.7 N/mm")
    page.get_by_role("button", name="More: 2.8").tap()
    expect(page.locator(".entry-value")).to_have_text("2.8 N/mm")
    setup.open()
    setup.entry("Springs", "Front").tap()
    page.get_by_role("button", name="2.6", exact=True).tap()
    expect(setup.entry("Springs", "Front")).to_contain_text("2.6 N/mm")


def test_a_set_up_is_typed_once_and_tyres_are_put_on(live: Live, page: Page) -> None:
    pit(live)
    setup = SetUp(page, live.url).open()
    setup.press("Add entries")
    page.get_by_label("Entries, one a line").fill("Front:\nCamber -1.5 °\nToe = out 1")
    setup.press("Add these")
    expect(setup.entry("Camber", "Front")).to_contain_text("−1.5°")
    tyres = Tyres(page, live.url).open()
    tyres.press("Put on Set 2")
    expect(page.get_by_role("listitem").filter(has_text="Set 2")).to_contain_text("on the car")
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_role("button", name="Put on Set 2")).to_be_visible()


def test_two_phones_edit_one_run(
    live: Live, page: Page, new_context: Callable[..., BrowserContext], watch: Watch
) -> None:
    watch.allow("status of 409")
    pit(live)
    log(live, can_c="71")
    run_id = runs(live)[0].id
    other = new_context().new_page()
    for phone in (page, other):
        phone.goto(f"{live.url}/runs/{run_id}/edit")
    page.get_by_label("Can temperature").fill("69")
    page.get_by_label("Best lap").fill("14.87")
    page.get_by_role("button", name="Save").first.tap()
    expect(page.get_by_text("Changed the run")).to_be_visible()
    other.get_by_label("Can temperature").fill("74")
    other.get_by_label("Remarks").fill("Kerb in lap 12")
    other.get_by_role("button", name="Save").first.tap()
    expect(other.get_by_text("On the other screen this became 69.")).to_be_visible()
    expect(other.get_by_text("From the other screen: best lap is now 14.87.")).to_be_visible()
    expect(other.get_by_label("Remarks")).to_have_value("Kerb in lap 12")
    Screen(other, live.url).check_usable()
    other.get_by_role("button", name="Save").first.tap()
    expect(other.get_by_text("Changed the run")).to_be_visible()
    (run,) = runs(live)
    assert (run.can_c, run.best_lap_s, run.remarks) == (74, 14.87, "Kerb in lap 12")


def test_the_log_and_a_run_print_as_tables_on_white(live: Live, page: Page) -> None:
    pit(live)
    log(live, can_c="65", best_lap_s="15.02", laps="20", remarks="Kerb")
    page.context.add_cookies([{"name": "pitapp_theme", "value": "dark", "url": live.url}])
    screen = Runs(page, live.url).open()
    page.emulate_media(media="print")
    row = screen.lines().first
    for text in ("45 / 66", "2.79", "15.02", "20", "65 °C", "Set 1", "Kerb"):
        expect(row.locator("span", has_text=text).first).to_be_visible()
    expect(page.get_by_text("Best lap", exact=True)).to_be_visible()
    expect(page.get_by_role("link", name="Log a run")).to_be_hidden()
    cells = row.locator("span").evaluate_all("all => all.map(e => getComputedStyle(e).display)")
    assert set(cells) == {"table-cell"}
    colour = "() => getComputedStyle(document.querySelector('.log-row')).color"
    assert page.evaluate(colour) == "rgb(0, 0, 0)"
    OneRun(screen, runs(live)[0].id).show()
    expect(page.get_by_text("Set-up then")).to_be_visible()
    expect(page.get_by_role("button", name="Remove this run")).to_be_hidden()


@pytest.mark.parametrize("theme", THEMES)
def test_every_screen_is_usable(live: Live, page: Page, watch: Watch, theme: str) -> None:
    """All screens in the light look; in the others those with colours or marks of their own."""
    watch.allow("status of 404")
    pit(live)
    log(live, can_c="65", best_lap_s="15.02")
    live.clock.tick(45 * 60)
    log(live, can_c="71", best_lap_s="14.91", pinion_teeth="46", remarks="Kerb")
    page.context.add_cookies([{"name": "pitapp_theme", "value": theme, "url": live.url}])
    run = f"/{runs(live)[0].id}"
    paths = ["", "/new", run, "/setup/1", "/tyres"]
    if theme == "light":
        paths += [f"{run}/edit", f"{run}/setup", "/setup", "/setup/1/edit", "/setup/new"]
        paths += ["?track=1", "/tyres/1", "/99"]
    for path in paths:
        page.goto(f"{live.url}/runs{path}")
        Screen(page, live.url).check_usable()


def test_empty_and_wrong_screens_are_usable(live: Live, page: Page, watch: Watch) -> None:
    watch.allow("status of 422")
    for path in ("", "/new", "/setup", "/tyres"):
        page.goto(f"{live.url}/runs{path}")
        Screen(page, live.url).check_usable()
    pit(live)
    new = NewRun(page, live.url).open()
    new.temperature("hot")
    page.get_by_label("other", exact=True).tap()
    page.get_by_label("Read after the flag, in seconds").fill("later")
    page.get_by_role("button", name="Save").first.tap()
    expect(page.get_by_text("Write a number here, such as")).to_have_count(2)
    new.check_usable()
    expect(page.get_by_label("Can temperature")).to_have_value("hot")
    expect(page.get_by_label("Read after the flag, in seconds")).to_have_value("later")
