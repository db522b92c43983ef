"""The phone in the paddock: the server dies or hangs, the browser is closed, and nothing is lost."""

from __future__ import annotations

import random
import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest
from flask import request
from playwright.sync_api import Page, expect

from e2e import a11y
from e2e.forking import ForkedServer
from e2e.pages.offline import (
    Outbox,
    Phone,
    age_entries,
    bars,
    fit_a_gear,
    post,
    tap_fit,
    visit_once,
)
from e2e.server import Live, ServerProcess, rows
from e2e.watch import Watch

KILLS = 100
STEPS = 5
MUST_OPEN = (
    ("/", "Board"),
    ("/gearing", "Gearing"),
    ("/checks", "Checks"),
    ("/runs", "Runs"),
    ("/packs/emergency", "Pack in trouble"),
    ("/checks/card", "Scrutineering"),
    ("/more", "More"),
)
NEWER = (
    "-c",
    "import pitapp; pitapp.__version__ = '99.0'; from pitapp.cli import main; main()",
    "serve",
)

ASK_FOR_ICON = """() => new Promise((asked) => {
  const icon = new Image();
  icon.onload = icon.onerror = ({ type }) => asked(type);
  icon.src = document.querySelector("link[rel=apple-touch-icon]").href + "-of-no-version";
})"""

FITS = "SELECT id, pinion_teeth, spur_teeth FROM gear_fits ORDER BY id"
RUNS = "SELECT id, can_c, pinion_teeth, spur_teeth, pack_id FROM runs ORDER BY id"
IN_CAR = "SELECT pack_id FROM car_packs ORDER BY id DESC LIMIT 1"
ANSWERS = "SELECT id, step_id FROM check_answers ORDER BY id"


@pytest.mark.every_engine
@pytest.mark.parametrize("how", ["kill", "freeze"])
def test_a_morning_with_no_server(server: ServerProcess, phone: Phone, how: str) -> None:
    before = {query: rows(server, query) for query in (FITS, RUNS, ANSWERS)}
    page = phone.open()
    visit_once(page, server.url)
    getattr(server, how)()

    for path, title in MUST_OPEN:
        page.goto(server.url + path)
        expect(page.get_by_role("heading", level=1)).to_contain_text(title)
        expect(bars(page)).to_contain_text("Kept copy")
    fit_a_gear(page, server.url)
    log_a_run(page, server.url)
    ((put_in,),) = rows(server, IN_CAR)
    page.goto(f"{server.url}/runs/new")
    expect(page.locator("[name=pack_id]:checked")).to_have_count(0)  # it ran already
    walk_five_steps(page, server.url)
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Waiting on this phone: 7 entries")
    if how == "kill":
        a11y.check(page)
    phone.close()

    page = phone.open()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("7 entries")
    server.kill()
    server.start()
    expect(bars(page)).to_contain_text("Sent: 7 entries", timeout=20_000)
    new = {query: rows(server, query)[len(had) :] for query, had in before.items()}
    assert [fit[1:] for fit in new[FITS]] == [(44, 66)]
    assert [run[1:] for run in new[RUNS]] == [(61.0, 44, 66, put_in)]
    assert rows(server, IN_CAR) == [(None,)]
    steps = [step for _, step in new[ANSWERS]]
    assert len(steps) == STEPS
    assert steps == sorted(set(steps))
    Outbox(page, server.url).open().expect_waiting(0)


def test_a_page_that_came_past_the_worker_is_taken_over(
    server: ServerProcess, phone: Phone
) -> None:
    """As one that is on its way while the worker starts: what is saved on it waits like any other."""
    page = phone.open()
    visit_once(page, server.url)
    page.goto(f"{server.url}/gearing")
    devtools = page.context.new_cdp_session(page)
    with page.expect_navigation():
        devtools.send("Page.reload", {"ignoreCache": True})
    page.wait_for_function("() => navigator.serviceWorker.controller")
    server.kill()
    tap_fit(page)
    expect(bars(page)).to_contain_text("pinion 44", timeout=15_000)


def test_no_script_comes_twice_at_a_first_visit(live: Live, phone: Phone) -> None:
    """What the page has just loaded, the worker takes from the phone."""
    names: list[str] = []

    def note() -> None:
        names.extend(request.args.get("names", "").split(","))
        if request.endpoint == "static":
            names.append(request.path.removeprefix("/static/"))

    live.app.before_request(note)
    visit_once(phone.open(), live.url)
    scripts = Counter(name for name in names if name.endswith((".js", ".css")))
    assert len(scripts) > 20
    assert [name for name, times in scripts.items() if times > 1] == []


@pytest.mark.every_engine
def test_an_icon_that_is_not_kept_is_no_fault(server: ServerProcess, phone: Phone) -> None:
    """Browsers ask for the page's icons whenever they like; the test's watch hears of every fault."""
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    page.goto(f"{server.url}/gearing")
    assert page.evaluate(ASK_FOR_ICON) == "error"
    expect(bars(page)).to_contain_text("Kept copy")


def log_a_run(page: Page, url: str) -> None:
    page.goto(f"{url}/runs/new")
    page.locator("#can_c").fill("61")
    page.get_by_role("button", name="Save").first.tap()
    expect(bars(page)).to_contain_text("Can temperature 61", timeout=15_000)


def walk_five_steps(page: Page, url: str) -> None:
    page.goto(f"{url}/checks/lists/3/run")
    for number in range(1, STEPS + 1):
        expect(page.locator(".step-place span").first).to_have_text(f"{number} of 8")
        page.wait_for_timeout(400)  # a tap that falls through to the next step is not taken
        page.locator(".walk .main-action").first.tap()
    expect(page.locator(".step-place span").first).to_have_text(f"{STEPS + 1} of 8", timeout=15_000)


