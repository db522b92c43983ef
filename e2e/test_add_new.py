"""What a list lacks is added from beside it, and leads back with what was typed and the new one chosen."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from e2e.server import Live
from pitapp.demo import fill
from pitapp.packs import store as packs
from pitapp.runs import store as runs
from pitapp.runs.tyres import store as tyres


def add(page: Page, label: str, name: str, more: dict[str, str] | None = None) -> None:
    """Go to the form that adds what a list lacks, fill it in and save it."""
    page.get_by_role("link", name=label).tap()
    page.locator("form[method=post] [name=name], form[method=post] [name=mark]").first.fill(name)
    for field, text in (more or {}).items():
        page.get_by_label(field, exact=True).fill(text)
    page.get_by_role("button", name="Save").first.tap()


@pytest.mark.every_engine
def test_a_run_takes_a_pack_and_tyres_that_were_not_on_record(live: Live, page: Page) -> None:
    fill(live.app)
    connection = live.app.extensions["pitapp.db"].connection()
    page.goto(f"{live.url}/runs/new")
    page.get_by_label("Can temperature").fill("63")
    page.get_by_label("Remarks").fill("Borrowed a pack.")
    add(page, "Add a pack", "Z9", {"Capacity": "5200"})
    expect(page.get_by_role("heading", name="Log a run")).to_be_visible()
    expect(page.get_by_label("Can temperature")).to_have_value("63")
    expect(page.locator("[name=pack_id]:checked + span")).to_have_text("Z9")
    add(page, "Add a tyre set", "Invented new set")
    expect(page.locator("#tyre_set_id option:checked")).to_have_text("Invented new set")
    expect(page.get_by_label("Can temperature")).to_have_value("63")
    expect(page.get_by_label("Remarks")).to_have_value("Borrowed a pack.")
    expect(page.locator("[name=pack_id]:checked + span")).to_have_text("Z9")
    page.get_by_role("button", name="Save").first.tap()
    expect(page.locator("#notices")).to_contain_text("Logged the run")
    run = runs.runs(connection, limit=1)[0]
    assert packs.pack(connection, run.pack_id or 0).mark == "Z9"
    assert tyres.tyre_set(connection, run.tyre_set_id or 0).name == "Invented new set"
    assert (run.can_c, run.remarks) == (63, "Borrowed a pack.")


def test_the_plan_of_charges_takes_a_pack_that_was_not_on_record(live: Live, page: Page) -> None:
    fill(live.app)
    page.goto(f"{live.url}/packs/plan/settings")
    page.get_by_label("Outputs", exact=True).fill("2")
    page.locator("summary", has_text="Packs along").tap()
    page.locator("[name=along]").first.uncheck()
    add(page, "Add a pack", "Z9", {"Capacity": "5200"})
    expect(page.get_by_role("heading", name="Charger and limits")).to_be_visible()
    expect(page.get_by_label("Outputs", exact=True)).to_have_value("2")
    expect(page.locator("[name=along]").first).not_to_be_checked()
    expect(page.locator("[name=along]").last).to_be_checked()


def test_without_a_script_the_new_one_is_chosen_and_nothing_typed_is_lost(
    live: Live, page: Page
) -> None:
    fill(live.app)
    browser = page.context.browser
    assert browser is not None
    plain = browser.new_context(java_script_enabled=False)
    try:
        other = plain.new_page()
        other.goto(f"{live.url}/runs/1/edit")
        other.get_by_label("Can temperature").fill("63")
        other.get_by_label("Remarks").fill("Borrowed <a pack> & more.")
        other.get_by_role("button", name="Add a track").click()
        other.get_by_label("Name").fill("Invented Dunes")
        other.get_by_role("button", name="Save").first.click()
        expect(other.get_by_role("heading", name="Change the run")).to_be_visible()
        expect(other.locator("#track_id option:checked")).to_have_text("Invented Dunes")
        expect(other.get_by_label("Can temperature")).to_have_value("63")
        # One thing after another, and what is refused there is asked again.
        other.get_by_role("button", name="Add a tyre set").click()
        other.get_by_role("button", name="Save").first.click()
        other.get_by_label("Name").fill("Invented new set")
        other.get_by_role("button", name="Save").first.click()
        expect(other.locator("#tyre_set_id option:checked")).to_have_text("Invented new set")
        expect(other.locator("#track_id option:checked")).to_have_text("Invented Dunes")
        expect(other.get_by_label("Remarks")).to_have_value("Borrowed <a pack> & more.")
        # Enter saves.
        other.get_by_label("Can temperature").press("Enter")
        expect(other.locator("#notices")).to_contain_text("Changed the run")
        connection = live.app.extensions["pitapp.db"].connection()
        run = runs.run(connection, 1)
        assert (run.can_c, run.remarks) == (63, "Borrowed <a pack> & more.")
    finally:
        plain.close()
