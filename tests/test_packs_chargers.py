"""Several chargers, and nobody who watches: what the plan asks, says and counts on."""

from __future__ import annotations

import random
import re
import sqlite3
from dataclasses import replace
from datetime import timedelta
from html import unescape
from itertools import pairwise
from typing import Any

import pytest

from pitapp.kit import store as kit
from pitapp.packs import store
from pitapp.packs.charging import store as charging
from pitapp.packs.formulas import Charger, Heat, PlanPack, PlanRules, Running, plan_charging
from pitapp.packs.planning import store as planning
from tests.packs_walk import CHARGER, GOOD, add_pack, answer, begin, start, walk
from tests.support import RACE_MORNING, Clock, PageClient
from tests.test_packs_late import CAR
from tests.test_packs_planning import at, at_rest, kept, planned, race_day

SLOW = Charger(1, 3, 100, 3, 100, name="slow")
QUICK = Charger(1, 6, 100, 6, 100, name="quick")
SECOND = {
    "name": "Invented second",
    "outputs": "1",
    "amps_per_output": "10",
    "watts_per_output": "150",
    "discharge_a": "1",
}


def pack(name: str, percent: float = 40.0) -> PlanPack:
    return PlanPack(name, 2, 6000, 1.0, percent, 0.003)


def main_text(client: PageClient, path: str = "/packs/plan") -> str:
    page = client.get(path).text
    main = page[page.index("<main") : page.index("</main>")]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())


# --- days that can be checked by hand -------------------------------------------------------------


def test_two_chargers_of_one_output_do_what_one_of_two_does() -> None:
    heats = [Heat(100, 6, 3000), Heat(110, 6, 3000)]
    both = plan_charging(heats, [pack("A"), pack("B")], [QUICK, QUICK])
    one = plan_charging(heats, [pack("A"), pack("B")], Charger(2, 6, 100, 12, 200))
    assert both.heats_without == one.heats_without == 0
    assert both.full_min == one.full_min == 0
    charges = {todo[0].charger for todo in both.steps.values()}
    assert charges == {0, 1}


def test_the_slow_charger_takes_the_pack_that_has_time() -> None:
    """60 % of 6 Ah: 36 min and a little at 6 A (40), twice that at 3 A (about 75); both end at 100."""
    heats = [Heat(100, 6, 3000), Heat(100, 6, 3000)]
    plan = plan_charging(heats, [pack("A"), pack("B")], [SLOW, QUICK])
    by_charger = {todo[0].charger: todo[0] for todo in plan.steps.values()}
    assert (by_charger[1].start_min, by_charger[1].end_min, by_charger[1].amps) == (60, 100, 6)
    assert by_charger[0].amps == 3
    assert by_charger[0].end_min == 100
    assert 70 <= by_charger[0].end_min - by_charger[0].start_min <= 80
    assert plan.full_min == 0


def test_a_charge_is_stopped_while_nobody_watches_and_taken_up_again() -> None:
    """40 min of charge for 100, away from 70 to 90: 10 min after it, 30 before."""
    plan = plan_charging([Heat(100, 6, 3000)], [pack("A")], QUICK, away=[(70, 90)])
    charge = plan.steps["A"][0]
    assert charge.pieces == ((40, 70), (90, 100))
    assert (charge.start_min, charge.end_min) == (40, 100)
    assert plan.stops == 1


def test_what_is_on_already_is_stopped_too() -> None:
    """25 min lack, away from 10 to 30: off at 45, and with a margin of 10 for the heat at 55."""
    on_it = PlanPack("A", 2, 6000, 1.0, 100, 0.003, charging_until_min=25)
    heats = [Heat(54, 6, 3000), Heat(55, 6, 3000)]
    plan = plan_charging(
        heats,
        [on_it],
        QUICK,
        PlanRules(margin_min=10),
        running=[Running(25, 6, 50, 0)],
        away=[(10, 30)],
    )
    assert plan.running == (((0, 10), (30, 45)),)
    assert [heat.full for heat in plan.heats] == [False, True]


