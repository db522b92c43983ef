"""The screens of packs: what is typed is kept, what is wrong is told, what is removed comes back."""

from __future__ import annotations

import re
import sqlite3
from datetime import timedelta

import pytest

from pitapp.packs import store
from pitapp.packs.models import Reading
from tests.packs_walk import add_pack
from tests.support import RACE_MORNING, PageClient

PACK = {
    "mark": "A",
    "cells_series": "2",
    "capacity_mah": "6000",
    "most_charge_c": "1,5",
    "version": "1",
}


def test_a_pack_is_added_changed_and_removed(client: PageClient, db: sqlite3.Connection) -> None:
    more = {"bought_on": "2025-02-01", "mass_g": "300", "resistance_new": "1,9"}
    sent = client.post_form("/packs/new", PACK | more)
    assert sent.location == "/packs/1"
    kept = store.pack(db, 1)
    assert (kept.most_charge_c, kept.mass_g, kept.cells_parallel) == (1.5, 300, 1)
    assert kept.resistance_new_ohm == pytest.approx(0.0019)
    page = client.get("/packs/1").text
    # 1.5C of 6 Ah, 2 × 4.20 V, 2 × 3.2 V, 7.4 V × 6 Ah (49 CFR 171.8).
    for name, value in (("most-a", 9.0), ("full-v", 8.4), ("cutoff-v", 6.4), ("energy-wh", 44.4)):
        found = re.search(rf'<data id="{name}" value="([^"]+)"', page)
        assert found is not None
        assert float(found[1]) == pytest.approx(value)
    assert "In the cabin only" in page
    edit = client.get("/packs/1/edit").text
    assert 'value="1.9"' in edit
    assert client.post_form("/packs/1/edit", PACK | {"mark": "B"}).location == "/packs/1"
    stale = client.post_form("/packs/1/edit", PACK | {"mark": "C"})
    assert stale.status_code == 409
    assert "On the other screen this became B." in stale.text
    assert client.post_form("/packs/1/remove").location == "/packs"
    token = re.findall(r'action="/undo/([^"]+)"', client.get("/packs").text)[-1]
    client.post_form(f"/undo/{token}")
    assert [one.mark for one in store.packs(db)] == ["B"]


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("mark", " ", "Write the name on the pack, such as A or 3."),
        ("cells_series", "0", "This must be at least 1."),
        ("cells_series", "2.5", "Write a whole number here."),
        ("capacity_mah", "-6000", "This must be at least 100."),
        ("capacity_mah", "🔋", "Write a number here, such as 6000."),
        ("capacity_mah", "1e999", "That number is too large."),
        ("most_charge_c", "50", "This must be at most 20."),
        ("resistance_new", "0", "A cell has between 0.01 and 5000 mΩ."),
        ("bought_on", "yesterday", "Write a day like"),
        ("mass_g", "0", "This must be more than 0."),
        ("cycles_before", "-1", "This must be at least 0."),
    ],
)
def test_bad_input_stays_with_a_sentence_at_its_field(
    client: PageClient, db: sqlite3.Connection, field: str, value: str, sentence: str
) -> None:
    sent = client.post_form("/packs/new", PACK | {field: value})
    assert sent.status_code == 422
    at_field = re.search(rf'id="{field}-error">(.*?)</p>', sent.text, re.DOTALL)
    assert at_field is not None
    assert sentence in at_field[1]
    assert value.strip() in sent.text
    assert store.packs(db) == []


def test_a_nominal_voltage_of_other_cells_is_told(client: PageClient) -> None:
    sent = client.post_form("/packs/new", PACK | {"nominal_v": "11.1"})
    assert sent.status_code == 422
    assert "11.1 V is not the nominal voltage of 2 cells" in sent.text


