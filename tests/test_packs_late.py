"""No heat is given a pack that is still on the charger; where none can be ready, it says by how much."""

from __future__ import annotations

import re
import sqlite3
from html import unescape
from typing import Any, Literal

import pytest

from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.packs import store
from pitapp.packs.charging import store as charging
from pitapp.packs.models import DayPlan, Reading
from pitapp.packs.planning import store as planning
from pitapp.runs import store as runs
from tests.packs_walk import add_pack, walk
from tests.runs_support import a_run
from tests.support import Clock, PageClient
from tests.test_packs_planning import CHARGER, at, at_rest, kept, planned, race_day

CAR = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)


def on_the_charger(
    db: sqlite3.Connection,
    pack_id: int,
    due: float,
    purpose: Literal["full", "storage"] = "full",
    begun: float = 0,
    **more: Any,
) -> str:
    item = charging.charge(db, walk(db, pack_id, purpose))
    figures = {"due_at": at(due), "start_percent": 20.0, "current_a": 6.0} | more
    charging.start(db, item.model_copy(update=figures), "On", at(begun))
    return item.uuid


def shown(client: PageClient) -> str:
    page = client.get("/packs/plan").text
    main = page[page.index("<main") : page.index("</main>")]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())


def test_a_heat_is_not_given_the_pack_that_is_on_the_charger_past_its_start(
    client: PageClient, db: sqlite3.Connection
) -> None:
    """The pack is full 18 min after the heat's start, and for the second heat in time."""
    on_it = add_pack(db, mark="A")
    on_the_charger(db, on_it, 28)
    meeting_id = race_day(db, 10, 60)
    plan = planned(client, db, meeting_id, margin_min="10")
    assert [(heat.pack_id, heat.full) for heat in plan.heats] == [(None, False), (on_it, True)]
    (sentence,) = plan.conflicts
    assert sentence.startswith("Heat 1 has no full pack. ")
    assert "A is full at 09:28, 18 min after the start" in sentence
    text = shown(client)
    assert sentence in text
    assert "09:10 Heat 1: no pack A full at 09:28 at the earliest, 18 min after the start" in text
    assert "now A: on the charger until about today 09:28" in text


def test_the_margin_counts_from_the_end_of_the_charge(
    client: PageClient, db: sqlite3.Connection
) -> None:
    on_it = add_pack(db, mark="A")
    on_the_charger(db, on_it, 28)
    meeting_id = race_day(db, 35)
    plan = planned(client, db, meeting_id, margin_min="7")
    assert plan.heats[0].pack_id == on_it
    plan = planned(client, db, meeting_id, margin_min="8")
    assert plan.heats[0].pack_id is None
    assert "A is full at 09:28, only 7 min before the start." in plan.conflicts[0]


def test_a_charge_ends_so_long_before_its_heat_as_was_asked(
    client: PageClient, db: sqlite3.Connection
) -> None:
    at_rest(db, "A", 3.83)
    meeting_id = race_day(db, 90)
    without = {name: value for name, value in CHARGER.items() if name != "margin_min"}
    sent = client.post_form("/packs/plan/settings", without | {"along": "1"})
    assert sent.status_code == 303
    assert kept(db, meeting_id).steps[0].ends_at == at(80)
    assert 'name="margin_min" value="10"' in client.get("/packs/plan/settings").text
    plan = planned(client, db, meeting_id, margin_min="25")
    assert plan.steps[0].ends_at == at(65)
    client.post_form("/packs/plan/settings", without | {"along": "1"})
    assert kept(db, meeting_id).steps[0].ends_at == at(65)
    sent = client.post_form(
        "/packs/plan/settings", CHARGER | {"along": "1", "margin_min": "30", "most_full_min": "20"}
    )
    assert sent.status_code == 422
    assert 'id="most_full_min-error"' in sent.text


def test_a_pack_on_its_way_to_storage_is_not_taken_for_full(
    client: PageClient, db: sqlite3.Connection
) -> None:
    on_it = add_pack(db, mark="A")
    on_the_charger(db, on_it, 30, "storage")
    plan = planned(client, db, race_day(db, 40, 120))
    assert [heat.full for heat in plan.heats] == [False, True]
    charge = next(step for step in plan.steps if step.kind == "charge")
    assert charge.begins_at >= at(30)


def test_a_pack_that_is_not_planned_with_keeps_its_output_all_the_same(
    client: PageClient, db: sqlite3.Connection
) -> None:
    """One output, taken until 09:50 by a pack left out; a charge of 40 min is too late for 10:00."""
    away, mine = add_pack(db, mark="A"), at_rest(db, "B", 3.83)
    on_the_charger(db, away, 50)
    plan = planned(client, db, race_day(db, 60, 150), along=[mine])
    assert [heat.pack_id for heat in plan.heats] == [None, mine]
    assert all(step.begins_at >= at(50) for step in plan.steps)


