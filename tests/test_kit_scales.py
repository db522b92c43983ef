"""Weights, corner weights and moving a part."""

from __future__ import annotations

import re
import sqlite3

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from pitapp.db import undo
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.kit.scales import store
from pitapp.kit.scales.formulas import move_for_shift_mm
from pitapp.kit.scales.models import Move, Part, Weighing
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from tests.support import RACE_MORNING, PageClient

CORNERS = {
    "front_left_g": "350",
    "front_right_g": "340,5",
    "rear_left_g": "330",
    "rear_right_g": "329.5",
}
FORM = CORNERS | {"version": "1", "weighed_at": "2026-05-16T09:00"}


@pytest.fixture
def car_id(db: sqlite3.Connection) -> int:
    motor = Motor(name="Invented", kv_rpm_per_v=2380, mass_g=165)
    motor_id, _ = kit.save_motor(db, motor, RACE_MORNING)
    car = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63, motor_id=motor_id)
    return kit.save_car(db, car, RACE_MORNING)[0]


def text(client: PageClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def figure(page: str, name: str) -> float:
    found = re.search(rf'<data id="{name}" value="([^"]*)">', page)
    assert found, name
    return float(found[1])


@given(
    st.floats(1, 500),
    st.floats(500, 3000),
    st.floats(100, 400),
    st.floats(30, 70),
    st.floats(30, 70),
)
def test_the_move_gives_the_wanted_share(
    part: float, rest: float, span: float, now: float, wanted: float
) -> None:
    """Moments about the right tyres: total × share × span, before and after the part has moved."""
    total = part + rest
    moved = move_for_shift_mm(now, wanted, part, total, span)
    moment = total * now / 100 * span + part * moved
    assert 100 * moment / (total * span) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize(
    "figures", [(50, 50, 0, 1350, 160), (50, 50, 1400, 1350, 160), (50, 101, 40, 1350, 160)]
)
def test_a_move_that_cannot_be_is_refused(figures: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"^The "):
        move_for_shift_mm(*figures)


def test_four_scales_by_hand(client: PageClient, car_id: int) -> None:
    """350 + 340.5 + 330 + 329.5 is 1350: front 690.5, left 680, cross 340.5 + 330 = 670.5."""
    assert client.post_form("/kit/scales/corners/new", FORM).status_code == 303
    page = text(client, "/kit/scales")
    assert figure(page, "total") == 1350
    assert figure(page, "front-percent") == pytest.approx(100 * 690.5 / 1350)
    assert figure(page, "left-percent") == pytest.approx(100 * 680 / 1350)
    assert figure(page, "cross-percent") == pytest.approx(100 * 670.5 / 1350)


@pytest.mark.parametrize(
    ("least_g", "word"), [(1350, "Heavy enough"), (1349, "Heavy enough"), (1350.1, "Too light")]
)
def test_the_class_has_a_least_weight(
    client: PageClient, db: sqlite3.Connection, car_id: int, least_g: float, word: str
) -> None:
    meetings.save_class(db, RaceClass(name="Spec", least_mass_g=least_g), RACE_MORNING)
    client.post_form("/kit/scales/corners/new", FORM)
    assert word in text(client, "/kit/scales")


def test_parts_are_added_up_with_the_motor(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    """By hand: 165 of the motor, 820.5 and 92.3 are 1077.8; without the body 985.5."""
    for name, mass in (("Chassis", "820,5"), ("Body", "92.3")):
        sent = client.post_form("/kit/scales", {"version": "1", "name": name, "mass_g": mass})
        assert sent.status_code == 303
    assert figure(text(client, "/kit/scales"), "parts-total") == pytest.approx(1077.8)
    body = store.parts(db, car_id)[0]
    client.post_form(f"/kit/scales/parts/{body.id}/fit", {"fitted": "no"})
    page = text(client, "/kit/scales")
    assert figure(page, "parts-total") == pytest.approx(985.5)
    assert "does not count" in page
    client.post_form(f"/kit/scales/parts/{body.id}/fit", {"fitted": "yes"})
    assert figure(text(client, "/kit/scales"), "parts-total") == pytest.approx(1077.8)


def test_a_part_is_changed_removed_and_brought_back(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    part_id, _ = store.save_part(db, Part(car_id=car_id, name="Ballast", mass_g=40), RACE_MORNING)
    address = f"/kit/scales/parts/{part_id}"
    form = {"version": "1", "name": "Ballast, left", "mass_g": "38"}
    assert client.post_form(address, form).status_code == 303
    assert client.post_form(address, form | {"mass_g": "36"}).status_code == 409
    assert store.part(db, part_id).mass_g == 38
    client.post_form(f"{address}/remove")
    assert client.get(address).status_code == 404
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()["token"]
    undo.undo(db, token, RACE_MORNING)
    assert store.part(db, part_id).name == "Ballast, left"


def test_the_total_is_taken_over_and_undone(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    client.post_form("/kit/scales/corners/new", FORM)
    weighing = store.weighings(db, car_id)[0]
    client.post_form(f"/kit/scales/corners/{weighing.id}/take-over")
    assert kit.car(db, car_id).mass_g == 1350
    assert "Take over" not in text(client, "/kit/scales")
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()["token"]
    client.post_form(f"/undo/{token}")
    assert kit.car(db, car_id).mass_g is None


def test_a_weighing_is_changed_and_removed(
    client: PageClient, db: sqlite3.Connection, car_id: int
) -> None:
    client.post_form("/kit/scales/corners/new", FORM)
    weighing = store.weighings(db, car_id)[0]
    address = f"/kit/scales/corners/{weighing.id}"
    assert client.post_form(address, FORM | {"front_left_g": "360"}).status_code == 303
    stale = client.post_form(address, FORM | {"front_left_g": "370"})
    assert stale.status_code == 409
    assert store.weighing(db, weighing.id).front_left_g == 360
    client.post_form(f"{address}/remove")
    assert store.weighings(db, car_id) == []


def test_the_next_weighing_knows_wheelbase_and_track(client: PageClient, car_id: int) -> None:
    client.post_form(
        "/kit/scales/corners/new", FORM | {"wheelbase_mm": "257", "track_width_mm": "160"}
    )
    page = text(client, "/kit/scales/corners/new")
    assert 'name="wheelbase_mm" value="257"' in page
    assert 'name="track_width_mm" value="160"' in page


def test_moving_a_part_by_hand(client: PageClient, db: sqlite3.Connection, car_id: int) -> None:
    """Statics: 50 g by 20 mm over 250 mm is 4.0 g on the front axle, 0.296 % of 1350 g."""
    client.post_form(
        "/kit/scales/corners/new", FORM | {"wheelbase_mm": "250", "track_width_mm": "160"}
    )
    part_id, _ = store.save_part(db, Part(car_id=car_id, name="Ballast", mass_g=50), RACE_MORNING)
    blank = text(client, f"/kit/scales/move?of={part_id}")
    assert 'name="part_g" value="50"' in blank
    assert 'name="total_g" value="1350"' in blank
    query = "part_g=50&total_g=1350&forward_mm=20&left_mm=−8&wheelbase_mm=250&track_width_mm=160"
    page = text(client, f"/kit/scales/move?{query}")
    assert figure(page, "front-grams") == pytest.approx(4.0)
    assert figure(page, "front-change") == pytest.approx(100 * 4 / 1350)
    assert figure(page, "left-grams") == pytest.approx(-2.5)
    assert figure(page, "front-then") == pytest.approx(100 * (690.5 + 4) / 1350)
    assert figure(page, "to-the-middle") == pytest.approx(-5 / 50 * 160)
    assert "to the right" in page


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("part_g=50&total_g=1350&forward_mm=20", "Needed for this move"),
        ("part_g=&total_g=1350", "What does the part weigh?"),
        ("part_g=2000&total_g=1350", "weighs more than any part"),
        ("part_g=50&total_g=0", "at least 10"),
        ("part_g=0.000001&total_g=10&track_width_mm=2000", "at least 0.01"),
        ("part_g=50&total_g=1350&left_mm=🙂", "Write a number"),
        ("part_g=50&total_g=1350&forward_mm=1e9&wheelbase_mm=250", "at most 1000"),
    ],
)
def test_a_move_that_cannot_be_worked_out_says_why(
    client: PageClient, car_id: int, query: str, sentence: str
) -> None:
    assert sentence in text(client, f"/kit/scales/move?{query}")


@pytest.mark.parametrize(
    ("address", "typed", "sentence"),
    [
        ("/kit/scales", {"name": "", "mass_g": "12"}, "What is it?"),
        ("/kit/scales", {"name": "Body", "mass_g": "-1"}, "at least 0.01"),
        ("/kit/scales", {"name": "Body", "mass_g": "light"}, "Write a number"),
        ("/kit/scales", {"name": "x" * 61, "mass_g": "1"}, "under 60"),
        ("/kit/scales/corners/new", FORM | {"front_left_g": ""}, "Read this scale too."),
        ("/kit/scales/corners/new", FORM | {"front_left_g": "1e9"}, "at most"),
        ("/kit/scales/corners/new", FORM | dict.fromkeys(CORNERS, "0"), "all four are zero"),
        ("/kit/scales/corners/new", FORM | {"wheelbase_mm": "2"}, "at least 20"),
        ("/kit/scales/corners/new", FORM | {"weighed_at": "2026-06-01T09:00"}, "still to come"),
    ],
)
def test_bad_input_comes_back_with_a_sentence(
    client: PageClient, car_id: int, address: str, typed: dict[str, str], sentence: str
) -> None:
    answer = client.post_form(address, {"version": "1"} | typed)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert sentence in page
    assert all(f'value="{value}"' in page for value in typed.values() if value)


@pytest.mark.parametrize("path", ["", "/part", "/move", "/corners/new"])
def test_without_a_car_there_is_nothing_to_weigh(client: PageClient, path: str) -> None:
    assert client.get(f"/kit/scales{path}").status_code == 404


@pytest.mark.parametrize("path", ["parts/99", "corners/99", "move?of=99"])
def test_what_is_not_there_is_said_so(client: PageClient, car_id: int, path: str) -> None:
    assert client.get(f"/kit/scales/{path}").status_code == 404


def test_models_refuse_what_cannot_be() -> None:
    with pytest.raises(ValidationError):
        Weighing(
            car_id=1,
            weighed_at=RACE_MORNING,
            front_left_g=-1,
            front_right_g=1,
            rear_left_g=1,
            rear_right_g=1,
        )
    with pytest.raises(ValidationError):
        Move(part_g=50, total_g=1350, left_mm=5)
