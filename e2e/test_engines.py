"""What went wrong in one engine only: each fault in the engine where it was met.

What no engine of this machine has (an old Safari, an iPhone's keypad, its speaker that a call takes
away) is imitated in WebKit, by taking an interface away or putting one in its place: such tests are
named so.
"""

from __future__ import annotations

from typing import Any

import pytest
from flask import request
from playwright.sync_api import Page, expect

from e2e.pages.gearing import Table
from e2e.pages.offline import Phone, bars, visit_once
from e2e.pages.packs import Countdown
from e2e.pages.runs import NewRun
from e2e.pixels import colours, contrast
from e2e.server import Live, ServerProcess
from e2e.test_gearing import furnish
from e2e.test_offline import log_a_run
from e2e.test_packs import database, run_charge
from e2e.watch import Watch
from pitapp.kit import store as kit
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track
from tests.support import RACE_MORNING

LONG_NAME = "Invented Grand Hall of the North Shore Model Car Circle"
SCROLLS = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
PILED = """() => {
    const [corner, ...heads] = [...document.querySelectorAll("thead th")]
        .map((head) => head.getBoundingClientRect());
    const table = document.querySelector(".scroll-x").getBoundingClientRect();
    return [heads.filter((head) => Math.abs(head.left - corner.left) < 2).length,
        Math.round(corner.left - table.left)];
}"""
COUNT_ASKING = """if (location.protocol === "http:") {
    globalThis.asked = Number(sessionStorage.getItem("asked"));
    navigator.storage.persisted = async () => false;
    navigator.storage.persist = async () => {
        sessionStorage.setItem("asked", globalThis.asked += 1);
        return false;
    };
}"""
# A first worker that is in charge before the page hears that it is installed.
EARLY = """if (globalThis.ServiceWorkerContainer) {
    const container = ServiceWorkerContainer.prototype;
    const { get } = Object.getOwnPropertyDescriptor(container, "controller"), { register } = container;
    let first = null;
    Object.defineProperty(container, "controller", { get() { return get.call(this) ?? first; } });
    container.register = async function (...given) {
        const made = await register.apply(this, given);
        first = made.installing ?? made.waiting ?? made.active;
        return made;
    };
}"""
# A speaker that a call takes away: it says so, and comes back only when it is asked for.
SPEAKER = """
    globalThis.tones = 0;
    Object.defineProperty(navigator, "audioSession", { value: { type: "auto" } });
    globalThis.AudioContext = class extends EventTarget {
        state = "suspended"; currentTime = 0; destination = {};
        constructor() { super(); globalThis.speaker = this; }
        become(state) { this.state = state; this.onstatechange?.(); this.dispatchEvent(new Event("statechange")); }
        async resume() { this.become(globalThis.taken ? "interrupted" : "running"); }
        createOscillator() { return { frequency: {}, connect: (next) => next, start() { tones += 1; }, stop() {} }; }
        createGain() {
            return { gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} }, connect: (next) => next };
        }
    };
"""

webkit = pytest.mark.engines("webkit")
firefox = pytest.mark.engines("firefox")


def begin_worker_with(live: Live, script: str) -> None:
    """Let the worker begin with this, as in a browser that lacks something."""

    def put_before(answer: Any) -> Any:
        if request.path == "/sw.js":
            answer.set_data(script + answer.get_data(as_text=True))
        return answer

    live.app.after_request_funcs.setdefault(None, []).append(put_before)


@webkit
def test_an_imitated_old_safari_keeps_its_pages_and_says_so(live: Live, phone: Phone) -> None:
    begin_worker_with(live, "delete Response.json;\n")
    page = phone.open()
    visit_once(page, live.url)
    page.goto(f"{live.url}/settings")
    expect(page.locator("#offline-state")).to_contain_text("Works with no signal:", timeout=60_000)


@pytest.mark.every_engine
def test_a_browser_that_keeps_nothing_promises_nothing(live: Live, phone: Phone) -> None:
    begin_worker_with(
        live, "addEventListener('install', (e) => e.waitUntil(Promise.reject('no')));\n"
    )
    page = phone.open()
    page.goto(f"{live.url}/settings")
    expect(page.locator("#offline-state")).to_contain_text("could not be set up", timeout=60_000)


@pytest.mark.every_engine
@pytest.mark.parametrize("script", ["", EARLY], ids=["as it is", "imitated order"])
def test_nothing_is_offered_on_a_first_visit(live: Live, phone: Phone, script: str) -> None:
    page = phone.open()
    page.add_init_script(script)
    visit_once(page, live.url)
    page.wait_for_function("() => navigator.serviceWorker.controller")
    page.wait_for_timeout(1000)
    expect(page.get_by_text("A new version is ready")).to_have_count(0)
    page.reload()
    page.wait_for_timeout(1000)
    expect(page.get_by_text("A new version is ready")).to_have_count(0)


@pytest.mark.every_engine
def test_a_long_name_to_choose_does_not_widen_the_page(live: Live, page: Page) -> None:
    furnish(live)
    connection = live.app.extensions["pitapp.db"].connection()
    tracks.save_track(connection, Track(name=LONG_NAME), RACE_MORNING)
    page.goto(f"{live.url}/runs/new")
    page.locator("#track_id").evaluate(
        "(list, text) => { list.selectedIndex = "
        "[...list.options].findIndex((each) => each.text === text); }",
        LONG_NAME,
    )
    expect(page.locator("#track_id option:checked")).to_have_text(LONG_NAME)
    assert page.evaluate(SCROLLS) == 0


