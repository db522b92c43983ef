"""Leads of a car, against the wire table.

ASTM B258 and NBS Handbook 100, "Copper Wire Tables": number 12 has 5.211 Ω/km at 20 °C and weighs
29.42 kg/km, number 14 has 8.285 Ω/km and 18.50 kg/km.
"""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.db import undo
from pitapp.kit import store as kit
from pitapp.kit.leads import store
from pitapp.kit.leads.models import Lead
from pitapp.kit.models import Car
from pitapp.kit.scales import store as scales
from tests.support import RACE_MORNING, PageClient

PAIR = {"version": "1", "name": "Pack", "kind": "pair", "awg": "12", "length_mm": "100"}


@pytest.fixture
def car_id(db: sqlite3.Connection) -> int:
    car = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    return kit.save_car(db, car, RACE_MORNING)[0]


def text(client: PageClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def figure(page: str, name: str) -> float:
    found = re.search(rf'<data id="{name}" value="([^"]*)">', page)
    assert found, name
    return float(found[1])


@pytest.mark.parametrize(
    ("kind", "awg", "ohm", "grams"),
    [
        ("pair", 12, 0.2 * 5.211e-3, 0.2 * 29.42),
        ("motor", 12, 0.2 * 5.211e-3, 0.3 * 29.42),
        ("single", 14, 0.1 * 8.285e-3, 0.1 * 18.50),
    ],
)
def test_leads_by_the_wire_table(kind: str, awg: int, ohm: float, grams: float) -> None:
    """100 mm each: a pair is 200 mm of current's way; of a motor's three, two carry it."""
    lead = Lead(car_id=1, name="x", kind=kind, awg=awg, length_mm=100)  # type: ignore[arg-type]
    assert lead.resistance_ohm(20) == pytest.approx(ohm, rel=1e-3)
    assert lead.drop_v(50, 20) == pytest.approx(50 * ohm, rel=1e-3)
    assert lead.copper_g == pytest.approx(grams, rel=2e-3)


def test_leads_in_a_row_lose_what_both_lose(client: PageClient, car_id: int) -> None:
    """Wire table: 0.2 m of number 12 and 0.2 m of number 14 are 2.699 mΩ: at 60 A 0.1620 V."""
    assert client.post_form("/kit/leads", PAIR).status_code == 303
    motor = PAIR | {"name": "Motor", "kind": "motor", "awg": "14"}
    assert client.post_form("/kit/leads", motor).status_code == 303
    page = text(client, "/kit/leads?current_a=60&copper_c=20")
    ohm = 0.2 * (5.211e-3 + 8.285e-3)
    assert figure(page, "leads-resistance") == pytest.approx(ohm, rel=1e-3)
    assert figure(page, "leads-drop") == pytest.approx(60 * ohm, rel=1e-3)
    assert figure(page, "leads-power") == pytest.approx(3600 * ohm, rel=1e-3)
    assert figure(page, "leads-mass") == pytest.approx(0.2 * 29.42 + 0.3 * 18.50, rel=2e-3)


def test_warm_copper_loses_more(client: PageClient, car_id: int) -> None:
    """IEC 60028: 0.00393 per K, so 50 K warmer loses 1.1965 times as much."""
    client.post_form("/kit/leads", PAIR)
    cold = figure(text(client, "/kit/leads?current_a=50&copper_c=20"), "leads-drop")
    warm = figure(text(client, "/kit/leads?current_a=50&copper_c=70"), "leads-drop")
    assert warm / cold == pytest.approx(1.1965, rel=1e-9)


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("current_a=0", "more than 0"),
        ("current_a=-5", "more than 0"),
        ("current_a=many", "Write a number"),
        ("current_a=1e6", "at most 1000"),
        ("copper_c=500", "at most 200"),
    ],
)
def test_a_load_that_cannot_be_says_why_and_the_usual_one_is_shown(
    client: PageClient, car_id: int, query: str, sentence: str
) -> None:
    client.post_form("/kit/leads", PAIR)
    page = text(client, f"/kit/leads?{query}")
    assert sentence in page
    assert figure(page, "leads-drop") == pytest.approx(50 * 0.2 * 5.211e-3, rel=1e-3)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"name": ""}, "What do they connect?"),
        ({"awg": "41"}, "at most 40"),
        ({"awg": "-1"}, "at least 0"),
        ({"awg": "12.5"}, "whole number"),
        ({"length_mm": "0"}, "more than 0"),
        ({"length_mm": "long"}, "Write a number"),
        ({"kind": "five"}, "Not a valid choice"),
    ],
)
def test_bad_leads_come_back_with_a_sentence(
    client: PageClient, db: sqlite3.Connection, car_id: int, typed: dict[str, str], sentence: str
) -> None:
    answer = client.post_form("/kit/leads", PAIR | typed)
    assert answer.status_code == 422
    assert sentence in answer.get_data(as_text=True)
    assert store.leads(db, car_id) == []


def test_leads_are_changed_removed_and_brought_back(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    client.post_form("/kit/leads", PAIR)
    lead = store.leads(db, car_id)[0]
    address = f"/kit/leads/{lead.id}"
    assert "12 now" in text(client, address)
    assert client.post_form(address, PAIR | {"awg": "10"}).status_code == 303
    assert client.post_form(address, PAIR | {"awg": "14"}).status_code == 409
    assert client.post_form(address, PAIR | {"awg": "44"}).status_code == 422
    assert store.lead(db, lead.id).awg == 10
    client.post_form(f"{address}/remove")
    assert client.get(address).status_code == 404
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()["token"]
    undo.undo(db, token, RACE_MORNING)
    assert store.leads(db, car_id)[0].awg == 10


def test_their_copper_goes_on_the_parts_list(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    client.post_form("/kit/leads", PAIR)
    lead = store.leads(db, car_id)[0]
    assert client.post_form(f"/kit/leads/{lead.id}/weigh").location == "/kit/scales"
    part = scales.parts(db, car_id)[0]
    assert part.name == "Pack, 12 AWG"
    assert part.mass_g == pytest.approx(0.2 * 29.42, abs=0.02)


@pytest.mark.parametrize("awg", [0, 40])
def test_the_thickest_and_the_thinnest_have_their_page(
    client: PageClient, db: sqlite3.Connection, car_id: int, awg: int
) -> None:
    lead = Lead(car_id=car_id, name="x", awg=awg, length_mm=0.1)
    lead_id, _ = store.save_lead(db, lead, RACE_MORNING)
    assert f"{awg} now" in text(client, f"/kit/leads/{lead_id}")
    assert client.post_form(f"/kit/leads/{lead_id}/weigh").status_code == 303


def test_without_a_car_or_the_leads_it_is_said_so(client: PageClient) -> None:
    assert client.get("/kit/leads").status_code == 404
    assert client.get("/kit/leads/99").status_code == 404
    assert client.post_form("/kit/leads/99/weigh").status_code == 404
