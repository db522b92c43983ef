"""Two cars and two devices: what was entered for one car is never written to the other."""

from __future__ import annotations

import sqlite3
from contextlib import closing

from playwright.sync_api import Page, expect

from e2e.pages.offline import Outbox, Phone, bars, visit_once
from e2e.server import ServerProcess, rows
from e2e.watch import Watch

FITS = "SELECT id, car_id, pinion_teeth, spur_teeth FROM gear_fits ORDER BY id"
TESTS = "SELECT id, car_id, angle_deg FROM tilt_tests ORDER BY id"
RUNS = "SELECT id, car_id, can_c FROM runs ORDER BY id"
WORN = "SELECT id, car_id, tyre_set_id FROM car_fitted ORDER BY id"


def change(server: ServerProcess, statement: str, *values: object) -> None:
    """What another device writes meanwhile."""
    with closing(sqlite3.connect(server.data_dir / "pitapp.sqlite3")) as database:
        database.execute(statement, values)
        database.commit()


def two_cars(server: ServerProcess) -> tuple[int, int]:
    """The car in use and the other one."""
    (first,), (second,) = rows(server, "SELECT id FROM cars WHERE removed_at IS NULL ORDER BY id")
    return first, second


def choose(server: ServerProcess, car_id: int) -> None:
    change(
        server,
        "INSERT INTO settings (name, value) VALUES ('current_car_id', ?1) "
        "ON CONFLICT (name) DO UPDATE SET value = ?1",
        str(car_id),
    )


def fit(page: Page, url: str, pinion: str, spur: str) -> None:
    page.goto(f"{url}/gearing")
    page.locator("#pinion").fill(pinion)
    page.locator("#spur").fill(spur)
    page.locator("#fit").tap()


def test_what_waits_goes_to_the_car_it_was_made_for(server: ServerProcess, phone: Phone) -> None:
    mine, other = two_cars(server)
    before = {query: len(rows(server, query)) for query in (FITS, TESTS, RUNS)}
    page = phone.open()
    visit_once(page, server.url)
    page.goto(f"{server.url}/roll/test")
    server.kill()
    fit(page, server.url, "44", "66")
    expect(bars(page)).to_contain_text("Invented TC, pinion 44", timeout=15_000)
    page.goto(f"{server.url}/roll/test")
    page.locator("#angle_deg").fill("7.5")
    page.get_by_role("button", name="Save").tap()
    expect(bars(page)).to_contain_text("Angle 7.5", timeout=15_000)
    page.goto(f"{server.url}/runs/new")
    page.locator("#can_c").fill("61")
    page.get_by_role("button", name="Save").first.tap()
    expect(bars(page)).to_contain_text("Can temperature 61", timeout=15_000)

    choose(server, other)
    server.start()
    expect(bars(page)).to_contain_text("Sent: 3 entries", timeout=20_000)
    new = {query: [row[1:] for row in rows(server, query)[had:]] for query, had in before.items()}
    assert new == {FITS: [(mine, 44, 66)], TESTS: [(mine, 7.5)], RUNS: [(mine, 61.0)]}


def test_a_page_still_open_saves_to_its_own_car_and_says_so(
    server: ServerProcess, page: Page
) -> None:
    mine, other = two_cars(server)
    before = {query: len(rows(server, query)) for query in (FITS, WORN)}
    page.goto(f"{server.url}/gearing")
    page.locator("#pinion").fill("44")
    page.locator("#spur").fill("66")
    choose(server, other)
    page.locator("#fit").tap()
    said = page.locator("#notices")
    expect(said).to_contain_text("Fitted 44 / 66")
    expect(said).to_contain_text("for Invented TC. In use now: Invented Compact")
    assert [row[1:] for row in rows(server, FITS)[before[FITS] :]] == [(mine, 44, 66)]

    page.goto(f"{server.url}/runs/tyres")
    choose(server, mine)
    page.get_by_role("button", name="Put on Set 1").tap()
    expect(said).to_contain_text("Set 1 on Invented Compact. In use now: Invented TC")
    assert [row[1:] for row in rows(server, WORN)[before[WORN] :]] == [(other, 1)]


def test_a_gear_for_a_car_that_was_removed_is_asked_about(
    server: ServerProcess, phone: Phone, watch: Watch
) -> None:
    watch.allow("status of 409")
    mine, other = two_cars(server)
    before = len(rows(server, FITS))
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    fit(page, server.url, "44", "66")
    expect(bars(page)).to_contain_text("pinion 44", timeout=15_000)
    change(server, "UPDATE cars SET removed_at = '2026-05-16T09:00:00Z' WHERE id = ?", mine)
    server.start()
    expect(bars(page)).to_contain_text("Refused: 1 entry", timeout=20_000)

    outbox = Outbox(page, server.url)
    outbox.open()
    expect(outbox.entries()).to_contain_text("Invented TC was removed")
    outbox.press("Mend")
    choice = page.get_by_label("For which car?")
    expect(choice).to_have_value("")
    outbox.check_usable()
    choice.select_option(label="Invented Compact")
    page.get_by_role("button", name="Send it again").tap()
    expect(page.locator("#notices")).to_contain_text("Fitted 44 / 66")
    assert [row[1:] for row in rows(server, FITS)[before:]] == [(other, 44, 66)]
    outbox.open()
    outbox.expect_waiting(0)


def test_a_late_run_for_a_car_that_was_removed_says_so_and_lets_another_be_chosen(
    server: ServerProcess, phone: Phone, watch: Watch
) -> None:
    watch.allow("status of 409")
    mine, other = two_cars(server)
    before = len(rows(server, RUNS))
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    page.goto(f"{server.url}/runs/new")
    page.locator("#can_c").fill("61")
    page.locator("#remarks").fill("Loose at the rear")
    page.get_by_role("button", name="Save").first.tap()
    expect(bars(page)).to_contain_text("Can temperature 61", timeout=15_000)
    change(server, "UPDATE cars SET removed_at = '2026-05-16T09:00:00Z' WHERE id = ?", mine)
    server.start()
    expect(bars(page)).to_contain_text("Refused: 1 entry", timeout=20_000)

    outbox = Outbox(page, server.url)
    outbox.open()
    expect(outbox.entries()).to_contain_text("Car: Invented TC was removed")
    expect(outbox.entries().get_by_role("button")).to_have_text(["Send again", "Drop"])
    outbox.press("Mend")
    expect(page.locator("#car_id-error")).to_contain_text("Invented TC was removed")
    expect(page.locator("#can_c")).to_have_value("61")
    expect(page.locator("#remarks")).to_have_value("Loose at the rear")
    outbox.check_usable()
    page.get_by_role("button", name="Save").first.tap()
    expect(page.locator("#car_id")).to_be_focused()
    page.locator("#car_id").select_option(label="Invented Compact")
    page.get_by_role("button", name="Save").first.tap()
    expect(page.get_by_text("Logged the run")).to_be_visible()
    assert [row[1:] for row in rows(server, RUNS)[before:]] == [(other, 61.0)]
