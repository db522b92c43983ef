"""A phone whose outbox cannot be written or read: what can be sent is saved, what cannot stays on its form."""

from __future__ import annotations

import pytest
from playwright.sync_api import CDPSession, Page, expect

from e2e.pages.offline import Outbox, Phone, bars, fit_a_gear, tap_fit, visit_once
from e2e.server import ServerProcess, rows

FITS = "SELECT id, pinion_teeth, spur_teeth FROM gear_fits ORDER BY id"
RUNS = "SELECT id, can_c FROM runs ORDER BY id"
RAISE = """() => new Promise((resolve, reject) => {
  const asked = indexedDB.open("pitapp", 2);
  asked.onupgradeneeded = () => {
    const there = asked.result.objectStoreNames.contains("outbox");
    %s
  };
  asked.onsuccess = () => { asked.result.close(); resolve(); };
  asked.onerror = asked.onblocked = reject;
})"""
NEWER_STORE = RAISE % (
    'if (!there) asked.result.createObjectStore("outbox", { keyPath: "id", autoIncrement: true });'
)
NO_STORE = RAISE % 'if (there) asked.result.deleteObjectStore("outbox");'
DOES_NOT_OPEN = """() => {
  indexedDB.open = () => {
    const asked = { error: new DOMException("Connection to Indexed Database server lost", "UnknownError") };
    setTimeout(() => asked.onerror());
    return asked;
  };
  IDBDatabase.prototype.transaction = () => { throw new DOMException("Connection lost", "InvalidStateError"); };
}"""
SILENT_OPEN = """() => {
  indexedDB.open = () => ({});
  IDBDatabase.prototype.transaction = () => { throw new DOMException("Connection lost", "InvalidStateError"); };
}"""
LOST_ONCE = """() => {
  const transaction = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (...asked) {
    IDBDatabase.prototype.transaction = transaction;
    throw new DOMException("Connection to Indexed Database server lost", "UnknownError");
  };
}"""


def in_the_worker(page: Page, script: str) -> None:
    page.context.service_workers[0].evaluate(script)


def leave_room(page: Page, url: str) -> CDPSession:
    """Give what the phone keeps for the app no more room, until the session is detached."""
    session = page.context.new_cdp_session(page)
    session.send("Storage.overrideQuotaForOrigin", {"origin": url, "quotaSize": 1})
    return session


def type_a_run(page: Page, url: str) -> None:
    page.goto(f"{url}/runs/new")
    page.locator("#can_c").fill("61")


def save(page: Page) -> None:
    page.get_by_role("button", name="Save").first.tap()


def test_a_full_phone_saves_at_the_server_and_keeps_the_form_when_there_is_none(
    server: ServerProcess, phone: Phone
) -> None:
    before = len(rows(server, RUNS))
    page = phone.open()
    visit_once(page, server.url)
    type_a_run(page, server.url)
    full = leave_room(page, server.url)
    save(page)
    expect(page.get_by_text("Logged the run")).to_be_visible(timeout=20_000)
    assert [run[1] for run in rows(server, RUNS)[before:]] == [61.0]

    type_a_run(page, server.url)
    server.kill()
    save(page)
    expect(page.locator("#notices")).to_contain_text(
        "Not saved: this phone is full", timeout=20_000
    )
    expect(page.locator("#can_c")).to_have_value("61")
    expect(page).to_have_url(f"{server.url}/runs/new")

    full.detach()
    save(page)
    expect(bars(page)).to_contain_text("Saved on this phone", timeout=20_000)
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
    assert [run[1] for run in rows(server, RUNS)[before:]] == [61.0, 61.0]


def test_a_full_phone_still_sends_what_waits_and_opens_its_pages(
    server: ServerProcess, phone: Phone
) -> None:
    before = len(rows(server, FITS))
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    fit_a_gear(page, server.url)
    leave_room(page, server.url)
    page.goto(f"{server.url}/checks")
    expect(bars(page)).to_contain_text("Kept copy")
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
    assert [fit[1:] for fit in rows(server, FITS)[before:]] == [(44, 66)]


@pytest.mark.parametrize("how", [LOST_ONCE, NEWER_STORE], ids=["lost once", "newer"])
def test_an_outbox_that_opens_at_the_second_try_is_used(
    server: ServerProcess, phone: Phone, how: str
) -> None:
    """A connection that was lost, and a store that a newer app has raised (VersionError)."""
    before = len(rows(server, FITS))
    page = phone.open()
    visit_once(page, server.url)
    page.goto(f"{server.url}/gearing")
    page.wait_for_timeout(500)
    if how == NEWER_STORE:
        page.evaluate(how)
    else:
        in_the_worker(page, how)
    tap(page, "42")
    expect(page.locator("#notices")).to_contain_text("Fitted 42", timeout=20_000)
    page.goto(f"{server.url}/gearing")
    server.kill()
    if how == LOST_ONCE:
        in_the_worker(page, how)
    tap_fit(page)
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
    assert [fit[1:] for fit in rows(server, FITS)[before:]] == [(42, 66), (44, 66)]


@pytest.mark.parametrize(
    "how", [DOES_NOT_OPEN, SILENT_OPEN, NO_STORE], ids=["lost", "silent", "no store"]
)
def test_with_no_outbox_a_save_goes_to_the_server_and_pages_open(
    server: ServerProcess, phone: Phone, how: str
) -> None:
    before = len(rows(server, FITS))
    page = phone.open()
    visit_once(page, server.url)
    page.goto(f"{server.url}/gearing")
    page.wait_for_timeout(500)
    if how == NO_STORE:
        page.evaluate(how)
    else:
        in_the_worker(page, how)
    tap(page, "44")
    expect(page.locator("#notices")).to_contain_text("Fitted 44", timeout=40_000)
    assert [fit[1:] for fit in rows(server, FITS)[before:]] == [(44, 66)]

    server.kill()
    page.goto(f"{server.url}/gearing", timeout=60_000)
    expect(bars(page)).to_contain_text("Kept copy")
    expect(bars(page)).to_contain_text("The outbox cannot be read", timeout=40_000)
    tap(page, "43")
    expect(page.locator("#notices")).to_contain_text("this phone cannot keep it", timeout=60_000)
    expect(page.locator("#pinion")).to_have_value("43")
    Outbox(page, server.url).page.goto(f"{server.url}/outbox", timeout=60_000)
    expect(page.locator("#outbox-list")).to_contain_text("cannot be read", timeout=40_000)
    assert len(rows(server, FITS)) == before + 1


def tap(page: Page, pinion: str) -> None:
    page.locator("#pinion").fill(pinion)
    page.locator("#spur").fill("66")
    page.locator("#fit").tap()