def test_storage_waits_until_somebody_is_there() -> None:
    plan = plan_charging(
        [Heat(100, 6, 3000)], [pack("A"), pack("B", 0)], QUICK, away=[(100, 106), (120, 130)]
    )
    pieces = [piece for todo in plan.steps.values() for step in todo for piece in step.pieces]
    assert all(end <= 100 or begin >= 106 for begin, end in pieces)
    assert all(end <= 120 or begin >= 130 for begin, end in pieces)


@pytest.mark.parametrize("seed", range(3))
def test_a_day_with_far_too_little_time_gets_what_can_be_had(seed: int) -> None:
    """Twelve heats 25 min apart, nobody there for 24 min of them: what is charged before the first
    heats serves several at least, however little is searched for better."""
    rng = random.Random(seed)
    heats = [Heat(120 + 25 * number + rng.random(), 6, 3500) for number in range(12)]
    packs = [replace(pack(f"P{number}", 50 * rng.random()), most_c_rate=2) for number in range(8)]
    chargers = [Charger(4, 10, 150, 40, 600), Charger(2, 5, 60, 10, 120)]
    away = [(heat.start_min - 5, heat.start_min + 19) for heat in heats]
    rules = PlanRules(most_full_min=60, margin_min=10)
    plan = plan_charging(heats, packs, chargers, rules, away=away, most_states=2000)
    assert plan.heats_without <= 9


