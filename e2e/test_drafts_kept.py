"""What a phone keeps of what was typed: little, nothing secret, and nothing once the device is removed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from e2e.pages.devices import Devices, Pairing
from e2e.pages.drafts import Drafts, foot, type_a_run
from e2e.pages.kit import NewCar
from e2e.server import Live, Served, ServerProcess
from e2e.watch import Watch


@pytest.fixture
def drafts(page: Page) -> Drafts:
    return Drafts(page)


def test_nothing_is_kept_of_tokens_files_and_codes(
    server: ServerProcess, page: Page, drafts: Drafts, watch: Watch, tmp_path: Path
) -> None:
    watch.allow("favicon.ico")  # the pairing page names no icon
    type_a_run(page, server.url)
    token = page.locator("[name=csrf_token]").first.input_value()
    (kept,) = drafts.kept().values()
    assert token not in kept
    assert "seen" not in kept
    page.goto(f"{server.url}/pair")
    page.get_by_label("Code").fill("12345678")
    page.goto(f"{server.url}/exchange")
    file = tmp_path / "runs.csv"
    file.write_text("nothing")
    page.locator("input[type=file]").first.set_input_files(file)
    assert list(drafts.kept().values()) == [kept]


def test_what_was_typed_goes_when_the_device_is_removed(
    live: Live, afar: Served, page: Page, new_context: Callable[..., BrowserContext]
) -> None:
    code = Devices(page, live.url).open().code()
    phone = new_context().new_page()
    drafts = Drafts(phone)
    phone.goto(afar.url)
    Pairing(phone, afar.url).pair(code, "Second phone")
    expect(phone.get_by_role("heading", name="Board")).to_be_visible()
    phone.goto(f"{afar.url}/packs/new")
    phone.get_by_label("Capacity").fill("6000")
    assert len(drafts.kept()) == 1
    phone.goto(f"{afar.url}/gearing")
    assert len(drafts.kept()) == 1
    Devices(page, live.url).open()
    page.get_by_role("button", name="Remove Second phone").tap()
    expect(page.get_by_role("button", name="Remove Second phone")).to_have_count(0)
    phone.goto(f"{afar.url}/gearing")
    expect(phone.get_by_role("heading", name="Pair this device")).to_be_visible()
    drafts.expect_none()


def test_they_are_few_short_and_not_old(live: Live, page: Page, drafts: Drafts) -> None:
    page.goto(f"{live.url}/packs/new")
    page.evaluate(
        """() => {
            for (let number = 0; number < 100; number++) {
                const at = Date.now() - number * 86400000;
                const text = JSON.stringify({ at, fields: {} });
                localStorage.setItem(`pitapp-draft any /packs/${number} 0`, text);
            }
            localStorage.setItem("pitapp-draft any /broken 0", "{");
        }"""
    )
    page.goto(f"{live.url}/packs/new")
    assert 0 < len(drafts.kept()) <= 40
    assert "pitapp-draft any /packs/0 0" in drafts.kept()
    assert "pitapp-draft any /packs/31 0" not in drafts.kept()
    assert "pitapp-draft any /broken 0" not in drafts.kept()
    before = len(drafts.kept())
    page.get_by_label("Capacity").evaluate(
        """field => {
            field.value = "6".repeat(1000000);
            field.dispatchEvent(new Event("input", { bubbles: true }));
        }"""
    )
    assert len(drafts.kept()) == before


NO_STORAGE = """Object.defineProperty(window, "localStorage", {
    get() { throw new DOMException("No storage.", "SecurityError"); }
})"""
FULL_STORAGE = """for (let size = 2 ** 23; size >= 1; size /= 2) {
    try {
        for (let number = 0; ; number++) localStorage.setItem(`${size} ${number}`, "x".repeat(size));
    } catch { /* smaller */ }
}"""


@pytest.mark.parametrize("trouble", [NO_STORAGE, FULL_STORAGE], ids=["none", "full"])
def test_without_storage_the_form_works_as_ever(live: Live, page: Page, trouble: str) -> None:
    page.add_init_script(trouble)
    new = NewCar(page, live.url)
    page.goto(f"{live.url}/kit/cars/new")
    new.add("My car", "1,9", "64 DP", "63")
    expect(page.locator("#notices")).to_contain_text("My car")
    page.goto(f"{live.url}/kit/cars/1")
    page.get_by_label("Name").first.fill("Spare car")
    foot(page, "Board")
    page.goto(f"{live.url}/kit/cars/1")
    expect(page.get_by_label("Name").first).to_have_value("My car")
