"""Cautions about packs and heat: in the order of need, short, each with its source or none claimed."""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.checks.lists import store as lists
from pitapp.db.migrate import migrations, statements
from pitapp.drive.forms import CoolingForm
from pitapp.meetings import store as meetings
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting
from pitapp.packs.charging.prompts import STEPS, ChargeStep
from tests.packs_walk import add_pack, walk
from tests.support import RACE_MORNING, PageClient

AFTER_LIST = 4
# A longer one is not read beside a burning pack: our own margin.
MOST_WORDS_OF_AN_ORDER = 50


@pytest.fixture
def pack_id(db: sqlite3.Connection) -> int:
    return add_pack(db)


def text_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def first_aid(client: PageClient) -> tuple[list[str], str]:
    """What to do, line by line, and where it comes from."""
    page = client.get("/packs/emergency").text
    begin = page.index('<ol class="orders">')
    orders, _, rest = page[begin:].partition("</ol>")
    sources = text_of(rest[: rest.index("</details>")])
    return [text_of(line).strip() for line in orders.split("<li>")[1:]], sources


def test_first_aid_is_short_and_in_the_order_of_need(client: PageClient) -> None:
    """Away, help, people, then things: as fire services say it."""
    orders, _ = first_aid(client)
    firsts = (
        "Hissing",
        "Call the fire",
        "Burnt skin",
        "On the charger",
        "Only hot",
        "Then watch",
        "Never",
    )
    assert len(orders) == len(firsts)
    for line, first in zip(orders, firsts, strict=True):
        assert line.startswith(first)
        assert len(line.split()) <= MOST_WORDS_OF_AN_ORDER, line
    assert "fight it or go back to it" in orders[1]


def test_what_is_advised_and_what_is_our_own_margin_is_said_so(client: PageClient) -> None:
    """At least 20 min on burns: ANZCOR Guideline 9.1.3; late effects of smoke: ATSDR."""
    orders, sources = first_aid(client)
    assert "at least 20 min under cool running water is advised" in orders[2]
    assert "see a doctor even if you feel well" in orders[2]
    assert "at least 15 min, better 20" in orders[2]
    assert "An hour and a day of watching: our own margin." in sources
    read, second = sources.split("From a secondary source:")
    for body in (
        "Scottish Fire and Rescue",
        "ANZCOR",
        "ATSDR",
        "NTSB SR-20/01, of cars",
        "Larsson",
    ):
        assert body in read
    for body in ("ANSI/ISEA Z358.1", "US EPA"):
        assert body in second
        assert body not in read
    assert "rule of thumb, no source" in second


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.key)
def test_every_step_of_a_charge_names_a_source_or_claims_none(
    client: PageClient, db: sqlite3.Connection, pack_id: int, step: ChargeStep
) -> None:
    uuid = walk(db, pack_id)
    page = text_of(client.get(f"/packs/{pack_id}/charges/{uuid}/steps/{step.key}").text)
    assert "What names no source is a rule of thumb." in page
    named = {
        "look": "US Fire Administration; Scottish Fire and Rescue Service.",
        "warmth": "Charge at 0 °C to 40 °C: US Fire Administration.",
        "cells": "University of Washington",
        "stay": "US Consumer Product Safety Commission",
    }
    assert named.get(step.key, "") in page
    if step.key == "stay":
        assert "A bag or a box does not stand in for you." in page


def test_makers_limits_are_said_as_such(
    client: PageClient, db: sqlite3.Connection, pack_id: int
) -> None:
    """JEITA settings as in Texas Instruments SLUSD89B: slower under 10 °C, stop at 45 °C."""
    uuid = walk(db, pack_id)
    page = text_of(client.get(f"/packs/{pack_id}/charges/{uuid}/steps/warmth").text)
    assert "Makers of chargers slow down under 10 °C and stop at 45 °C" in page
    assert "Petzl and Danzer" in page


def test_no_number_of_minutes_is_said_to_cool_a_pack(
    client: PageClient, db: sqlite3.Connection, pack_id: int
) -> None:
    """None is published: as cool as the air is what counts."""
    item = Meeting(day=RACE_MORNING.date(), time_zone="UTC", name="Invented round")
    meetings.save_meeting(db, item, RACE_MORNING, [Entry("heat", RACE_MORNING)])
    uuid = walk(db, pack_id)
    warmth = text_of(client.get(f"/packs/{pack_id}/charges/{uuid}/steps/warmth").text)
    assert "as cool as the air around it, however long that takes" in warmth
    assert "a guess of ours for the plan" in client.get("/packs/plan/settings").text
    for step in lists.steps(db, AFTER_LIST):
        assert step.wait_s is None, step.name


def test_a_list_that_the_racer_has_changed_keeps_the_racers_words(db: sqlite3.Connection) -> None:
    (file,) = [path for _, path in migrations() if path.stem.endswith("_cautions")]
    old = (
        "A warm pack must cool before it is charged.",
        "Stay with it. Do not charge a warm pack.",
    )
    row = db.execute("SELECT id FROM check_steps WHERE name = 'Pack and motor rest'").fetchone()[0]

    def brought_up(caution: str, wait_s: int) -> tuple[str, str, int | None]:
        values = (old[0], caution, wait_s, row)
        db.execute("UPDATE check_steps SET why = ?, caution = ?, wait_s = ? WHERE id = ?", values)
        for statement in statements(file.read_text(encoding="utf-8")):
            db.execute(statement)
        found = "SELECT why, caution, wait_s FROM check_steps WHERE id = ?"
        return tuple(db.execute(found, (row,)).fetchone())  # type: ignore[return-value]

    assert brought_up("Mine.", 600) == (old[0], "Mine.", 600)
    assert brought_up(old[1], 900) == (old[0], old[1], 900)
    why, caution, wait_s = brought_up(old[1], 600)
    assert "as cool as the air" in why
    assert (caution, wait_s) == ("Stay with it.", None)


def test_a_can_that_burns_is_named_by_a_burn_threshold_alone() -> None:
    """ISO 13732-1, by others: bare metal at 65 to 70 °C in a second. 48 to 60 °C limit products."""
    assert "65 to 70 °C" in CoolingForm.caution
    assert "ISO 13732-1, from a secondary source" in CoolingForm.caution
    assert not re.search(r"\b(48|51|55|56|60) °C", CoolingForm.caution)