@pytest.mark.parametrize(
    ("chargers", "more", "words"),
    [
        ([], {}, "needs a charger"),
        ([QUICK] * 9, {}, "at most 8 chargers"),
        ([QUICK], {"running": [Running(5, 1, 8, 1)]}, "not among those given"),
        ([QUICK], {"away": [(9, 3)]}, "ends before it begins"),
        ([QUICK], {"away": [(float("nan"), 3)]}, "nobody watches"),
    ],
)
def test_impossible_chargers_are_refused(
    chargers: list[Charger], more: dict[str, Any], words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        plan_charging([Heat(100, 6, 3000)], [pack("A")], chargers, **more)


# --- asked once, and counted on -------------------------------------------------------------------


def test_who_watches_is_asked_once_a_meeting(client: PageClient, db: sqlite3.Connection) -> None:
    at_rest(db, "A", 3.83)
    meeting_id = race_day(db, 90, 180)
    unasked = {name: value for name, value in CHARGER.items() if name != "watched"}
    sent = client.post_form("/packs/plan/settings", unasked | {"along": "1"})
    assert sent.status_code == 422
    assert 'id="watched-error"' in sent.text
    assert planning.plan(db, meeting_id) is None
    client.post_form("/packs/plan/chargers/new", SECOND)
    sent = client.post_form("/packs/plan/make")
    assert sent.status_code == 422
    assert "Who watches the chargers" in sent.text
    assert client.post_form("/packs/plan/make", {"watched": "no"}).status_code == 303
    record = planning.plan(db, meeting_id)
    assert record is not None
    assert record.watched is False
    assert "Who watches" not in main_text(client)
    assert client.post_form("/packs/plan/make").status_code == 303
    assert client.post_form("/packs/plan/late", {"minutes": "5"}).status_code == 303
    record = planning.plan(db, meeting_id)
    assert record is not None
    assert record.watched is False
    assert client.post_form("/packs/plan/settings", CHARGER | {"along": "1"}).status_code == 303
    record = planning.plan(db, meeting_id)
    assert record is not None
    assert record.watched is True


def test_with_nobody_nothing_is_on_while_the_racer_is_away(
    client: PageClient, db: sqlite3.Connection
) -> None:
    """Heats at 60 and 100 and marshalling 8 min after each: away from 55 to 79 and from 95 on."""
    for mark in "AB":
        at_rest(db, mark, 3.7)
    plan = planned(
        client, db, race_day(db, 60, 100), watched="no", walk_min="5", margin_min="5", outputs="2"
    )
    away = [(at(55), at(79)), (at(95), at(119))]
    for step in plan.steps:
        assert all(step.ends_at <= begin or step.begins_at >= end for begin, end in away)
    assert plan.alone.startswith("Nobody watches: ")
    assert plan.alone in main_text(client)
    assert not planned(client, db, 1, watched="yes", outputs="2").alone


def test_a_stop_and_what_it_costs_are_said(client: PageClient, db: sqlite3.Connection) -> None:
    """One pack at rest at 3.695 V (20 %): about 50 min at 6 A, planned around marshalling."""
    at_rest(db, "A", 3.695)
    meeting_id = race_day(db, 0, 90)
    plan = planned(client, db, meeting_id, watched="no", walk_min="2", margin_min="10")
    mine = [step for step in plan.steps if step.kind == "charge"]
    assert [(step.piece, step.pieces) for step in mine] == [
        (number, len(mine)) for number in range(1, len(mine) + 1)
    ]
    text = main_text(client)
    for before, after in pairwise(mine):
        assert before.ends_at < after.begins_at
        assert f"{before.ends_at:%H:%M} A: off: nobody watches" in text
        assert f"{after.begins_at:%H:%M} A: on again: charge" in text


def test_a_charge_under_way_is_to_be_stopped(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    on_it = add_pack(db, mark="A")
    item = charging.charge(db, walk(db, on_it))
    changes = {"due_at": at(50), "start_percent": 20.0}
    charging.start(db, item.model_copy(update=changes), "On", RACE_MORNING)
    meeting_id = race_day(db, 30, 80)
    plan = planned(client, db, meeting_id, watched="no", walk_min="3", margin_min="5")
    # Away from 27 to 47 (the heat, the way, marshalling at 38): 23 min lack then.
    assert [(step.begins_at, step.ends_at) for step in plan.running] == [
        (at(0), at(27)),
        (at(47), at(70)),
    ]
    text = main_text(client)
    assert "09:27 A: off: nobody watches" in text
    assert "09:47 A: on again: charge" in text
    assert [(heat.pack_id, heat.full) for heat in plan.heats] == [(None, False), (on_it, True)]
    # Ten minutes longer on the charger are three too many before the second heat, and it ends after.
    charging.extend(db, charging.charge(db, item.uuid), at(60), at(0))
    assert "Heat 2: A is on the charger: full at 10:40, 20 min after the start." in main_text(
        client
    )


def test_a_second_charger_is_planned_with_and_one_at_home_is_not(
    client: PageClient, db: sqlite3.Connection
) -> None:
    for mark in "AB":
        at_rest(db, mark, 3.7)
    meeting_id = race_day(db, 70, 75)
    plan = planned(client, db, meeting_id)
    assert [heat.full for heat in plan.heats].count(False) == 1
    assert client.post_form("/packs/plan/chargers/new", SECOND).location == "/packs/plan"
    assert "out of date" in main_text(client)
    client.post_form("/packs/plan/make")
    plan = kept(db, meeting_id)
    assert all(heat.full for heat in plan.heats)
    first, second = planning.chargers(db)
    assert {step.charger_id for step in plan.steps if step.kind == "charge"} == {
        first.id,
        second.id,
    }
    assert "Invented second" in main_text(client)
    page = client.get(f"/packs/plan/chargers/{second.id}")
    assert page.status_code == 200
    sent = client.post_form(f"/packs/plan/chargers/{second.id}", SECOND | {"at_home": "y"})
    assert sent.location == "/packs/plan"
    client.post_form("/packs/plan/make")
    assert [heat.full for heat in kept(db, meeting_id).heats].count(False) == 1
    again = client.post_form(f"/packs/plan/chargers/{second.id}", SECOND)
    assert again.status_code == 409
    client.post_form(f"/packs/plan/chargers/{second.id}", SECOND | {"version": "2"})
    client.post_form(f"/packs/plan/chargers/{first.id}/remove")
    assert [each.id for each in planning.chargers(db)] == [second.id]
    token = re.findall(r'action="/undo/([^"]+)"', client.get("/packs/plan").text)[-1]
    assert client.get(f"/packs/plan/chargers/{first.id}").status_code == 404
    client.post_form(f"/undo/{token}")
    assert len(planning.chargers(db)) == 2


@pytest.mark.parametrize(
    ("field", "value"),
    [("outputs", "0"), ("amps_per_output", "x"), ("name", ""), ("discharge_a", "")],
)
def test_a_bad_charger_stays_with_a_sentence(
    client: PageClient, db: sqlite3.Connection, field: str, value: str
) -> None:
    sent = client.post_form("/packs/plan/chargers/new", SECOND | {field: value})
    assert sent.status_code == 422
    assert f'id="{field}-error"' in sent.text
    assert planning.chargers(db) == []


# --- what would help ------------------------------------------------------------------------------


def helps(plan: Any) -> str:
    return " ".join(plan.helps)


def test_what_would_help_is_found_by_solving_again(
    client: PageClient, db: sqlite3.Connection
) -> None:
    """Packs of 6 Ah at 58 % and one output of 2 A: 75 min at the least for what lacks, and the slow
    end; at 6 A a third of it and the slow end."""
    for mark in "AB":
        at_rest(db, mark, 3.83)
    meeting_id = race_day(db, 70)
    plan = planned(client, db, meeting_id, amps_per_output="2", margin_min="5")
    assert [heat.full for heat in plan.heats] == [False]
    said = helps(plan)
    assert "Invented charger with 6 A on its output: every heat has a full pack." in said
    assert "One more pack like A, brought full: every heat has a full pack." in said
    assert "Somebody" not in said
    assert plan.helps[0] in main_text(client)
    assert not planned(client, db, meeting_id, amps_per_output="6", margin_min="5").helps


def test_somebody_who_watches_would_help(client: PageClient, db: sqlite3.Connection) -> None:
    """A is full for the heat at 20; B lacks 40 min for the one at 60, and nobody is there from 15 to
    39, nor from 55 on: 31 min."""
    at_rest(db, "A", 4.2)
    at_rest(db, "B", 3.83)
    plan = planned(client, db, race_day(db, 20, 60), watched="no", margin_min="5", walk_min="5")
    assert [heat.full for heat in plan.heats] == [True, False]
    assert "Somebody who watches while you drive or marshal: every heat has a full pack." in helps(
        plan
    )
    assert "1 more heat without a full pack" in plan.alone


def test_where_nothing_helps_it_says_so(client: PageClient, db: sqlite3.Connection) -> None:
    at_rest(db, "A", 3.695)
    plan = planned(client, db, race_day(db, 2, 3, 4))
    assert [heat.full for heat in plan.heats] == [False] * 3
    assert "One more pack like A, brought full: 2 heats without" in helps(plan)
    store.set_condition(db, 1, "retired", "", RACE_MORNING)
    client.post_form("/packs/plan/make")
    assert not kept(db, 1).helps  # any sound pack would: it is not said that none would


def test_a_heat_that_asks_too_much_of_every_pack(
    client: PageClient, db: sqlite3.Connection
) -> None:
    """A run of 5.6 Ah leaves under 10 % of 6 Ah: neither amps nor another pack like it help."""
    at_rest(db, "A", 3.83)
    plan = planned(client, db, race_day(db, 300), used_mah="5600")
    assert "no pack is large enough for it" in plan.conflicts[0]
    assert helps(plan).startswith("No one thing would help")
    assert "one more pack" in helps(plan)


# --- the charge by steps --------------------------------------------------------------------------


def two_chargers(client: PageClient, db: sqlite3.Connection) -> tuple[int, int]:
    first = CHARGER | {"along": "1"}
    race_day(db, 300)
    assert client.post_form("/packs/plan/settings", first).status_code == 303
    client.post_form("/packs/plan/chargers/new", SECOND)
    one, other = planning.chargers(db)
    return one.id, other.id


def test_with_two_chargers_it_is_asked_which(client: PageClient, db: sqlite3.Connection) -> None:
    pack_id = at_rest(db, "A", 3.75)
    uuid = begin(client, pack_id)
    alone = answer(client, pack_id, uuid, "program", GOOD["program"])
    assert alone.status_code == 303
    _, other = two_chargers(client, db)
    uuid = walk(db, pack_id, leave_out=("program",))
    page = client.get(f"/packs/{pack_id}/charges/{uuid}/steps/program?purpose=full").text
    assert "Which charger" in page
    assert "checked" not in page[page.index("Which charger") :]
    sent = answer(client, pack_id, uuid, "program", GOOD["program"])
    assert sent.status_code == 422
    assert 'id="charger-error"' in sent.text
    bad = answer(client, pack_id, uuid, "program", GOOD["program"] | {"charger": "99"})
    assert bad.status_code == 422
    good = answer(client, pack_id, uuid, "program", GOOD["program"] | {"charger": str(other)})
    assert good.status_code == 303
    assert start(client, uuid).status_code == 303
    assert charging.charge(db, uuid).charger_id == other
    assert "Invented second" in main_text(client, f"/packs/charges/{uuid}")
    # Its output is taken, and not the first charger's.
    waiting = at_rest(db, "B", 3.75)
    client.post_form("/packs/plan/make")
    begins = {step.charger_id for step in kept(db, 1).steps if step.pack_id == waiting}
    assert begins


def test_the_only_charger_is_noted_without_a_question(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = at_rest(db, "A", 3.75)
    one, other = two_chargers(client, db)
    client.post_form(f"/packs/plan/chargers/{other}", SECOND | {"at_home": "y"})
    uuid = walk(db, pack_id, leave_out=("program",))
    assert answer(client, pack_id, uuid, "program", GOOD["program"]).status_code == 303
    start(client, uuid)
    assert charging.charge(db, uuid).charger_id == one


def test_a_stopped_charge_is_taken_up_again_by_every_step(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    """Half an hour at 6 A is 3 Ah, half of the pack; the plan counts with it."""
    pack_id = at_rest(db, "A", 3.695)
    meeting_id = race_day(db, 40, 200)
    planned(client, db, meeting_id, watched="no")
    uuid = walk(db, pack_id, cells="[3.695, 3.695]")
    start(client, uuid)
    text = main_text(client, f"/packs/charges/{uuid}")
    assert "Take it off by 09:35" in text
    clock.set(at(36))
    assert "Take it off now" in main_text(client, f"/packs/charges/{uuid}")
    clock.set(at(30))
    client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "stopped"})
    ended = client.get(f"/packs/charges/{uuid}").text
    assert f'href="/packs/{pack_id}/charge?purpose=full"' in ended
    assert "Take it off by" not in ended
    again = client.get(f"/packs/{pack_id}/charge?purpose=full").text
    assert "Look at it" in again
    assert uuid not in again
    client.post_form("/packs/plan/make")
    charge = next(step for step in kept(db, meeting_id).steps if step.kind == "charge")
    # From 70 % at 6 A: 18 min at constant current at the least, and not the 48 from 20 %.
    assert timedelta(minutes=18) <= charge.ends_at - charge.begins_at < timedelta(minutes=48)


def test_the_board_says_what_must_be_off_before_the_racer_goes(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    kit.save_car(db, CAR, RACE_MORNING)
    pack_id = at_rest(db, "A", 3.695)
    planned(client, db, race_day(db, 40, 200), watched="no")
    start(client, walk(db, pack_id, cells="[3.695, 3.695]"))
    assert "nobody watches" not in main_text(client, "/")
    clock.set(at(21))
    assert "A off by 09:35: nobody watches while you drive or marshal" in main_text(client, "/")
    clock.set(at(36))
    assert "A off now: nobody watches" in main_text(client, "/")
    client.post_form("/packs/plan/make", {"watched": "yes"})
    assert "nobody watches" not in main_text(client, "/")
