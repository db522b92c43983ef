"""A charge as last time: when it is offered, that nothing is answered beforehand, and what stops it.

The limits of temperature and voltage and their sources are those of a charge by steps
(`pitapp/packs/safety.py`); what counts as changed is this program's own choice.
"""

from __future__ import annotations

import json
import re
import sqlite3
from datetime import timedelta
from html import unescape
from typing import Any
from uuid import uuid4

import pytest

from pitapp.packs import store
from pitapp.packs.charging import store as charging
from pitapp.packs.charging.again import end_limit
from pitapp.packs.charging.prompts import STEPS
from pitapp.packs.models import ChargerRecord, Reading
from pitapp.packs.planning import store as planning
from tests.packs_walk import add_pack
from tests.support import RACE_MORNING, Clock, PageClient

ALL_SO = {
    "answer": "yes",
    "cell_c": "22.5",
    "cell_v-0": "3.75",
    "cell_v-1": "3.76",
    "end_v": "8.4",
    "cells_set": "2",
    "current_a": "6",
}
BUTTON = "Charge as last time"


@pytest.fixture
def pack_id(db: sqlite3.Connection) -> int:
    return add_pack(db)


def charged(db: sqlite3.Connection, pack_id: int, outcome: Any = "done", **changes: Any) -> None:
    """A charge to full that was ended half an hour ago."""
    began = RACE_MORNING - timedelta(hours=2)
    item = charging.prepare(db, str(uuid4()), pack_id, "full", began)
    values = {"cells_set": 2, "current_a": 6.0, "start_percent": 40.0, "due_at": began}
    ready = item.model_copy(update=values | changes)
    charging.start(db, ready, "Started", began)
    charging.finish(db, ready, outcome, 3000, began + timedelta(hours=1, minutes=30))


def text(client: PageClient, path: str) -> str:
    answer = client.get(path, follow_redirects=True)
    assert answer.status_code == 200, path
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))).split())


def read(db: sqlite3.Connection, pack_id: int, minutes_ago: float, **values: Any) -> None:
    moment = RACE_MORNING - timedelta(minutes=minutes_ago)
    store.add_reading(db, Reading(pack_id=pack_id, read_at=moment, **values), moment)


def send(client: PageClient, pack_id: int, uuid: str, **changes: str) -> Any:
    path = f"/packs/{pack_id}/charges/{uuid}/steps/again?purpose=full"
    return client.post_form(path, ALL_SO | changes)


def refused_for(client: PageClient, pack_id: int) -> str:
    assert BUTTON not in text(client, f"/packs/{pack_id}")
    page = text(client, f"/packs/{pack_id}/again")
    assert "Not as last time" in page
    answer = send(client, pack_id, str(uuid4()))
    assert answer.status_code == 409
    return page


def answers(db: sqlite3.Connection) -> dict[str, str]:
    rows = db.execute("SELECT step, shown FROM pack_charge_answers")
    return {row["step"]: row["shown"] for row in rows}


def test_one_page_answers_every_step_and_the_last_look_starts_it(
    client: PageClient, db: sqlite3.Connection, pack_id: int
) -> None:
    charged(db, pack_id)
    assert BUTTON in text(client, f"/packs/{pack_id}")
    page = text(client, f"/packs/{pack_id}/again")
    for step in STEPS:
        assert step.title in page
        for line in step.todo if step.kind != "program" else ():
            assert " ".join(line.split()) in page
    assert "2 cells, 6 A" in page
    assert "It ends at 8.4 V at most" in page
    uuid = str(uuid4())
    assert send(client, pack_id, uuid).headers["Location"].endswith(f"/packs/charges/{uuid}")
    stored = answers(db)
    assert {step.key for step in STEPS} < set(stored)
    assert (stored["cells"], stored["warmth"], stored["end_v"]) == ("[3.75, 3.76]", "22.5", "8.4")
    assert json.loads(stored["program"]) == {"cells_set": 2, "current_a": 6.0}
    last_look = text(client, f"/packs/charges/{uuid}")
    assert "The charger ends at 8.4 V" in last_look
    assert client.post_form(f"/packs/charges/{uuid}/start").status_code == 303
    running = charging.running(db)
    assert [(each.uuid, each.current_a) for each in running] == [(uuid, 6.0)]