def test_a_reading_by_cell(client: PageClient, db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    address = f"/packs/{pack_id}/reading"
    values = {
        "cell_v-0": "4,19",
        "cell_v-1": "4.20",
        "cell_mohm-0": "1.9",
        "cell_mohm-1": "2",
        "after_charge": "y",
        "remarks": "warm day",
    }
    assert client.post_form(address, values).location == f"/packs/{pack_id}"
    (kept,) = store.readings(db, pack_id)
    assert (kept.cell_v, kept.after_charge) == ((4.19, 4.2), True)
    assert kept.cell_ohm == pytest.approx((0.0019, 0.002))
    page = client.get(f"/packs/{pack_id}").text
    assert re.search(r'<data id="spread-mv" value="9\.99|<data id="spread-mv" value="10\.', page)
    for wrong, sentence in (
        ({}, "Write down at least one thing"),
        ({"cell_v-0": "3.8"}, "Write every cell, or none."),
        ({"cell_v-0": "9", "cell_v-1": "3.8"}, "A cell rests between 0 and 5 V."),
        ({"cell_mohm-0": "0", "cell_mohm-1": "2"}, "A cell has between 0.01 and 5000 mΩ."),
        ({"cell_v-0": "x", "cell_v-1": "3.8"}, "Write a number here"),
        ({"cell_c": "900"}, "at most 150"),
    ):
        sent = client.post_form(address, wrong)
        assert sent.status_code == 422
        assert sentence in sent.text
        for typed in wrong.values():
            assert f'value="{typed}"' in sent.text
    assert len(store.readings(db, pack_id)) == 1


def test_history_shows_all_of_it_and_takes_a_reading_out(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    for day in range(60):
        at = RACE_MORNING - timedelta(days=day)
        item = Reading(pack_id=pack_id, read_at=at, cell_ohm=(0.002, 0.002 + day / 1e5))
        store.add_reading(db, item, at)
    page = client.get(f"/packs/{pack_id}/history").text
    assert page.count("Remove the reading of") == 50
    older = re.search(r'href="(/packs/\d+/history\?before=\d+)"', page)
    assert older is not None
    assert client.get(older[1]).text.count("Remove the reading of") == 10
    assert 'id="resistance-plot"' in page
    assert "days since the first" in page
    assert "days since the first, d" not in page
    client.post_form("/packs/readings/1/remove")
    assert len(store.readings(db, pack_id, limit=100)) == 59
    assert client.post_form("/packs/readings/777/remove").status_code == 404


def test_a_damaged_pack_becomes_sound_only_with_words(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    address = f"/packs/{pack_id}/condition"
    client.post_form(address, {"condition": "damaged", "damage": "swollen at one end"})
    assert store.pack(db, pack_id).damage == "swollen at one end"
    refused = client.post_form(address, {"condition": "sound", "damage": ""})
    assert refused.status_code == 422
    assert "Say in a few words why it is good after all." in refused.text
    client.post_form(address, {"condition": "sound", "damage": "wrong pack marked"})
    assert store.pack(db, pack_id).condition == "sound"
    for nonsense in ({}, {"condition": "new"}, {"condition": ""}):
        assert client.post_form(address, nonsense).status_code == 422


def test_a_pack_is_put_away(client: PageClient, db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    address = f"/packs/{pack_id}/store"
    wrong = client.post_form(address, {"cell_v": "38", "place": "Box 1"})
    assert wrong.status_code == 422
    assert 'value="Box 1"' in wrong.text
    client.post_form(address, {"cell_v": "3,82", "place": "Box 1"})
    (kept,) = store.storages(db, pack_id)
    assert (kept.cell_v, kept.place, kept.stored_at) == (3.82, "Box 1", RACE_MORNING)
    assert 'value="Box 1"' in client.get(address).text


def test_sums_of_a_pack_and_of_typed_figures(client: PageClient, db: sqlite3.Connection) -> None:
    pack_id = add_pack(db)
    assert client.get("/packs/sums").status_code == 200
    assert client.get(f"/packs/sums?pack={pack_id}").status_code == 200
    page = client.get("/packs/sums?cells=2&capacity=6000&rate=1&cell_v=4,2&discharge=2").text
    assert "J. Electrochem. Soc. 167 (2020) 013512, as computed by an open battery model" in page
    # From 100 % to 57.27 % of 6000 mAh by the published table, at 2 A.
    for name, value in (("sum-percent", 100), ("sum-storage-min", 76.9), ("sum-minutes", 0)):
        found = re.search(rf'<data id="{name}" value="([^"]+)"', page)
        assert found is not None
        assert float(found[1]) == pytest.approx(value, abs=0.1)


@pytest.mark.parametrize(
    "query",
    [
        "cells=0&capacity=6000&rate=1",
        "cells=2&capacity=0&rate=1",
        "cells=2&capacity=-5&rate=1&cell_v=4",
        "cells=2&capacity=6000&rate=99",
        "cells=2&capacity=6000&rate=1&cell_v=2",
        "cells=2&capacity=6000&rate=1&cell_v=9",
        "cells=2&capacity=6000&rate=1&cell_v=x",
        "cells=🔋&capacity=6000&rate=1",
        "cells=2&capacity=6000&rate=1&cell_v=4&resistance=1e9",
    ],
)
def test_impossible_sums_are_told_in_words(client: PageClient, query: str) -> None:
    sent = client.get(f"/packs/sums?{query}")
    assert sent.status_code == 422
    assert 'class="error"' in sent.text


@pytest.mark.parametrize(
    "address",
    ["/packs/77", "/packs/77/edit", "/packs/77/history", "/packs/77/reading", "/packs/x",
     "/packs/77/condition", "/packs/77/trouble", "/packs/77/store", "/packs/sums?pack=77"],
)  # fmt: skip
def test_what_is_not_there_is_not_there(client: PageClient, address: str) -> None:
    assert client.get(address).status_code == 404


def test_every_pack_screen_says_what_to_do_in_an_emergency(
    client: PageClient, db: sqlite3.Connection
) -> None:
    pack_id = add_pack(db)
    for path in ("", "/new", "/sums", "/plan", "/emergency", *(
        f"/{pack_id}{rest}"
        for rest in ("", "/edit", "/history", "/reading", "/condition", "/store", "/charge")
    )):  # fmt: skip
        page = client.get(f"/packs{path}").text
        assert "Do not touch it, move it" in page, path
        assert "your venue&#39;s rules come first" in page.replace("'", "&#39;"), path
