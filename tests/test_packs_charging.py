"""A charge by steps: nothing dangerous is started, and the countdown is a moment in the database."""

from __future__ import annotations

import re
import sqlite3
from datetime import timedelta
from uuid import uuid4

import pytest

from pitapp.db import settings
from pitapp.packs import store
from pitapp.packs.charging import refusals
from pitapp.packs.charging import store as charging
from pitapp.packs.charging.prompts import STEPS
from pitapp.packs.models import Reading
from tests.packs_walk import GOOD, add_pack, answer, begin, start, walk
from tests.support import RACE_MORNING, Clock, PageClient


def test_every_step_in_its_order_and_then_the_countdown(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    uuid = begin(client, pack_id)
    for step, following in zip(STEPS, [*STEPS[1:], None], strict=True):
        sent = answer(client, pack_id, uuid, step.key, GOOD[step.key])
        assert sent.status_code == 303
        there = f"/packs/charges/{uuid}"
        if following:
            there = f"/packs/{pack_id}/charges/{uuid}/steps/{following.key}?purpose=full"
        assert sent.location == there
        assert client.get(there).status_code == 200
    assert charging.charge(db, uuid).started_at is None
    assert start(client, uuid).location == f"/packs/charges/{uuid}"
    running = charging.charge(db, uuid)
    assert running.started_at == RACE_MORNING
    assert (running.cells_set, running.current_a, running.discharging) == (2, 6.0, False)
    # From 3.755 V (37.6 % by the published table) 3744 mAh at 6 A are 37 min without constant
    # voltage, which comes on top.
    assert running.start_percent == pytest.approx(37.6, abs=0.1)
    assert running.due_at is not None
    assert timedelta(minutes=37) < running.due_at - RACE_MORNING < timedelta(minutes=75)


DANGEROUS: list[tuple[str, dict[str, str], str]] = [
    ("program", {"cells_set": "2", "current_a": "6.1"}, "Over the label&#39;s rate: 6.1 A"),
    ("program", {"cells_set": "3", "current_a": "6"}, "Wrong cell count: the charger shows 3"),
    ("program", {"cells_set": "1", "current_a": "6"}, "Wrong cell count: the charger shows 1"),
    ("program", {"cells_set": "0", "current_a": "6"}, "A charger shows 1 to 16 cells."),
    ("program", {"cells_set": "2", "current_a": "0"}, "A charger shows 0.01 to 500 A."),
    ("program", {"cells_set": "2", "current_a": "-6"}, "A charger shows 0.01 to 500 A."),
    ("program", {"cells_set": "two", "current_a": "6"}, "Write a number here"),
    ("program", {"cells_set": "2", "current_a": "1e400"}, "That number is too large."),
    ("cells", {"cell_v-0": "2.9", "cell_v-1": "3.7"}, "under 3.0 V. Do not charge it"),
    ("cells", {"cell_v-0": "4.3", "cell_v-1": "4.2"}, "over 4.25 V. Do not charge it"),
    ("cells", {"cell_v-0": "7.4", "cell_v-1": "7.4"}, "cell voltage must be at most 5 V"),
    ("cells", {"cell_v-0": "3.8", "cell_v-1": ""}, "Write every cell, or none."),
    ("cells", {}, "Measure every cell."),
    ("cells", {"cell_v-0": "🔋", "cell_v-1": "3.8"}, "Write a number here"),
    ("warmth", {"cell_c": "-0,5"}, "Let them warm to 0 °C"),
    ("warmth", {"cell_c": "40,5"}, "Let them cool to the air around them, in any case to 40 °C"),
    ("warmth", {"cell_c": "9999"}, "The cells are at 9999 °C. Let them cool"),
    ("warmth", {}, "How warm are the cells?"),
    ("look", {"answer": "maybe"}, "Tap one of the two."),
    ("look", {}, "Tap one of the two."),
]


def test_a_dangerous_or_impossible_answer_is_told_at_its_step(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    for step, values, sentence in DANGEROUS:
        uuid = walk(db, pack_id, leave_out=(step,))
        sent = answer(client, pack_id, uuid, step, values)
        assert sent.status_code == 422, values
        assert sentence in sent.text
        for typed in values.values() if step != "look" else ():
            assert typed in sent.text
        assert start(client, uuid).status_code == 409
        assert charging.charge(db, uuid).started_at is None


def test_the_steps_come_in_the_order_of_the_hand(
    client: PageClient, db: sqlite3.Connection
) -> None:
    """A charger shows cells and is set once the pack is plugged in, where it lies while it charges."""
    pack_id = add_pack(db)
    uuid, asked, key = begin(client, pack_id), [], "look"
    while key:
        asked.append(key)
        location = answer(client, pack_id, uuid, key, GOOD[key]).location
        step = re.search(r"/steps/(\w+)", location)
        key = step[1] if step else ""
    assert sorted(asked) == sorted(GOOD)
    place, plugged_in = asked.index("place"), asked.index("balance")
    assert max(asked.index(each) for each in ("look", "feel", "warmth", "label")) < place
    assert place < plugged_in < min(asked.index("cells"), asked.index("program"))
    assert asked.index("cells") < asked.index("program") < asked.index("stay")
    begun = f"/packs/{pack_id}/charge?purpose="
    runs = [each for each in client.get("/offline/pages").get_json()["runs"] if "start" in each]
    assert {run["begin"] for run in runs} == {f"{begun}full", f"{begun}storage"}
    assert all([step["key"] for step in run["steps"]] == asked for run in runs)


def test_a_step_left_out_refuses_the_start_and_is_named(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    for step in STEPS:
        uuid = walk(db, pack_id, leave_out=(step.key,))
        refused = start(client, uuid)
        assert refused.status_code == 409
        assert f"{step.title}: not done yet.".replace("'", "&#39;") in refused.text
        assert charging.charge(db, uuid).started_at is None


def test_a_no_stays_where_it_is_and_refuses_the_start(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    for step in (one for one in STEPS if one.no):
        uuid = walk(db, pack_id, leave_out=(step.key,))
        sent = answer(client, pack_id, uuid, step.key, {"answer": "no"})
        assert sent.location == f"/packs/{pack_id}/charges/{uuid}/steps/{step.key}?purpose=full"
        told = step.refusal.replace("'", "&#39;")
        assert told in client.get(sent.location).text
        refused = start(client, uuid)
        assert refused.status_code == 409
        assert told in refused.text
    answer(client, pack_id, uuid, step.key, {"answer": "yes"})
    assert start(client, uuid).status_code == 303


@pytest.mark.parametrize(
    ("condition", "sentence"),
    [("damaged", "The pack is damaged (swollen)."), ("retired", "The pack is retired.")],
)
def test_a_damaged_or_retired_pack_is_refused_at_every_door(
    client: PageClient, db: sqlite3.Connection, condition: str, sentence: str
) -> None:
    pack_id = add_pack(db)
    uuid = walk(db, pack_id)
    store.set_condition(db, pack_id, condition, "swollen", RACE_MORNING)  # type: ignore[arg-type]
    for refused in (
        client.get(f"/packs/{pack_id}/charge"),
        answer(client, pack_id, uuid, "look", {"answer": "yes"}),
        start(client, uuid),
    ):
        assert refused.status_code == 409
        assert sentence in refused.text
    assert charging.charge(db, uuid).started_at is None


@pytest.mark.parametrize("purpose", ["full", "storage"])
def test_a_pack_to_be_retired_is_charged_only_by_a_deliberate_second_tap(
    client: PageClient, db: sqlite3.Connection, purpose: str
) -> None:
    pack_id = add_pack(db)
    door = f"/packs/{pack_id}/charge?purpose={purpose}"
    way = "<summary>Charge it all the same</summary>"
    assert way not in client.get(door).text
    low = Reading(pack_id=pack_id, read_at=RACE_MORNING, cell_v=(2.9, 3.7))
    store.add_reading(db, low, RACE_MORNING)
    page = client.get(door).text
    assert "Retire it</b><small>A cell rested at 2.90 V, under 3.0 V.</small>" in page
    hidden = page.split(way)[1].split("</details>")[0]
    assert page.count('name="answer" value="yes"') == hidden.count('name="answer" value="yes"') == 1
    uuid = begin(client, pack_id, purpose)
    answer(client, pack_id, uuid, "look", {"answer": "yes"}, purpose)
    assert way not in client.get(door, follow_redirects=True).text
    client.post_form(f"/packs/{pack_id}/condition", {"condition": "retired"})
    assert store.pack(db, pack_id).condition == "retired"


def test_a_label_that_was_lowered_since_refuses_the_start(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    uuid = walk(db, pack_id)
    lower = store.pack(db, pack_id).model_copy(update={"most_charge_c": 0.5})
    store.save_pack(db, lower, RACE_MORNING)
    refused = start(client, uuid)
    assert refused.status_code == 409
    assert "Over the label&#39;s rate: 6 A is more than 3 A (0.5C)." in refused.text


def test_a_label_with_more_cells_since_refuses_the_start(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    uuid = walk(db, pack_id)
    more = store.pack(db, pack_id).model_copy(update={"cells_series": 3})
    store.save_pack(db, more, RACE_MORNING)
    refused = start(client, uuid)
    assert refused.status_code == 409
    assert "Wrong cell count: the charger shows 2, the pack has 3 in series." in refused.text


def test_a_label_with_fewer_cells_since_asks_for_the_cells_again(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    uuid = walk(db, pack_id)
    fewer = store.pack(db, pack_id).model_copy(update={"cells_series": 1})
    store.save_pack(db, fewer, RACE_MORNING)
    refused = start(client, uuid)
    assert refused.status_code == 409
    assert "Wrong cell count: the charger shows 2, the pack has 1 in series." in refused.text
    assert "Measure each cell: not done yet." in refused.text


def test_the_formula_has_the_last_word(
    client: PageClient, db: sqlite3.Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    uuid = walk(db, add_pack(db), warmth="50.0")
    monkeypatch.setattr(refusals, "judge_answers", lambda *_: [])
    refused = start(client, uuid)
    assert refused.status_code == 409
    assert (
        "The cells are at 50 °C. Let them cool to the air around them, in any case to 40 °C or less."
        in refused.text
    )


@pytest.mark.parametrize("minutes", [31, -31], ids=["old", "the clock went back"])
def test_old_answers_do_not_hold(
    client: PageClient, db: sqlite3.Connection, clock: Clock, minutes: int
) -> None:
    uuid = walk(db, add_pack(db))
    clock.tick(minutes * 60)
    refused = start(client, uuid)
    assert refused.status_code == 409
    assert "more than half an hour old" in refused.text


def test_one_pack_is_on_one_charger(client: PageClient, db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    second = walk(db, pack_id, purpose="storage")
    first = walk(db, pack_id)
    assert start(client, first).status_code == 303
    refused = start(client, second)
    assert refused.status_code == 409
    assert "on the charger already" in refused.text
    assert client.get(f"/packs/{pack_id}/charge").location == f"/packs/charges/{first}"


def test_a_start_that_arrives_late_counts_from_its_tap(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    prompt, late = walk(db, add_pack(db)), walk(db, add_pack(db, mark="B"))
    start(client, prompt)
    clock.tick(40 * 60)
    tapped = {"X-Waited-Seconds": str(40 * 60)}
    assert client.post_form(f"/packs/charges/{late}/start", headers=tapped).status_code == 303
    one, other = charging.charge(db, prompt), charging.charge(db, late)
    assert (other.started_at, other.due_at) == (one.started_at, one.due_at)


def test_a_start_sent_twice_is_one_start(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    uuid = walk(db, add_pack(db))
    start(client, uuid)
    due_at = charging.charge(db, uuid).due_at
    clock.tick(600)
    assert start(client, uuid).status_code == 303
    assert charging.charge(db, uuid).due_at == due_at


def test_a_replayed_answer_counts_once(client: PageClient, db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    uuid, key = str(uuid4()), {"Idempotency-Key": str(uuid4())}
    address = f"/packs/{pack_id}/charges/{uuid}/steps/look"
    first = client.post_form(address, {"answer": "yes"}, headers=key)
    again = client.post_form(address, {"answer": "yes"}, headers=key)
    assert (first.status_code, again.status_code) == (303, 303)
    assert again.headers["Idempotent-Replayed"] == "true"
    assert charging.answers(db, charging.charge(db, uuid).id) == {"look": "yes"}


def test_the_temperature_is_asked_and_refused_in_the_racers_unit(
    client: PageClient, db: sqlite3.Connection
) -> None:
    settings.save(db, "temperature_unit", "imperial")
    pack_id = add_pack(db)
    uuid = walk(db, pack_id, leave_out=("warmth",))
    page = client.get(f"/packs/{pack_id}/charges/{uuid}/steps/warmth").text
    assert "Charge at 32 °F to 104 °F: US Fire Administration." in page  # 0 and 40 °C
    assert "slow down under 50 °F and stop at 113 °F (Texas Instruments" in page  # 10 and 45 °C
    refused = answer(client, pack_id, uuid, "warmth", {"cell_c": "31"})
    assert (
        "The cells are at 31 °F. Let them warm to 32 °F or more in a room first, never on a heater."
        in refused.text
    )
    assert answer(client, pack_id, uuid, "warmth", {"cell_c": "77"}).status_code == 303
    assert float(charging.answers(db, 1)["warmth"]) == pytest.approx(25)


def test_another_packs_charge_cannot_be_answered(
    client: PageClient, db: sqlite3.Connection
) -> None:
    uuid = walk(db, add_pack(db))
    refused = answer(client, add_pack(db, mark="B"), uuid, "look", {"answer": "yes"})
    assert refused.status_code == 409


def test_a_run_through_is_taken_up_where_it_was_left(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    pack_id = add_pack(db)
    uuid = begin(client, pack_id)
    answer(client, pack_id, uuid, "look", {"answer": "yes"})
    clock.tick(60)
    taken_up = client.get(f"/packs/{pack_id}/charge?purpose=full")
    assert taken_up.location == f"/packs/{pack_id}/charges/{uuid}/steps/feel?purpose=full"
    clock.tick(3600)
    assert begin(client, pack_id) != uuid


def test_more_minutes_and_the_end(client: PageClient, db: sqlite3.Connection, clock: Clock) -> None:
    pack_id = add_pack(db)
    uuid = walk(db, pack_id)
    start(client, uuid)
    due_at = charging.charge(db, uuid).due_at
    assert due_at is not None
    client.post_form(f"/packs/charges/{uuid}/longer", {"minutes": "10"})
    assert charging.charge(db, uuid).due_at == due_at + timedelta(minutes=10)
    clock.set(due_at + timedelta(hours=1))
    client.post_form(f"/packs/charges/{uuid}/longer", {"minutes": "5"})
    assert charging.charge(db, uuid).due_at == due_at + timedelta(hours=1, minutes=5)
    for nonsense in ("0", "-5", "many", "99999", ""):
        sent = client.post_form(f"/packs/charges/{uuid}/longer", {"minutes": nonsense})
        assert sent.status_code == 400
    wrong = client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "done", "moved_mah": "lots"})
    assert wrong.status_code == 422
    assert "lots" in wrong.text
    assert client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "?"}).status_code == 422
    sent = client.post_form(
        f"/packs/charges/{uuid}/end", {"outcome": "done", "moved_mah": "3711,5"}
    )
    assert sent.location == f"/packs/{pack_id}"
    ended = charging.charge(db, uuid)
    assert (ended.outcome, ended.moved_mah) == ("done", 3711.5)
    assert client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "done"}).status_code == 409
    assert client.get(f"/packs/charges/{uuid}").status_code == 200


def test_trouble_leads_to_what_to_do_and_to_the_mark(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    uuid = walk(db, pack_id)
    start(client, uuid)
    sent = client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "trouble"})
    page = client.get(sent.location).text
    assert page.count("let go of it.") == 2  # behind the one tap, and open at once
    assert re.search(r'<input[^>]*checked[^>]*value="damaged"', page)
    assert store.pack(db, pack_id).condition == "sound"


def test_storage_goes_the_right_way_and_puts_the_pack_away(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    fast = '{"cells_set": 2, "current_a": 20.0}'
    uuid = walk(db, pack_id, "storage", cells="[4.2, 4.2]", program=fast)
    start(client, uuid)
    running = charging.charge(db, uuid)
    assert (running.discharging, running.purpose) == (True, "storage")
    # 3.825 V is 57.3 % by the published table: 42.7 % of 6000 mAh at 20 A.
    assert running.due_at == RACE_MORNING + timedelta(seconds=int(0.42727 * 6 / 20 * 3600))
    client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "done"})
    assert [one.stored_at for one in store.storages(db, pack_id)] == [RACE_MORNING]


def test_a_pack_at_storage_already_is_not_started(
    client: PageClient, db: sqlite3.Connection
) -> None:
    uuid = walk(db, add_pack(db), "storage", cells="[3.82, 3.83]")
    assert "At storage already" in client.get(f"/packs/charges/{uuid}").text
    assert start(client, uuid).status_code == 409


def test_undo_of_a_start_and_of_an_end(client: PageClient, db: sqlite3.Connection) -> None:
    uuid = walk(db, add_pack(db))
    start(client, uuid)
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC LIMIT 1").fetchone()[0]
    assert client.post_form(f"/undo/{token}").status_code == 303
    assert charging.charge(db, uuid).started_at is None
    start(client, uuid)
    client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "stopped"})
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC LIMIT 1").fetchone()[0]
    client.post_form(f"/undo/{token}")
    assert charging.charge(db, uuid).ended_at is None


@pytest.mark.parametrize(
    "address",
    [
        "/packs/charges/not-a-uuid",
        "/packs/charges/3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70",
        "/packs/1/charges/3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70/steps/look",
        "/packs/77/charge",
        "/packs/99999999999999999999/charge",
    ],
)
def test_what_is_not_there_is_not_there(client: PageClient, address: str) -> None:
    assert client.get(address).status_code == 404


def test_the_clock_gives_back_what_was_asked(client: PageClient) -> None:
    told = client.get("/packs/clock?again=abc")
    assert told.json == {"now_ms": int(RACE_MORNING.timestamp() * 1000), "again": "abc"}
    assert told.headers["Cache-Control"] == "no-store"
