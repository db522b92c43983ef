"""The gearing screens as a racer, a bookmark and a script ask for them."""

from __future__ import annotations

import re
import sqlite3
from datetime import timedelta

import pytest

from pitapp.db import settings
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting
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
    for path in ("/gearing?nudge=x&", "/gearing/wanted?"):
        stray = client.get(f"{path}rule=1&endpoint=2&_scheme=ftp&_external=1")
        assert (stray.status_code, stray.location.split("?")[0]) == (303, "/gearing")


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
    answer = client.get(f"/gearing?kind={kind}&value={value}")
    if first is None:
        assert "Give the car a motor and a pack voltage" in answer.text
        assert answer.status_code == 422
    else:
        assert answer.status_code == 200
        assert near(answer.text)[0] == first


def near(page: str) -> list[str]:
    """The pairs that come near to what is wanted."""
    rows = page.partition('<ol id="near"')[2].partition("</ol>")[0]
    return re.findall(r"<b>(\d+ / \d+)</b>", rows)


def test_the_earlier_address_of_what_is_wanted_leads_to_the_field(
    client: PageClient, car: Car
) -> None:
    for path in ("/gearing/wanted", "/gearing/wanted/part"):
        answer = client.get(f"{path}?kind=ratio&value=2.79")
        assert near(client.get(answer.location).text)[0] == "45 / 66"


def test_a_wanted_speed_is_in_the_unit_of_the_settings(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    """By hand: 45 / 66 does 62.217 km/h at 14 600 rpm, which is 38.66 mph."""
    settings.save(db, "speed_unit", "imperial")
    address = "/gearing?rev_limit=14600&kind=speed&value="
    assert near(client.get(address + "38.66").text)[0] == "45 / 66"


@pytest.mark.parametrize("value", ["0", "-3", "x", "1e300", "🏁"])
def test_wanted_answers_nonsense_with_a_sentence(client: PageClient, car: Car, value: str) -> None:
    answer = client.get("/gearing", query_string={"kind": "ratio", "value": value})
    assert answer.status_code == 422
    assert re.search(r'id="value-error" role="status">', answer.text)
    assert near(answer.text) == []


def test_with_nothing_wanted_nothing_is_wrong(client: PageClient, car: Car) -> None:
    answer = client.get("/gearing?kind=ratio&value=")
    assert answer.status_code == 200
    assert near(answer.text) == []


def test_longer_and_shorter_pass_over_what_nobody_feels(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    """By hand, beside 45/66: 44/65 is 0.7 % shorter and 46/67 0.7 % longer, but want another spur."""
    kit.add_gears(db, "spur", "dp:64", [65, 67], clock())
    page = client.get("/gearing?pinion=45&spur=66").text
    assert re.findall(r'id="(longer|shorter)" name="pair" value="([^"]*)"', page) == [
        ("longer", "46-66"),
        ("shorter", "44-66"),
    ]


def fit_button(page: str) -> tuple[str, bool]:
    """What the button says that logs the pair, and whether it can be pressed."""
    match = re.search(r'<button class="main-action" form="fit-form" id="fit"([^>]*)>([^<]*)<', page)
    assert match is not None
    return match[2], "disabled" not in match[1]


def test_fit_this_is_not_offered_for_what_is_fitted(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    assert fit_button(client.get("/gearing").text) == ("Fit this", True)
    gearing.fit(db, car, 45, 66, clock())
    assert fit_button(client.get("/gearing").text) == ("Fitted now", False)
    assert fit_button(client.get("/gearing?pinion=44").text) == ("Fit this", True)
    page = client.get("/gearing?kind=ratio&value=2.79").text
    assert near(page)[0] == "45 / 66"
    assert 'aria-label="Fit 45 / 66"' not in page
    assert 'aria-label="Fit 44 / 66"' in page


def test_the_gear_of_another_day_can_be_kept_for_the_meeting(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    """Else the Board could not be told that it is still the one."""
    gearing.fit(db, car, 45, 66, clock() - timedelta(days=7))
    meeting = Meeting(name="Invented day", day=clock().date(), time_zone="UTC")
    meetings.save_meeting(db, meeting, clock())
    words, can_be_pressed = fit_button(client.get("/gearing").text)
    assert "meeting" in words
    assert can_be_pressed
    client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"})
    assert fit_button(client.get("/gearing").text) == ("Fitted now", False)


def test_the_fitted_gear_can_be_logged_with_other_tyres(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    gearing.fit(db, car, 45, 66, clock())
    kit.save_car(db, car.model_copy(update={"tyre_diameter_mm": 62}), clock())
    words, can_be_pressed = fit_button(client.get("/gearing").text)
    assert "figures" in words
    assert can_be_pressed


def test_the_table_holds_every_pair_and_marks_what_fits(client: PageClient, car: Car) -> None:
    client.post_form("/gearing/fit", {"pinion": "45", "spur": "66"})
    page = client.get("/gearing/table").text
    assert len(re.findall(r"<td", page)) == 6
    assert ">[2.79]<" in page
    # 46 + 69 = 115 is over the car's 114; the other five pairs are not.
    assert len(re.findall(r'<td class="unfit"', page)) == 1
    assert "Show 1 that does not fit" in page


def test_the_table_folds_away_whole_lines_that_do_not_fit(
    client: PageClient, db: sqlite3.Connection, clock: Clock, car: Car
) -> None:
    """By hand: 72 fits with no pinion (44 + 72 = 116), 60 with none of 66 and 69 (126)."""
    kit.add_gears(db, "spur", "dp:64", [72], clock())
    kit.add_gears(db, "pinion", "dp:64", [60], clock())
    page = client.get("/gearing/table").text
    assert re.findall(r'<th scope="col" class="unfit-line">(\d+)', page) == ["72"]
    assert re.findall(r'<tr class="unfit-line"><th scope="row">(\d+)', page) == ["60"]


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