@pytest.mark.every_engine
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_how_far_a_run_through_is_can_be_seen(
    server: ServerProcess, page: Page, watch: Watch, theme: str
) -> None:
    watch.allow("inline style", "Refused to apply a stylesheet")  # the camera's, not the page's
    page.context.add_cookies([{"name": "pitapp_theme", "value": theme, "url": server.url}])
    page.goto(f"{server.url}/checks/lists/6/run")
    bar = page.locator("progress").first
    bar.evaluate("(bar) => { bar.value = bar.max / 2; }")
    rows = colours(page.screenshot(clip=bar.bounding_box()))
    row = rows[len(rows) // 2]
    done, to_do = row[len(row) // 4], row[3 * len(row) // 4]
    assert contrast(done, to_do) >= 3
    bar.evaluate("(bar) => { bar.value = 0; }")
    rows = colours(page.screenshot(clip=bar.bounding_box()))
    assert rows[len(rows) // 2][len(rows[0]) // 4] == to_do


@firefox
def test_to_keep_what_waits_is_asked_for_once_and_at_a_tap(
    server: ServerProcess, phone: Phone
) -> None:
    page = phone.open()
    page.add_init_script(COUNT_ASKING)
    visit_once(page, server.url)
    server.kill()
    log_a_run(page, server.url)
    expect(page.get_by_text("the browser may drop what waits")).to_be_visible()
    assert page.evaluate("() => globalThis.asked") == 0
    page.get_by_role("button", name="Keep it").tap()
    expect(page.get_by_text("the browser may drop what waits")).to_have_count(0)
    assert page.evaluate("() => globalThis.asked") == 1
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Waiting on this phone")
    page.wait_for_timeout(1000)
    expect(page.get_by_text("the browser may drop what waits")).to_have_count(0)


@pytest.mark.every_engine
def test_a_minus_can_be_typed_where_an_imitated_keypad_has_none(live: Live, page: Page) -> None:
    furnish(live)
    new = NewRun(page, live.url).open()
    field, key = page.locator("#air_c"), page.locator("button[data-sign=air_c]")
    field.fill("3")
    key.tap()
    expect(field).to_have_value("-3")
    key.tap()
    expect(field).to_have_value("3")
    key.tap()
    new.temperature("61")
    new.save()
    connection = live.app.extensions["pitapp.db"].connection()
    assert connection.execute("SELECT air_c FROM runs").fetchone()[0] == -3


@webkit
def test_the_alarm_comes_back_after_an_imitated_call(live: Live, page: Page) -> None:
    _, uuid = run_charge(database(live), 30)
    page.add_init_script(SPEAKER)
    Countdown(page, live.url, uuid).go()
    button = page.locator("#sound")
    button.tap()
    expect(button).to_have_text("Sound is on: try it")
    expect(button).to_have_attribute("aria-pressed", "true")
    assert page.evaluate("() => navigator.audioSession.type") == "playback"
    page.evaluate("() => { globalThis.taken = true; speaker.become('interrupted'); }")
    expect(button).to_have_text("Sound is off: turn on")
    expect(button).to_have_attribute("aria-pressed", "false")
    page.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_timeout(300)
    expect(button).to_have_text("Sound is off: turn on")
    page.evaluate("() => { globalThis.taken = false; }")
    page.locator("h1").tap()
    expect(button).to_have_text("Sound is on: try it")
    page.evaluate("() => { speaker.become('interrupted'); }")
    page.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
    expect(button).to_have_text("Sound is on: try it")


@pytest.mark.engines("firefox", "webkit")
def test_an_alarm_that_cannot_vibrate_sounds_on_an_imitated_speaker(live: Live, page: Page) -> None:
    _, uuid = run_charge(database(live), 0.1)
    page.add_init_script("delete Navigator.prototype.vibrate;" + SPEAKER)
    Countdown(page, live.url, uuid).go()
    page.locator("#sound").tap()
    page.wait_for_function("() => tones >= 3")
    expect(page.get_by_text("Time is up. Go and look at it.")).to_be_visible()
    page.wait_for_function("() => tones >= 6")
    page.get_by_role("button", name="I am looking at it").tap()
    sounded = page.evaluate("() => tones")
    page.wait_for_timeout(2500)
    assert page.evaluate("() => tones") == sounded


@webkit
def test_a_speaker_that_never_answers_is_not_said_to_be_on(live: Live, page: Page) -> None:
    """Imitated: `resume()` that neither succeeds nor fails."""
    _, uuid = run_charge(database(live), 30)
    page.add_init_script(SPEAKER + "AudioContext.prototype.resume = () => new Promise(() => {});")
    Countdown(page, live.url, uuid).go()
    page.locator("#sound").tap()
    expect(page.locator("#sound-note")).to_contain_text("No sound yet")
    expect(page.locator("#sound")).to_have_attribute("aria-pressed", "false")


@webkit
def test_an_imitated_iphone_is_told_how_to_install(live: Live, page: Page) -> None:
    page.add_init_script("Object.defineProperty(navigator, 'standalone', { value: false });")
    page.goto(f"{live.url}/settings")
    expect(page.get_by_text("Add to Home Screen")).to_be_visible()
    expect(page.get_by_role("button", name="Install on this phone")).to_be_hidden()


@pytest.mark.every_engine
def test_who_can_install_otherwise_is_told_nothing_of_an_iphone(live: Live, page: Page) -> None:
    page.goto(f"{live.url}/settings")
    expect(page.get_by_text("Add to Home Screen")).to_be_hidden()


@pytest.mark.every_engine
def test_the_head_of_the_gear_table_does_not_pile_up(live: Live, page: Page) -> None:
    furnish(live)
    connection = live.app.extensions["pitapp.db"].connection()
    kit.add_gears(connection, "spur", "dp:64", list(range(70, 90)), RACE_MORNING)
    Table(page, live.url).open()
    page.locator(".scroll-x").evaluate("region => { region.scrollLeft = 400; }")
    assert page.evaluate(PILED) == [0, 0]