def test_nothing_is_answered_beforehand(
    client: PageClient, db: sqlite3.Connection, pack_id: int
) -> None:
    charged(db, pack_id)
    read(db, pack_id, 5, cell_v=(3.8, 3.8), cell_c=22)
    html = client.get(f"/packs/{pack_id}/again").get_data(as_text=True)
    inputs = re.findall(r"<input[^>]*>", html)
    named = {re.search(r'name="([^"]*)"', each)[1]: each for each in inputs}  # type: ignore[index]
    for name in ("cell_c", "cell_v-0", "cell_v-1", "end_v"):
        assert 'value=""' in named[name], name
    assert "checked" not in html
    for missing in ("answer", "cell_c", "cell_v-0", "end_v"):
        answer = send(client, pack_id, str(uuid4()), **{missing: ""})
        assert answer.status_code == 422, missing
    assert answers(db) == {}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"cell_c": "41"}, "Let them cool to the air around them"),
        ({"cell_c": "-1"}, "Let them warm to"),
        ({"cell_v-0": "2.9"}, "under 3.0 V. Do not charge it: retire the pack."),
        ({"cell_v-1": "4.3"}, "over 4.25 V. Do not charge it"),
        ({"cell_v-1": "3.81"}, "The cells are more than 50 mV apart."),
        ({"end_v": "8.7"}, "2 cells end at 8 to 8.4 V. Do not start it"),
        ({"end_v": "12.6"}, "Do not start it: set the charger again."),
        ({"end_v": "7.6"}, "Do not start it: set the charger again."),
        ({"current_a": "5"}, "What was set last time has changed meanwhile."),
        ({"cells_set": "3"}, "What was set last time has changed meanwhile."),
        ({"charger": "9"}, "What was set last time has changed meanwhile."),
        ({"answer": "no"}, "or charge it by steps."),
    ],
)
def test_a_reading_that_stops_a_charge_by_steps_stops_this_one(
    client: PageClient,
    db: sqlite3.Connection,
    pack_id: int,
    changes: dict[str, str],
    sentence: str,
) -> None:
    charged(db, pack_id)
    answer = send(client, pack_id, str(uuid4()), **changes)
    assert answer.status_code == 422
    assert sentence in unescape(answer.get_data(as_text=True))
    assert answers(db) == {}


def test_a_full_cell_is_4_20_volts() -> None:
    """University of Washington, Environmental Health & Safety: a cell is full at 4.2 V."""
    for cells in (1, 2, 3, 4, 6):
        assert end_limit(cells).most == pytest.approx(4.2 * cells)


def test_without_a_charge_on_record_it_goes_by_steps(client: PageClient, pack_id: int) -> None:
    assert "No charge to full is on record yet." in refused_for(client, pack_id)


def test_not_after_swelling_even_when_it_was_marked_good_again(
    client: PageClient, db: sqlite3.Connection, pack_id: int
) -> None:
    charged(db, pack_id)
    store.set_condition(db, pack_id, "damaged", "swollen", RACE_MORNING)
    assert client.get(f"/packs/{pack_id}/again").status_code == 409
    store.set_condition(db, pack_id, "sound", "", RACE_MORNING)
    assert "Its record was changed" in refused_for(client, pack_id)


def test_not_after_it_was_said_to_look_wrong_before_a_charge(
    client: PageClient, db: sqlite3.Connection, pack_id: int, clock: Clock
) -> None:
    charged(db, pack_id)
    uuid = str(uuid4())
    path = f"/packs/{pack_id}/charges/{uuid}/steps/look?purpose=full"
    client.post_form(path, {"answer": "no"})
    client.post_form(f"/packs/charges/{uuid}/remove")
    assert "It was said to look or feel wrong." in refused_for(client, pack_id)


