"""What waits on a phone goes to the database that it was made for, whatever answers at the server's address."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.offline import (
    Outbox,
    Phone,
    bars,
    change_entries,
    fit_a_gear,
    tap_fit,
    visit_once,
    wait_until_kept,
)
from e2e.server import ServerProcess, Stranger, rows
from e2e.watch import Watch
from pitapp import create_app
from pitapp.copies import store as copies
from pitapp.db.connect import connect
from pitapp.kit import store as kit
from pitapp.kit.models import Car

FITS = "SELECT id, pinion_teeth, spur_teeth FROM gear_fits ORDER BY id"
CARS = "SELECT name FROM cars ORDER BY id"
INVENTED = (
    "-c",
    "import pitapp; make = pitapp.create_app; "
    "pitapp.create_app = lambda folder: make(folder, invented=True); "
    "from pitapp.cli import main; main()",
    "serve",
)
Start = Callable[..., ServerProcess]


@pytest.fixture
def another_dir(tmp_path: Path) -> Path:
    """Another racer's data folder, with a car of his own."""
    folder = tmp_path / "another"
    app = create_app(folder)
    car = Car(name="The other car", internal_ratio=2.1, pitch="dp:64", tyre_diameter_mm=62)
    kit.save_car(app.extensions["pitapp.db"].connection(), car, datetime.now(UTC))
    app.extensions["pitapp.db"].close()
    return folder


@pytest.fixture
def another(server: ServerProcess, another_dir: Path) -> Iterator[Start]:
    """Serve another folder at the same address, in the place of what is there."""
    started: list[ServerProcess] = []

    def start(folder: Path = another_dir, command: tuple[str, ...] = ()) -> ServerProcess:
        server.kill()
        port = server.port
        process = (
            ServerProcess(folder, command, port) if command else ServerProcess(folder, port=port)
        )
        started.append(process)
        started[-1].start()
        return started[-1]

    yield start
    for each in started:
        each.kill()


def test_entries_wait_for_their_own_database_and_say_so(
    server: ServerProcess, another: Start, phone: Phone
) -> None:
    before = len(rows(server, FITS))
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    fit_a_gear(page, server.url)

    other = another()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Not sent: 1 entry", timeout=20_000)
    outbox = Outbox(page, server.url).open()
    expect(outbox.entries()).to_contain_text("is not the one this was made for")
    outbox.check_usable()
    assert rows(other, FITS) == []
    page.goto(f"{server.url}/gearing")
    expect(bars(page)).to_contain_text("Not sent: 1 entry")
    expect(bars(page)).not_to_contain_text("pinion 44")

    other.kill()
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
    assert [fit[1:] for fit in rows(server, FITS)[before:]] == [(44, 66)]
    assert rows(other, FITS) == []
    outbox.open().expect_waiting(0)


def test_an_entry_is_saved_as_a_file_and_sent_to_the_other_on_purpose(
    server: ServerProcess, another: Start, phone: Phone
) -> None:
    before = rows(server, FITS)
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    fit_a_gear(page, server.url)
    other = another()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Not sent: 1 entry", timeout=20_000)
    outbox = Outbox(page, server.url).open()
    with page.expect_download() as saved:
        outbox.press("Save as a file")
    held = json.loads(saved.value.path().read_text())
    assert held["address"] == "/gearing/fit"
    assert dict(held["fields"])["pinion"] == "44"
    outbox.expect_waiting(1)
    outbox.press("Send it here")
    outbox.expect_waiting(0)
    assert [fit[1:] for fit in rows(other, FITS)] == [(44, 66)]
    assert rows(server, FITS) == before


def test_a_copy_brought_back_elsewhere_is_known_as_one(
    server: ServerProcess, another: Start, another_dir: Path, phone: Phone, tmp_path: Path
) -> None:
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    fit_a_gear(page, server.url)
    with closing(connect(server.data_dir / "pitapp.sqlite3")) as connection:
        copies.write_copy(connection, tmp_path / "copy.sqlite3")
    with closing(connect(another_dir / "pitapp.sqlite3")) as connection:
        copies.restore(connection, tmp_path / "copy.sqlite3", another_dir, datetime.now(UTC))
    other = another()
    before = rows(other, FITS)
    assert before == rows(server, FITS)
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Not sent: 1 entry", timeout=20_000)
    expect(Outbox(page, server.url).open().entries()).to_contain_text("holds a copy of the one")
    assert rows(other, FITS) == before


def open_car_form(page: Page, url: str) -> None:
    page.goto(f"{url}/kit/cars/new")
    page.get_by_label("Name").fill("Mine")
    page.get_by_label("Internal ratio").fill("1.9")
    page.get_by_label("Tyre diameter").fill("63")


