"""A second phone is let in by a code, works, and is shown the door."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from e2e.pages.base import Screen
from e2e.pages.devices import Devices, Pairing
from e2e.server import Live, Served
from e2e.watch import Watch
from pitapp.devices import store
from pitapp.devices.formulas import MOST_WRONG


@pytest.mark.every_engine
def test_a_second_phone_is_paired_and_removed(
    live: Live,
    afar: Served,
    page: Page,
    watch: Watch,
    new_context: Callable[..., BrowserContext],
) -> None:
    watch.allow("status of 403")  # the wrong code
    devices = Devices(page, live.url).open()
    devices.check_usable()
    code = devices.code()

    phone = new_context().new_page()
    phone.goto(f"{afar.url}/gearing")
    pairing = Pairing(phone, afar.url)
    expect(phone.get_by_role("heading", name="Pair this device")).to_be_visible()
    pairing.check_usable()
    wrong = str((int(code.replace(" ", "")) + 1) % 10**8).zfill(8)
    pairing.pair(wrong, "Second phone")
    expect(phone.get_by_text("That code is wrong or over")).to_be_visible()
    pairing.check_usable()
    pairing.pair(code, "Second phone")
    expect(phone.get_by_role("heading", name="Board")).to_be_visible()

    devices.open()
    expect(devices.paired()).to_contain_text("Second phone")
    devices.check_usable()
    page.get_by_role("button", name="Remove Second phone").tap()
    expect(devices.paired()).to_have_count(0)
    phone.goto(f"{afar.url}/gearing")
    expect(phone.get_by_role("heading", name="Pair this device")).to_be_visible()


def test_a_phone_is_let_in_by_two_taps(
    live: Live, afar: Served, page: Page, new_context: Callable[..., BrowserContext]
) -> None:
    devices = Devices(page, live.url).open()
    code = devices.code()
    live.slow_down()
    phone = new_context().new_page()
    phone.goto(f"{afar.url}/gearing")
    phone.get_by_label("Code").fill(code)
    Screen.tap_twice(phone.get_by_role("button", name="Pair"))
    expect(phone.get_by_role("heading", name="Board")).to_be_visible()
    devices.open()
    expect(devices.paired()).to_have_count(1)


def test_the_next_code_is_shown_by_itself(live: Live, afar: Served, page: Page) -> None:
    devices = Devices(page, live.url).open()
    code = devices.code().replace(" ", "")
    guesses = live.app.extensions["pitapp.guesses"]
    for number in range(MOST_WRONG - 1):
        with guesses.attempt(f"10.{number // 250}.0.{number % 250}", live.clock()) as look:
            assert not look.wrong(code)
    button = page.get_by_role("button", name="Make another code")
    button.focus()
    with live.app.app_context():
        connection = live.app.extensions["pitapp.db"].connection()
        made = store.pair(connection, guesses, "", "Phone", "10.9.0.1", live.clock()).next_code
    assert made is not None
    expect(page.get_by_text(made.spaced)).to_be_visible(timeout=20_000)
    expect(button).to_be_focused()
    devices.check_usable()


class Settings(Screen):
    path = "/settings"


def test_the_address_stands_on_settings(live: Live, afar: Served, page: Page) -> None:
    settings = Settings(page, live.url).open()
    expect(page.get_by_text(f"{afar.url}/")).to_be_visible()
    expect(page.locator(".square-frame svg")).to_be_visible()
    settings.check_usable()


def test_what_is_missing_is_said_where_nobody_shares(live: Live, page: Page) -> None:
    devices = Devices(page, live.url).open()
    expect(page.get_by_text("pitapp serve --share")).to_be_visible()
    devices.check_usable()
