"""What was typed and not saved is offered again: after the foot bar, Back, a refusal, or a dead server."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from e2e import a11y
from e2e.pages.base import Screen
from e2e.pages.checks import Checks
from e2e.pages.drafts import Drafts, expect_a_run, foot, type_a_run
from e2e.pages.kit import NewCar
from e2e.pages.offline import Phone, bars, visit_once
from e2e.server import Live, ServerProcess, rows
from e2e.watch import Watch


@pytest.fixture
def drafts(page: Page) -> Drafts:
    return Drafts(page)


def save_the_run(page: Page) -> None:
    choose_a_pack(page)
    page.get_by_role("button", name="Save").first.tap()


def choose_a_pack(page: Page) -> None:
    packs = page.locator("[name=pack_id]")
    if packs.count() and not page.locator("[name=pack_id]:checked").count():
        page.locator("label:has([name=pack_id])").first.tap()


def test_after_the_foot_bar_it_is_offered_until_it_is_saved(
    server: ServerProcess, page: Page, drafts: Drafts
) -> None:
    type_a_run(page, server.url)
    heat = page.locator("#heat_id").input_value()
    foot(page, "Board")
    page.goto(f"{server.url}/runs/new")
    expect(drafts.offers()).to_have_count(1)
    expect(drafts.offers()).to_contain_text("not saved: Can temperature 61")
    expect(page.locator("#can_c")).to_have_value("")
    a11y.check(page)
    place = page.locator("#can_c").bounding_box()
    drafts.answer("Put back")
    expect_a_run(page)
    expect(page.locator("#heat_id")).to_have_value(heat)
    assert page.locator("#can_c").bounding_box() == place
    expect(page.get_by_text("Put back. Not saved yet.")).to_be_visible()
    save_the_run(page)
    expect(page.get_by_text("Logged the run")).to_be_visible()
    drafts.expect_none()
    page.goto(f"{server.url}/runs/new")
    drafts.expect_none()
    assert rows(server, "SELECT remarks FROM runs ORDER BY id DESC LIMIT 1") == [
        ("Loose at the rear",)
    ]


def test_after_back_it_is_there(server: ServerProcess, page: Page, drafts: Drafts) -> None:
    type_a_run(page, server.url)
    foot(page, "Gearing")
    page.go_back()
    if drafts.is_offered(page.locator("#can_c"), "61"):
        drafts.answer("Put back")
    expect_a_run(page)


def test_what_is_discarded_can_still_be_put_back_on_the_same_page(
    server: ServerProcess, page: Page, drafts: Drafts
) -> None:
    type_a_run(page, server.url)
    foot(page, "Board")
    page.goto(f"{server.url}/runs/new")
    place = page.locator("#can_c").bounding_box()
    drafts.answer("Discard")
    assert page.locator("#can_c").bounding_box() == place
    assert drafts.kept() == {}
    page.get_by_role("button", name="Put back").tap()
    expect_a_run(page)
    page.goto(f"{server.url}/runs/new")
    drafts.answer("Discard")
    page.goto(f"{server.url}/runs/new")
    drafts.expect_none()


def test_what_was_refused_is_kept(
    server: ServerProcess, page: Page, drafts: Drafts, watch: Watch
) -> None:
    watch.allow("status of 422")
    type_a_run(page, server.url)
    page.locator("#can_c").fill("6x")
    save_the_run(page)
    expect(page.locator("#can_c-error")).to_be_visible()
    expect(drafts.offers()).to_have_count(0)
    page.locator("#laps").fill("18")
    foot(page, "Board")
    page.goto(f"{server.url}/runs/new")
    drafts.answer("Put back")
    expect(page.locator("#can_c")).to_have_value("6x")
    expect(page.locator("#laps")).to_have_value("18")
    expect(page.locator("#remarks")).to_have_value("Loose at the rear")


def test_where_nothing_answered_it_is_kept_until_it_is_saved(
    server: ServerProcess, page: Page, drafts: Drafts, watch: Watch
) -> None:
    watch.allow("ERR_CONNECTION_REFUSED")
    type_a_run(page, server.url)
    choose_a_pack(page)
    server.kill()
    with page.expect_event("requestfailed"):
        page.get_by_role("button", name="Save").first.tap()
    server.start()
    page.goto(f"{server.url}/runs/new")
    drafts.answer("Put back")
    expect_a_run(page)
    save_the_run(page)
    expect(page.get_by_text("Logged the run")).to_be_visible()
    drafts.expect_none()


def test_of_two_forms_on_a_page_each_has_its_own(
    server: ServerProcess, page: Page, drafts: Drafts
) -> None:
    page.goto(f"{server.url}/settings")
    page.get_by_label("Sunlight").tap()
    page.get_by_label("mph").tap()
    foot(page, "Board")
    page.goto(f"{server.url}/settings")
    expect(drafts.offers()).to_have_count(2)
    drafts.answer("Discard")
    drafts.answer("Put back")
    expect(page.get_by_label("mph")).to_be_checked()
    expect(page.get_by_label("Sunlight")).not_to_be_checked()
    page.goto(f"{server.url}/settings")
    expect(drafts.offers()).to_have_count(1)


def test_a_form_of_another_car_is_not_offered_it(
    server: ServerProcess, page: Page, drafts: Drafts
) -> None:
    type_a_run(page, server.url)
    page.goto(f"{server.url}/kit")
    page.get_by_role("button", name="Use Invented Compact").tap()
    expect(page.get_by_text("Now about Invented Compact")).to_be_visible()
    page.goto(f"{server.url}/runs/new")
    expect(page.locator("#can_c")).to_have_value("")
    expect(drafts.offers()).to_have_count(0)
    page.goto(f"{server.url}/kit")
    page.get_by_role("button", name="Use Invented TC").tap()
    expect(page.get_by_text("Now about Invented TC")).to_be_visible()
    page.goto(f"{server.url}/runs/new")
    expect(drafts.offers()).to_have_count(1)


def test_with_htmx_a_save_drops_it_and_a_refusal_does_not(
    server: ServerProcess, page: Page, drafts: Drafts, watch: Watch
) -> None:
    watch.allow("status of 422")
    page.goto(f"{server.url}/kit/gears")
    page.get_by_label("Pinions").fill("13, x")
    page.get_by_role("button", name="Add to the box").tap()
    expect(page.locator("#pinions-error")).to_be_visible()
    foot(page, "Board")
    page.goto(f"{server.url}/kit/gears")
    drafts.answer("Put back")
    expect(page.get_by_label("Pinions")).to_have_value("13, x")
    page.get_by_label("Pinions").fill("13")
    page.get_by_role("button", name="Add to the box").tap()
    expect(page.locator("#notices")).to_contain_text("Added 1 pinion")
    drafts.expect_none()


def test_rows_that_were_added_come_back(server: ServerProcess, page: Page, drafts: Drafts) -> None:
    page.goto(f"{server.url}/tracks/new")
    page.get_by_label("Name", exact=True).fill("Invented hall")
    Screen(page, server.url).unfold("Surface, lap length, every straight")
    lengths = page.get_by_label("Length", exact=False)
    for number in range(1, 4):
        page.locator(f"#rows-{number - 1}-length_m").fill(str(10 * number))
        page.get_by_role("button", name="Another straight").tap()
        expect(page.locator(f"#rows-{number}-length_m")).to_be_visible()
    assert lengths.count() >= 4
    foot(page, "Board")
    page.goto(f"{server.url}/tracks/new")
    expect(page.locator("#rows-1-length_m")).to_have_count(0)
    drafts.answer("Put back")
    for number in range(1, 4):
        expect(page.locator(f"#rows-{number - 1}-length_m")).to_have_value(str(10 * number))
    expect(page.get_by_label("Name", exact=True)).to_have_value("Invented hall")
    expect(drafts.offers()).to_have_count(0)


def test_with_no_server_it_is_kept_too_and_goes_into_the_outbox(
    server: ServerProcess, phone: Phone
) -> None:
    page = phone.open()
    drafts = Drafts(page)
    visit_once(page, server.url)
    server.kill()
    type_a_run(page, server.url)
    foot(page, "Board")
    expect(bars(page)).to_contain_text("Kept copy")
    phone.close()
    page = phone.open()
    drafts = Drafts(page)
    page.goto(f"{server.url}/runs/new")
    drafts.answer("Put back")
    expect_a_run(page)
    save_the_run(page)
    expect(bars(page)).to_contain_text("Can temperature 61", timeout=15_000)
    drafts.expect_none()
    page.goto(f"{server.url}/runs/new")
    drafts.expect_none()
    server.start()
    expect(bars(page)).to_contain_text("Sent: 1 entry")
    drafts.expect_none()


def back(page: Page) -> None:
    foot(page, "Board")
    # Firefox tells of no load then; and the page that answers must still be there.
    page.evaluate("() => { setTimeout(() => history.back()); }")


def reload(page: Page) -> None:
    page.reload()


def by_foot(page: Page) -> None:
    address = page.url
    foot(page, "Board")
    page.goto(address)


FORMS = [
    ("/kit/cars/new", "Name", "Invented hack"),
    ("/packs/new", "Capacity", "6050"),
    ("/kit/gears", "Pinions", "20-32, 35"),
]


@pytest.mark.every_engine
@pytest.mark.parametrize("leave", [by_foot, back, reload])
def test_whatever_the_form_and_the_way_out_it_comes_back(
    live: Live, page: Page, drafts: Drafts, leave: Callable[[Page], None]
) -> None:
    page.goto(f"{live.url}/kit/cars/new")
    for path, label, typed in FORMS:
        page.goto(live.url + path)
        field = page.get_by_label(label, exact=False).first
        field.fill(typed)
        leave(page)
        if drafts.is_offered(field, typed):
            drafts.answer("Put back")
        assert field.input_value() == typed
        assert drafts.offers().count() == 0
    assert len(drafts.kept()) == len(FORMS)


def test_of_a_run_through_the_step_keeps_its_own(
    server: ServerProcess, page: Page, drafts: Drafts
) -> None:
    walk = Checks(page, server.url).open().run_through()
    shown = page.locator("input#shown")
    while not shown.count():
        title = walk.title().inner_text()
        walk.confirm()
        expect(walk.title()).not_to_have_text(title)
    title = walk.title().inner_text()
    shown.fill("9")
    foot(page, "Board")
    walk = Checks(page, server.url).open().run_through()
    while walk.title().inner_text() != title:
        expect(drafts.offers()).to_have_count(0)
        before = walk.title().inner_text()
        walk.confirm()
        expect(walk.title()).not_to_have_text(before)
    drafts.answer("Put back")
    expect(shown).to_have_value("9")
    page.get_by_role("button", name="Save").tap()
    expect(page.locator("#walk-part")).to_be_visible()
    drafts.expect_none()


def test_a_page_that_dies_keeps_it(
    server: ServerProcess, context: BrowserContext, page: Page
) -> None:
    type_a_run(page, server.url)
    page.close(run_before_unload=False)
    later = context.new_page()
    later.goto(f"{server.url}/runs/new")
    Drafts(later).answer("Put back")
    expect_a_run(later)


def test_what_was_typed_in_another_unit_is_not_taken_for_this_one(
    server: ServerProcess, page: Page, drafts: Drafts
) -> None:
    type_a_run(page, server.url)
    page.goto(f"{server.url}/settings")
    page.get_by_label("°F").tap()
    page.get_by_role("button", name="Save units").tap()
    expect(page.get_by_text("Units saved")).to_be_visible()
    page.goto(f"{server.url}/runs/new")
    expect(drafts.offers()).to_contain_text("61 °C")
    drafts.answer("Put back")
    expect(page.locator("#remarks")).to_have_value("Loose at the rear")
    expect(page.locator("#can_c")).to_have_value("")


def test_a_record_that_was_changed_since_is_said_to_be(
    live: Live, page: Page, drafts: Drafts, new_context: Callable[..., BrowserContext]
) -> None:
    page.goto(f"{live.url}/kit/cars/new")
    NewCar(page, live.url).add("My car", "1,9", "64 DP", "63")
    expect(page.locator("#notices")).to_contain_text("My car")
    page.goto(f"{live.url}/kit/cars/1")
    page.get_by_label("Name").first.fill("My old car")
    foot(page, "Board")
    other = new_context().new_page()
    other.goto(f"{live.url}/kit/cars/1")
    other.get_by_label("Name").first.fill("Spare car")
    other.get_by_role("button", name="Save").first.tap()
    expect(other.locator("#notices")).to_contain_text("Spare car")
    page.goto(f"{live.url}/kit/cars/1")
    expect(drafts.offers()).to_contain_text("The record was changed since.")