def test_a_hundred_kills_during_replay(data_dir: Path, phone: Phone, watch: Watch) -> None:
    """Each entry once and in order, whenever in its work the server is killed."""
    server = ForkedServer(data_dir)
    watch.servers.add(server.netloc)
    try:
        server.start()
        before = len(rows(server, FITS))
        page = phone.open()
        visit_once(page, server.url)
        page.goto(f"{server.url}/kit")
        chance = random.Random(20261125)
        pairs = [(pinion, spur) for spur in range(60, 100) for pinion in range(20, 50)]
        made: list[tuple[int, int]] = []
        arrived = [0]
        server.kill()
        for _ in range(KILLS):
            pair = pairs[len(made)]
            post(
                page, "/gearing/fit", {"pinion": str(pair[0]), "spur": str(pair[1]), "car_id": "1"}
            )
            made.append(pair)
            server.start()
            page.evaluate("() => { window.dispatchEvent(new Event('online')); }")
            page.wait_for_timeout(chance.uniform(0, 250))
            server.kill()
            arrived.append(len(rows(server, FITS)) - before)
        assert arrived[-1] > 0, "nothing was sent in any of these lives"
        assert any(had < number for number, had in enumerate(arrived)), "nothing had to wait"
        server.start()
        Outbox(page, server.url).open()
        expect(page.get_by_text("Nothing waits.")).to_be_visible(timeout=60_000)
        assert [fit[1:] for fit in rows(server, FITS)[before:]] == made
    finally:
        server.end()


@pytest.mark.every_engine
def test_an_old_entry_arrives_without_its_cookie_at_a_newer_server(
    server: ServerProcess, phone: Phone
) -> None:
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    fit_a_gear(page, server.url)
    age_entries(page, hours=30)
    phone.forget_cookies()

    newer = ServerProcess(server.data_dir, NEWER, server.port)
    newer.start()
    try:
        page.goto(server.url)
        expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
        (late,) = rows(
            server,
            "SELECT (julianday('now') - julianday(fitted_at)) * 24 FROM gear_fits "
            "WHERE pinion_teeth = 44 AND spur_teeth = 66 ORDER BY id DESC LIMIT 1",
        )
        assert late[0] == pytest.approx(30, abs=0.1)

        offer = page.get_by_role("button", name="Use it")
        expect(offer).to_be_visible(timeout=90_000)
        names = page.evaluate("() => caches.keys()")
        assert len({name.split("-")[1] for name in names}) == 2, "the new one waits, the old serves"
        with page.expect_navigation():
            offer.tap()
        page.wait_for_function(
            "() => navigator.serviceWorker.controller && !document.querySelector('#new-version')"
        )
        page.wait_for_timeout(500)
        names = page.evaluate("() => caches.keys()")
        assert len({name.split("-")[1] for name in names}) == 1
        newer.kill()
        page.goto(f"{server.url}/checks")
        expect(bars(page)).to_contain_text("Kept copy")
    finally:
        newer.kill()


@pytest.mark.every_engine
def test_what_is_refused_is_kept_and_mended(server: ServerProcess, phone: Phone) -> None:
    before = len(rows(server, RUNS))
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    page.goto(f"{server.url}/runs/new")
    page.locator("#can_c").fill("6l")
    page.get_by_role("button", name="Save").first.tap()
    expect(bars(page)).to_contain_text("Saved on this phone")
    server.start()
    expect(bars(page)).to_contain_text("Refused: 1 entry", timeout=20_000)

    outbox = Outbox(page, server.url)
    outbox.open()
    expect(outbox.entries()).to_contain_text("Can temperature: Write a number here")
    outbox.check_usable()
    outbox.press("Mend")
    expect(page.locator("#can_c")).to_have_value("6l")
    page.locator("#can_c").fill("6x")
    page.get_by_role("button", name="Save").first.tap()
    expect(page.locator("#can_c")).to_have_value("6x")
    page.locator("#can_c").fill("61")
    page.get_by_role("button", name="Save").first.tap()
    expect(page.get_by_text("Logged the run")).to_be_visible()
    assert [run[1] for run in rows(server, RUNS)[before:]] == [61.0]
    outbox.open()
    outbox.expect_waiting(0)


def test_two_versions_are_there_to_choose_from(server: ServerProcess, phone: Phone) -> None:
    page = phone.open()
    visit_once(page, server.url)
    (run_id,) = rows(server, "SELECT max(id) FROM runs")[0]
    page.goto(f"{server.url}/runs/{run_id}/edit")
    page.wait_for_timeout(300)
    server.kill()
    page.locator("#laps").fill("17")
    page.get_by_role("button", name="Save").first.tap()
    expect(bars(page)).to_contain_text("Laps 17")
    with closing(sqlite3.connect(server.data_dir / "pitapp.sqlite3")) as other:
        other.execute("UPDATE runs SET laps = 15, version = version + 1 WHERE id = ?", (run_id,))
        other.commit()
    server.start()
    expect(bars(page)).to_contain_text("Refused", timeout=20_000)
    outbox = Outbox(page, server.url)
    outbox.open()
    expect(outbox.entries()).to_contain_text("Laps: Yours: 17. On the other screen this became 15")
    outbox.press("Keep mine")
    outbox.expect_waiting(0)
    assert rows(server, f"SELECT laps FROM runs WHERE id = {run_id}") == [(17,)]
