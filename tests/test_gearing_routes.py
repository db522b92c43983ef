"""The gearing screens as a racer, a bookmark and a script ask for them."""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import Clock, PageClient

ADDRESS = "/gearing?spur=66&pinion=45&internal=1.9&tyre=63&kv=2380&volts=7.4&rev_limit=14600"


def figures(page: str) -> dict[str, float]:
    found = re.findall(r'<data id="([a-z-]+)" value="([^"]*)"', page)
    return {name: float(value) for name, value in found if value}


@pytest.fixture
def car(db: sqlite3.Connection, clock: Clock) -> Car:
    car_id, _ = kit.save_car(
        db,
        Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63, most_tooth_sum=114),
        clock(),
    )
    kit.add_gears(db, "pinion", "dp:64", [44, 45, 46], clock())
    kit.add_gears(db, "spur", "dp:64", [66, 69], clock())
    return kit.car(db, car_id)


def test_gearing_begins_in_the_middle_of_the_box_with_no_gear_on_record(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    """By hand: 46/66, 45/66, 44/66, 45/69, 44/69 fit, longest first; 46/69 has too many teeth."""
    page = client.get("/gearing").text
    assert re.findall(r'id="(pinion|spur)" name="[a-z]+" value="(\d+)"', page) == [
        ("pinion", "44"),
        ("spur", "66"),
    ]
    assert "not owned" not in page
    for gear in kit.gears(db):
        kit.remove_gear(db, gear.id, clock())
    assert 'value="72"' in client.get("/gearing").text


def test_an_address_answers_with_full_precision(client: PageClient) -> None:
    answer = client.get(ADDRESS + "&pitch_dp=64")
    assert answer.status_code == 200
    found = figures(answer.text)
    # By hand, exact: 66/45 × 1.9 = 2.78666…; π × 63 / that; × rpm × 60 / 10⁶; 25.4/64 × 111 / 2.
    assert found["final-drive"] == pytest.approx(66 / 45 * 1.9, rel=1e-12)
    assert found["rollout-mm"] == pytest.approx(71.0240, abs=5e-5)
    assert found["limit-speed-kmh"] == pytest.approx(62.2171, abs=5e-5)
    # By hand: 2380 × 7.4 is 17 612.
    assert found["free-speed-rpm"] == pytest.approx(17612)
    assert found["free-speed-kmh"] == pytest.approx(62.2171 * 17612 / 14600, abs=1e-4)
    assert found["centre-distance-mm"] == pytest.approx(22.0266, abs=5e-5)


def test_a_module_gives_the_centre_distance(client: PageClient) -> None:
    found = figures(client.get("/gearing?spur=66&pinion=45&module=0.5").text)
    assert found["centre-distance-mm"] == pytest.approx(27.75)


@pytest.mark.parametrize(
    "query",
    [
        "spur=0",
        "spur=-5",
        "pinion=abc",
        "pinion=1000000000",
        "tyre=1e400",
        "tyre=nan",
        "tyre=%F0%9F%8F%8E",
        "internal=",
        "kv=1,2,3",
        "pitch_dp=0",
        "module=-1",
        "spur=6.5",
        "volts=" + "9" * 500,
    ],
)
def test_bad_numbers_come_back_with_a_sentence_and_what_was_typed(
    client: PageClient, query: str
) -> None:
    answer = client.get(f"/gearing?{query}")
    assert answer.status_code == 422
    name = query.split("=")[0]
    assert f'id="{name}-error"' in answer.text
    assert client.get(f"/gearing?{query}&nudge=pinion-more").status_code == 422


def test_a_decimal_comma_is_understood(client: PageClient) -> None:
    found = figures(client.get("/gearing?spur=66&pinion=45&internal=1,9").text)
    assert found["final-drive"] == pytest.approx(66 / 45 * 1.9)


def test_a_nudge_and_a_pair_lead_to_a_plain_address(client: PageClient) -> None:
    nudged = client.get("/gearing?spur=66&pinion=45&nudge=spur-more")
    assert (nudged.status_code, nudged.location) == (303, "/gearing?spur=67&pinion=45")
    paired = client.get("/gearing?spur=66&pinion=45&pair=46-69")
    assert paired.location == "/gearing?spur=69&pinion=46"
    assert client.get("/gearing?nudge=x").location == "/gearing"


def test_fitting_logs_the_gear_with_the_car_as_it_is(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    answer = client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"})
    assert answer.status_code == 303
    entry = gearing.fitted(db, car.id)
    assert entry is not None
    assert (entry.pinion_teeth, entry.spur_teeth, entry.internal_ratio) == (45, 66, 1.9)
    assert (entry.tyre_diameter_mm, entry.fitted_at) == (63, clock())
    assert "Fitted 45 / 66, FDR 2.79" in client.get("/gearing").text


def test_a_write_sent_twice_with_its_key_is_done_once(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    key = {"Idempotency-Key": "3f0c1a52-8d7e-4f39-9b6a-2a1d4c5e6f70"}
    for _ in range(2):
        again = client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"}, headers=key)
        assert again.status_code == 303
    assert again.headers["Idempotent-Replayed"] == "true"
    assert len(gearing.log(db, car.id)) == 1
    refused = client.post_form(
        "/gearing/fit", {"pinion": "45", "spur": "66"}, headers={"Idempotency-Key": "1; DROP"}
    )
    assert refused.status_code == 400


@pytest.mark.parametrize(("pinion", "spur"), [("", "66"), ("x", "66"), ("5", "66"), ("45", "1e9")])
def test_a_bad_pair_is_not_fitted(
    client: PageClient, db: sqlite3.Connection, car: Car, pinion: str, spur: str
) -> None:
    answer = client.post_form("/gearing/fit", {"pinion": pinion, "spur": spur})
    assert answer.status_code == 422
    assert "-error" in answer.text
    assert gearing.fitted(db, car.id) is None


def test_fitting_with_no_car_says_so(client: PageClient) -> None:
    answer = client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"})
    assert answer.status_code == 404
    assert "There is no car yet" in answer.text


@pytest.mark.parametrize(
    ("kind", "value", "first"),
    [("ratio", "2,79", "45 / 66"), ("rollout", "71", "45 / 66"), ("speed", "64", None)],
)
def test_wanted_gives_the_nearest_first(
    client: PageClient, car: Car, kind: str, value: str, first: str | None
) -> None:
    answer = client.get(f"/gearing/wanted/part?kind={kind}&value={value}")
    assert answer.status_code == 200
    if first is None:
        assert "Give the car a motor and a pack voltage" in answer.text
    else:
        assert re.findall(r"<b>(\d+ / \d+)</b>", answer.text)[0] == first


@pytest.mark.parametrize("value", ["", "0", "-3", "x", "1e300", "🏁"])
def test_wanted_answers_nonsense_with_a_sentence(client: PageClient, car: Car, value: str) -> None:
    answer = client.get("/gearing/wanted", query_string={"kind": "ratio", "value": value})
    assert answer.status_code == 200
    assert 'id="value-error"' in answer.text


def test_the_table_holds_every_pair_and_marks_what_fits(client: PageClient, car: Car) -> None:
    client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"})
    page = client.get("/gearing/table").text
    assert len(re.findall(r"<td", page)) == 6
    assert ">[2.79]<" in page
    # 46 + 69 = 115 is over the car's 114; the other five pairs are not.
    assert len(re.findall(r'<td class="unfit"', page)) == 1


def test_the_log_is_paged(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    for teeth in range(120):
        clock.tick(60)
        gearing.fit(db, car, 20 + teeth, 66, clock())
    page, seen = client.get("/gearing/log").text, 0
    while True:
        seen += len(re.findall(r"/remove\" hx-post", page))
        older = re.search(r'href="(/gearing/log\?before=\d+)"', page)
        if older is None:
            break
        page = client.get(older[1]).text
    assert seen == 120


def test_taking_out_and_undoing(client: PageClient, db: sqlite3.Connection, car: Car) -> None:
    client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"})
    entry = gearing.fitted(db, car.id)
    assert entry is not None
    client.post_form(f"/gearing/log/{entry.id}/remove")
    assert gearing.fitted(db, car.id) is None
    undo = re.findall(r'action="(/undo/[^"]+)"', client.get("/gearing/log").text)
    assert client.post_form(undo[-1], {"back": "//evil.example/"}).location == "/"
    assert gearing.fitted(db, car.id) == entry
    assert client.post_form("/gearing/log/999/remove").status_code == 404
