"""A charge and a run-through with no server: the phone refuses what the server would, in the server's words."""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress

import pytest
from playwright.sync_api import expect

from e2e import a11y
from e2e.pages.checks import RunThrough
from e2e.pages.offline import (
    Outbox,
    Phone,
    bars,
    post,
    visit_once,
    wait_until_charge_is_kept,
)
from e2e.pages.packs import Charge, Countdown
from e2e.server import ServerProcess, rows
from pitapp.checks.engine import within_limit
from pitapp.checks.models import Limit
from pitapp.packs.charging.prompts import STEPS
from pitapp.packs.charging.steps import charge_limits
from pitapp.packs.models import Pack
from pitapp.web.forms.fields import parse_number

READ = "SELECT shown, reason FROM check_answers ORDER BY id"
CHARGES = "SELECT cells_set, current_a FROM pack_charges WHERE started_at > ''"
ON_WHICH = "SELECT charger_id FROM pack_charges WHERE started_at > '' ORDER BY id"
OUTCOMES = "SELECT outcome FROM pack_charges WHERE started_at > '' ORDER BY id"
CHARGE_ANSWERS = "SELECT step FROM pack_charge_answers ORDER BY id"


TYPED = (
    *("", "x", "-3", "0", "0.009", "0,01", "2", "2.0", "2,5", "3", "2.99", "3.0", "4.25", "4,26"),
    *(
        "6",
        "6.01",
        "9.9",
        "10",
        "45",
        "45.1",
        "500",
        "501",
        "1e1",
        "1e400",
        "1 0",
        "1,0,0",
        "½",
        "nan",
    ),
)
JUDGED = """async (typed) => {
  const run = (await runs.ofDatabase()).find(({ begin }) => begin === "/packs/1/charge?purpose=full");
  const limits = Object.assign({}, ...run.steps.map((step) => step.limits));
  return Object.fromEntries(Object.entries(limits)
    .map(([name, limit]) => [name, typed.filter((text) => !runs.fault(limit, text))]));
}"""


def allowed(asked: Limit) -> list[str]:
    """What of all that may be typed the server lets stand under this limit."""
    found = []
    for text in TYPED:
        with suppress(ValueError):
            if within_limit(asked, repr(parse_number(text))):
                found.append(text)
    return found


@pytest.mark.every_engine
def test_a_charge_and_a_reading_outside_the_class_with_no_server(
    server: ServerProcess, phone: Phone
) -> None:
    """The phone refuses what the server would, starts a countdown, and sends it all in order."""
    before = {query: rows(server, query) for query in (CHARGES, CHARGE_ANSWERS, READ)}
    page = phone.open()
    visit_once(page, server.url)
    server.kill()

    run = RunThrough(page, server.url)
    page.goto(f"{server.url}/checks/lists/6/run")
    run.enter("16,000")
    expect(run.stop()).to_contain_text("Shows 16,000 rpm, class limit at most 14 600 rpm")
    run.let_stand("ok")
    expect(page.get_by_text("Say why, in two words")).to_be_visible()
    expect(page.locator("#reason")).to_have_value("ok")
    run.let_stand("The official lent me this one")
    expect(run.title()).not_to_have_text("Rev limit")

    charge = Charge(page, server.url, 1).begin()
    charge.press("Something is wrong")
    expect(page.get_by_text("The pack looks wrong. Do not charge it.")).to_be_visible()
    charge.press("Looks sound")
    charge.press("Feels sound")
    page.get_by_label("Cells at about").fill("41")
    charge.press("Next")
    expect(
        page.get_by_text(
            "The cells are at 41 °C. Let them cool to the air around them, in any case to 40 °C"
        )
    ).to_be_visible()
    page.get_by_label("Cells at about").fill("22,5")
    charge.press("Next")
    charge.press("The label says so")
    charge.expect_step("Safe place")
    page.goto(f"{server.url}/packs/1/charge?purpose=full")
    charge.expect_step("Safe place")
    charge.press("It is in a safe place")
    charge.press("Both are in")
    charge.measure("3.75", "2.9")
    expect(page.get_by_text("A cell is at 2.9 V, under 3.0 V. Do not charge it")).to_be_visible()
    charge.measure("3.75", "3.76")
    charge.program("3", "6")
    expect(page.get_by_text("the charger shows 3, the pack has 2 in series")).to_be_visible()
    charge.program("2", "12")
    expect(page.get_by_text("Over the label's rate: 12 A is more than 6 A (1C).")).to_be_visible()
    expect(page.get_by_label("Current it shows")).to_have_value("12")
    expect(page.locator("[name=charger]").first).to_be_checked()
    a11y.check(page)
    charge.program("2", "6")
    charge.press("Somebody stays")
    charge.press("It is charging: start the clock")
    countdown = Countdown(page, server.url, "")
    countdown.expect_counting()
    # 6000 mAh from 37.6 % at 6 A are 37.4 min, without the part at constant voltage.
    countdown.expect_seconds(37.4 * 60, within=20)
    expect(page.get_by_text("counted by this phone's clock")).to_be_visible()
    charge.press("10 min")
    countdown.expect_seconds(47.4 * 60, within=25)
    phone.close()

    page = phone.open()
    page.goto(f"{server.url}/packs/1/charge?purpose=full")
    Countdown(page, server.url, "").expect_seconds(47.4 * 60, within=40)
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 14 entries", timeout=20_000)
    new = {query: rows(server, query)[len(had) :] for query, had in before.items()}
    assert new[CHARGES] == [(2, 6.0)]
    assert new[READ] == [("16000", "The official lent me this one")]
    assert [step for (step,) in new[CHARGE_ANSWERS]] == [step.key for step in STEPS]


