"""The Kit screens: what is asked only when it is wanted, and gears taken out of the box."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from e2e.pages.kit import GearBox, NewCar
from e2e.server import Live
from pitapp.kit import store as kit
from pitapp.kit.models import Motor
from tests.support import RACE_MORNING


def test_a_new_motors_kv_is_asked_for_only_while_none_is_chosen(live: Live, page: Page) -> None:
    connection = live.app.extensions["pitapp.db"].connection()
    kit.save_motor(connection, Motor(name="Bench motor", kv_rpm_per_v=2380), RACE_MORNING)
    screen = NewCar(page, live.url).open()
    page.get_by_text("Motor and speed").tap()
    kv = page.get_by_label("New motor's Kv")
    # The only motor is chosen already.
    expect(page.locator("#motor_id option:checked")).to_have_text("Bench motor")
    expect(kv).to_be_hidden()
    page.get_by_label("Motor", exact=True).select_option(value="")
    expect(kv).to_be_visible()
    screen.check_usable()


def test_a_long_name_leaves_the_undo_button_on_the_screen(live: Live, page: Page) -> None:
    NewCar(page, live.url).open().add("Unbroken" * 5, "1.9", "64 DP", "63")
    expect(page.get_by_text("Saved Unbroken")).to_be_visible()
    expect(page.get_by_role("button", name="Undo")).to_be_in_viewport(ratio=1)


@pytest.mark.every_engine
def test_gears_are_taken_out_one_after_the_other(live: Live, page: Page) -> None:
    connection = live.app.extensions["pitapp.db"].connection()
    kit.add_gears(connection, "spur", "dp:64", [64, 66, 69, 72], RACE_MORNING)
    screen = GearBox(page, live.url).open()
    expect(page.get_by_text("64, 66, 69, 72")).to_be_visible()
    expect(page.get_by_role("button", name="Delete")).to_have_count(0)
    page.get_by_text("Delete gears").tap()
    for teeth in (66, 69):
        page.get_by_role("button", name=f"Delete the {teeth}-tooth spur").tap()
        expect(page.get_by_text(f"Removed the {teeth}-tooth spur")).to_be_visible()
    expect(page.get_by_text("64, 72", exact=True)).to_be_visible()
    screen.check_usable()
    screen.press("Undo")
    expect(page.get_by_text("64, 69, 72", exact=True)).to_be_visible()