def test_what_is_on_the_charger_draws_its_amps_until_it_ends(
    client: PageClient, db: sqlite3.Connection
) -> None:
    """8 A in all and 6 A drawn until 09:50: nothing of 6 A goes beside it, though an output is free."""
    on_it, mine = add_pack(db, mark="A"), at_rest(db, "B", 3.83)
    on_the_charger(db, on_it, 50)
    plan = planned(client, db, race_day(db, 150, 155), outputs="2", amps_in_all="8")
    assert all(step.begins_at >= at(50) for step in plan.steps if step.pack_id == mine)


def test_a_pack_found_hot_is_left_to_cool(client: PageClient, db: sqlite3.Connection) -> None:
    pack_id = at_rest(db, "A", 3.83)
    meeting_id = race_day(db, 45)
    assert planned(client, db, meeting_id).heats[0].full
    warm = Reading(pack_id=pack_id, read_at=at(-1), cell_c=52.0)
    store.add_reading(db, warm, at(-1))
    client.post_form("/packs/plan/make")
    assert not kept(db, meeting_id).heats[0].full


# --- a plan that no longer holds ------------------------------------------------------------------


@pytest.fixture
def made(client: PageClient, db: sqlite3.Connection) -> DayPlan:
    """A planned day: pack A, full, for 09:40; B, charged from 10:20 to 11:00, for 11:10."""
    kit.save_car(db, CAR, at(-60))
    at_rest(db, "A", 4.2)
    at_rest(db, "B", 3.83)
    return planned(client, db, race_day(db, 40, 130), margin_min="10", cooling_min="100")


def test_while_nothing_speaks_against_it_the_plan_stands(
    client: PageClient, made: DayPlan, clock: Clock
) -> None:
    assert [heat.pack_id for heat in made.heats] == [1, 2]
    for minutes in (0, 30, 45, 100, 125):
        clock.set(at(minutes))
        assert "The plan counts on it." not in shown(client)


def test_a_charge_put_on_late_is_said_at_its_heat(
    client: PageClient, db: sqlite3.Connection, made: DayPlan, clock: Clock
) -> None:
    clock.set(at(105))
    on_the_charger(db, 2, 148, begun=105)
    text = shown(client)
    late = "is on the charger: full at 11:28, 18 min after the start"
    assert f"Heat 2: B {late}." in text
    assert f"11:10 Heat 2: pack B {late}" in text
    assert text.count("The plan counts on it.") == 1


@pytest.mark.parametrize("began", [10, -1])
def test_a_pack_used_before_its_turn_is_said_at_its_heat(
    client: PageClient, db: sqlite3.Connection, made: DayPlan, clock: Clock, began: int
) -> None:
    """Also where the run is noted after the plan was made, with its heat's earlier time."""
    clock.set(at(15))
    runs.save_run(db, a_run(pack_id=1, track_id=None, started_at=at(began)), at(15))
    # Cool 106 min after the run began (6, and 100 of cooling), and 3.6 Ah at 6 A are 36 min at least.
    late = re.search(r"Heat 1: A is not full: full at (\d\d):(\d\d) at the earliest", shown(client))
    assert late
    assert int(late[1]) * 60 + int(late[2]) >= 9 * 60 + began + 106 + 36
    clock.set(at(60))
    assert "The plan counts on it." not in shown(client)


@pytest.mark.parametrize("condition", ["damaged", "retired"])
def test_a_pack_that_is_not_to_be_raced_is_said_at_its_heat(
    client: PageClient, db: sqlite3.Connection, made: DayPlan, condition: Any
) -> None:
    store.set_condition(db, 1, condition, "", at(1))
    assert f"Heat 1: A is {condition}." in shown(client)
    store.remove(db, "packs", 1, "Removed", at(2))
    assert "Heat 1: its pack was removed." in shown(client)


def test_the_pack_in_the_car_goes_into_the_first_heat_among_its_like(
    client: PageClient, db: sqlite3.Connection
) -> None:
    car_id, _ = kit.save_car(db, CAR, at(-60))
    at_rest(db, "A", 4.2)
    put_in = at_rest(db, "B", 4.2)
    store.put_in(db, car_id, CAR.name, put_in, at(0))
    meeting_id = race_day(db, 30, 60)
    assert planned(client, db, meeting_id).heats[0].pack_id == put_in
    assert planning.plan(db, meeting_id) is not None
    assert len(meetings.heats(db, meeting_id)) == 4