def test_a_page_that_is_still_open_writes_to_no_other_database(
    server: ServerProcess, another: Start, phone: Phone, watch: Watch
) -> None:
    watch.allow("status of 412")
    page = phone.open()
    visit_once(page, server.url)
    open_car_form(page, server.url)
    gearing = page.context.new_page()
    gearing.goto(f"{server.url}/gearing")
    other = another()

    page.get_by_role("button", name="Save").first.tap()
    expect(page.locator("#notices")).to_contain_text("another database answers")
    expect(page.get_by_label("Name")).to_have_value("Mine")
    assert rows(other, CARS) == [("The other car",)]

    gearing.locator("#pinion").fill("44")
    gearing.locator("#spur").fill("66")
    gearing.locator("#fit").tap()
    expect(bars(gearing)).to_contain_text("Not sent: 1 entry", timeout=20_000)
    assert rows(other, FITS) == []

    other.kill()
    server.start()
    page.get_by_role("button", name="Save").first.tap()
    expect(page).not_to_have_url(f"{server.url}/kit/cars/new")
    assert rows(server, CARS)[-1] == ("Mine",)


def test_kept_pages_of_two_databases_do_not_mix(
    server: ServerProcess, another: Start, phone: Phone
) -> None:
    before = rows(server, FITS)
    page = phone.open()
    visit_once(page, server.url)
    other = another()
    page.goto(server.url)
    wait_until_kept(page)
    other.kill()
    page.goto(f"{server.url}/kit")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Not kept on this phone")
    fit_a_gear(page, server.url)
    expect(page.get_by_text("The other car").first).to_be_visible()

    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Not sent: 1 entry", timeout=20_000)
    server.kill()
    page.goto(f"{server.url}/gearing")
    expect(bars(page)).to_contain_text("Kept copy")
    expect(page.get_by_text("The other car")).to_have_count(0)
    expect(bars(page)).not_to_contain_text("pinion 44")
    assert rows(server, FITS) == before

    other.start()
    expect(bars(page)).to_contain_text("Another database answers", timeout=20_000)
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
    assert [fit[1:] for fit in rows(other, FITS)] == [(44, 66)]


def test_an_entry_from_before_goes_to_the_first_database_that_is_not_a_demo(
    server: ServerProcess, another: Start, another_dir: Path, phone: Phone
) -> None:
    before = len(rows(server, FITS))
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    fit_a_gear(page, server.url)
    change_entries(page, {"database": None})
    demo = another(another_dir, INVENTED)
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Not sent: 1 entry", timeout=20_000)
    expect(Outbox(page, server.url).open().entries()).to_contain_text("before this phone noted")
    assert rows(demo, FITS) == []
    demo.kill()
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
    assert [fit[1:] for fit in rows(server, FITS)[before:]] == [(44, 66)]


@pytest.mark.parametrize("status", [200, 302, 303, 404])
def test_another_program_at_the_address_confirms_nothing(
    server: ServerProcess, phone: Phone, watch: Watch, status: int
) -> None:
    """A portal that answers everything itself, one that leads on, an app that knows no such page."""
    watch.allow("status of 404", "unsupported MIME type", "bad HTTP response code", "redirect")
    before = len(rows(server, FITS))
    page = phone.open()
    visit_once(page, server.url)
    car = page.context.new_page()
    open_car_form(car, server.url)
    page.goto(f"{server.url}/gearing")
    server.kill()
    stranger = Stranger(
        server.port, status, f"{server.url}/welcome" if status in (302, 303) else ""
    )
    try:
        tap_fit(page)
        expect(bars(page)).to_contain_text("another program answers")
        fit_a_gear(page, server.url, pinion="43")
        expect(bars(page)).to_contain_text("pinion 44")
        car.get_by_role("button", name="Save").first.tap()
        expect(car.locator("#notices")).to_contain_text("Not saved: another program answers")
        expect(car.get_by_label("Name")).to_have_value("Mine")
        for path, title in (("/", "Board"), ("/runs/new", "Log a run"), ("/checks", "Checks")):
            page.goto(server.url + path)
            expect(page.get_by_role("heading", level=1)).to_contain_text(title)
            expect(bars(page)).to_contain_text("another program answers")
        page.goto(f"{server.url}/outbox")
        expect(page.locator(".waiting-entry").first).to_contain_text("another program answers")
        expect(page.locator(".waiting-entry")).to_have_count(2)
        assert any(each.startswith("POST") for each in stranger.sent)
    finally:
        stranger.stop()
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 2 entries", timeout=20_000)
    assert [fit[1:] for fit in rows(server, FITS)[before:]] == [(44, 66), (43, 66)]
    car.get_by_role("button", name="Save").first.tap()
    expect(car).not_to_have_url(f"{server.url}/kit/cars/new")
    assert rows(server, CARS)[-1] == ("Mine",)