def test_what_was_chosen_stays_where_the_phone_refuses_a_step(
    server: ServerProcess, phone: Phone
) -> None:
    chargers = rows(server, "SELECT id FROM chargers WHERE NOT at_home ORDER BY id")
    before = rows(server, ON_WHICH)
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    charge = Charge(page, server.url, 1).up_to_the_program()
    which = page.locator("[name=charger]")
    expect(which).to_have_count(len(chargers))
    assert len(chargers) > 1
    which.last.check()
    page.get_by_label("Cells it shows").fill("2")
    page.get_by_label("Current it shows").fill("12")
    charge.press("Next")
    expect(page.get_by_text("Over the label's rate: 12 A is more than 6 A (1C).")).to_be_visible()
    expect(page.get_by_label("Cells it shows")).to_have_value("2")
    expect(which.last).to_be_checked()
    page.get_by_label("Current it shows").fill("6")
    charge.press("Next")
    charge.expect_step("Somebody stays")
    charge.press("Somebody stays")
    charge.press("It is charging: start the clock")
    Countdown(page, server.url, "").expect_counting()
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: ", timeout=20_000)
    assert rows(server, ON_WHICH)[len(before) :] == [chargers[-1]]


def test_a_charge_in_doubt_is_not_started_and_the_server_judges_again(
    server: ServerProcess, phone: Phone
) -> None:
    before = rows(server, CHARGES)
    page = phone.open()
    visit_once(page, server.url)
    server.kill()
    judged = page.context.service_workers[0].evaluate(JUDGED, TYPED)
    assert judged.pop("answer") == []
    label = Pack(mark="A1", cells_series=2, capacity_mah=6000, most_charge_c=1)
    assert judged == {name: allowed(asked) for name, asked in charge_limits(label).items()}

    unknown = post(page, "/packs/charges/3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70/start", {})
    assert "this phone does not know this charge. Do not start it." in unknown

    charge = Charge(page, server.url, 1).to_the_start()
    post(page, "/packs/1/condition", {"condition": "damaged"})
    charge.press("It is charging: start the clock")
    expect(page.get_by_text("Its condition was changed on this phone.")).to_be_visible()
    outbox = Outbox(page, server.url).open()
    outbox.expect_waiting(len(STEPS) + 1)
    outbox.entries().last.get_by_role("button", name="Drop").tap()
    outbox.expect_waiting(len(STEPS))

    charge.begin().press("It is charging: start the clock")
    Countdown(page, server.url, "").expect_counting()
    with closing(sqlite3.connect(server.data_dir / "pitapp.sqlite3")) as other:
        other.execute("UPDATE packs SET most_charge_c = 0.5 WHERE id = 1")
        other.commit()
    server.start()
    outbox.open()
    expect(bars(page)).to_contain_text("Sent: ", timeout=20_000)
    outbox.expect_waiting(2)
    expect(outbox.entries().first).to_contain_text("Over the label's rate: 6 A is more than 3 A")
    expect(outbox.entries().last).to_contain_text("Set the charger: not done yet.")
    assert rows(server, CHARGES) == before


def test_a_charge_is_stopped_and_taken_up_again_with_no_server(
    server: ServerProcess, phone: Phone
) -> None:
    """Nobody watches: off the charger before the run, every step anew, and on again after it."""
    before = rows(server, OUTCOMES)
    page = phone.open()
    visit_once(page, server.url)
    charge = Charge(page, server.url, 1).to_the_start()
    charge.press("It is charging: start the clock")
    Countdown(page, server.url, "").expect_counting()
    started = page.url
    visit_once(page, server.url)
    wait_until_charge_is_kept(page)
    page.goto(started)
    server.kill()

    page.goto(f"{server.url}/packs/1/charge?purpose=full")
    Countdown(page, server.url, "").expect_counting()
    charge.press("Stopped early")
    expect(page.get_by_text("Saved on this phone, not sent yet")).to_be_visible()
    charge.begin()
    charge.expect_step("Look at it")
    charge.to_the_start()
    charge.press("It is charging: start the clock")
    Countdown(page, server.url, "").expect_counting()
    assert page.url != started
    charge.press("Stopped early")
    page.wait_for_url(f"{server.url}/packs/1")  # where the end leads
    charge.begin()
    charge.expect_step("Look at it")
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text(f"Sent: {len(STEPS) + 3} entries", timeout=20_000)
    assert rows(server, OUTCOMES)[len(before) :] == [("stopped",), ("stopped",)]


def test_a_charge_that_was_stopped_with_no_server_counts_down_nowhere(
    server: ServerProcess, phone: Phone
) -> None:
    """Begun at the server: its own page leads to the pack, and the list that is open says that it is off."""
    page = phone.open()
    visit_once(page, server.url)
    charge = Charge(page, server.url, 1).to_the_start()
    charge.press("It is charging: start the clock")
    Countdown(page, server.url, "").expect_counting()
    started = page.url
    visit_once(page, server.url)
    wait_until_charge_is_kept(page)
    page.goto(started)
    listed = phone.another_page()
    listed.goto(f"{server.url}/packs")
    expect(listed.locator("a .row-value[data-due]")).to_contain_text(":")
    server.kill()

    page.goto(started)
    charge.press("Stopped early")
    page.wait_for_url(f"{server.url}/packs/1")
    expect(listed.locator("a .row-value[data-due]")).to_have_text("off")
    page.goto(started)
    page.wait_for_url(f"{server.url}/packs/1")
    page.goto(f"{server.url}/packs")
    expect(page.locator("[data-due]", has_text=":")).to_have_count(0)
    server.start()
    page.goto(server.url)
    expect(bars(page)).to_contain_text("Sent: 1 entry", timeout=20_000)