@pytest.mark.parametrize(
    ("readings", "sentence"),
    [
        ([(40, {"cell_c": 47})], "It was hot when it was last read: 47"),
        (
            [
                (300, {"cell_v": (4.19, 4.18), "after_charge": True}),
                (20, {"cell_v": (4.19, 4.165), "after_charge": True}),
            ],
            "Its cells are farther apart than before.",
        ),
        (
            [(300, {"cell_ohm": (0.002, 0.002)}), (20, {"cell_ohm": (0.002, 0.0025)})],
            "Its resistance has grown since the reading before.",
        ),
        ([(20, {"cell_v": (4.26, 4.26), "after_charge": True})], "A cell was over 4.25 V"),
        ([(20, {"cell_v": (4.2, 4.1), "after_charge": True})], "The cells are 100 mV apart."),
    ],
)
def test_not_after_a_hot_pack_or_a_changed_reading(
    client: PageClient,
    db: sqlite3.Connection,
    pack_id: int,
    readings: list[tuple[float, dict[str, Any]]],
    sentence: str,
) -> None:
    charged(db, pack_id)
    for minutes_ago, values in readings:
        read(db, pack_id, minutes_ago, **values)
    assert sentence in refused_for(client, pack_id)


def test_what_was_read_before_the_last_charge_was_gone_through_by_steps(
    client: PageClient, db: sqlite3.Connection, pack_id: int
) -> None:
    read(db, pack_id, 400, cell_ohm=(0.002, 0.002))
    read(db, pack_id, 300, cell_ohm=(0.002, 0.0025), cell_c=47)
    charged(db, pack_id)
    assert BUTTON in text(client, f"/packs/{pack_id}")
    read(db, pack_id, 30, cell_c=47)
    assert BUTTON not in text(client, f"/packs/{pack_id}")
    read(db, pack_id, 5, cell_c=24)
    assert BUTTON in text(client, f"/packs/{pack_id}")


def test_not_after_trouble_a_changed_label_or_while_it_is_on(
    client: PageClient, db: sqlite3.Connection
) -> None:
    wrong = add_pack(db, mark="B")
    charged(db, wrong, "trouble")
    assert "Something was wrong at the last charge." in refused_for(client, wrong)
    relabelled = add_pack(db, mark="C")
    charged(db, relabelled)
    store.save_pack(
        db,
        store.pack(db, relabelled).model_copy(update={"capacity_mah": 4000}),
        RACE_MORNING,
    )
    page = refused_for(client, relabelled)
    assert "Its record was changed" in page
    assert "What was set last time is not what its label says." in page
    # An older charge, of which the record of the pack is not known, is not repeated.
    old = add_pack(db, mark="D")
    charged(db, old)
    db.execute("UPDATE pack_charges SET pack_version = NULL WHERE pack_id = ?", (old,))
    refused_for(client, old)


def test_only_on_the_charger_of_last_time(
    client: PageClient, db: sqlite3.Connection, pack_id: int
) -> None:
    charged(db, pack_id)
    one = ChargerRecord(name="Invented one", outputs=1, amps_per_output=10, watts_per_output=150)
    first, _ = planning.save_charger(db, one, RACE_MORNING)
    assert "The charger of last time is not known." in refused_for(client, pack_id)
    db.execute("UPDATE pack_charges SET charger_id = ?", (first,))
    other = one.model_copy(update={"name": "Invented two"})
    planning.save_charger(db, other, RACE_MORNING)
    page = text(client, f"/packs/{pack_id}/again")
    assert "2 cells, 6 A , balance charge, on Invented one" in page
    uuid = str(uuid4())
    assert send(client, pack_id, uuid, charger="2").status_code == 422
    assert send(client, pack_id, uuid, charger=str(first)).status_code == 303
    client.post_form(f"/packs/charges/{uuid}/start")
    (running,) = charging.running(db)
    assert running.charger_id == first
    client.post_form(f"/packs/charges/{uuid}/end", {"outcome": "done"})
    home = planning.charger_of(db, first).model_copy(update={"at_home": True})
    planning.save_charger(db, home, RACE_MORNING)
    assert "The charger of last time is not along." in refused_for(client, pack_id)


def test_answers_hold_for_half_an_hour_here_too(
    client: PageClient, db: sqlite3.Connection, pack_id: int, clock: Clock
) -> None:
    charged(db, pack_id)
    uuid = str(uuid4())
    send(client, pack_id, uuid)
    clock.tick(31 * 60)
    assert client.post_form(f"/packs/charges/{uuid}/start").status_code == 409
    assert charging.running(db) == []
