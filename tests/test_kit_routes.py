"""The Kit screens: what is typed is kept, what is wrong is told, what is removed comes back."""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.kit import store
from pitapp.kit.models import Motor
from tests.support import Clock, PageClient

CAR = {
    "name": "First",
    "internal_ratio": "1,9",
    "pitch": "dp:64",
    "tyre_diameter_mm": "63",
    "version": "1",
}


def undo_path(page: str) -> str:
    """The address of the newest undo on the page."""
    found: list[str] = re.findall(r'action="(/undo/[^"]+)"', page)
    return found[-1]


def test_a_car_with_a_new_motor(client: PageClient, db: sqlite3.Connection) -> None:
    answer = client.post_form(
        "/kit/cars/new", CAR | {"new_motor_kv": "2380", "pack_v": "7,4", "mass_g": "1350"}
    )
    assert answer.location == "/"
    (car,) = store.cars(db)
    assert (car.internal_ratio, car.pack_v, car.mass_g) == (1.9, 7.4, 1350)
    assert car.motor_id is not None
    assert store.motor(db, car.motor_id).kv_rpm_per_v == 2380


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("name", "   ", "Give the car a name."),
        ("name", "x" * 5000, "Keep this under 60 characters."),
        ("internal_ratio", "0", "This must be at least 0.2."),
        ("internal_ratio", "", "What is the ratio behind the spur?"),
        ("tyre_diameter_mm", "-63", "This must be at least 10."),
        ("tyre_diameter_mm", "tall", "Write a number here, such as 63.5."),
        ("tyre_diameter_mm", "6" * 1_000_000, "That is too long for a number."),
        ("pitch", "dp:9999", "Not a valid choice."),
        ("largest_pinion", "1000000000", "This must be at most 200."),
        ("largest_spur", "66.5", "Write a whole number here."),
        ("rev_limit_rpm", "🏎", "Write a number here, such as 14600."),
        ("mass_g", "1e999", "That number is too large."),
        ("motor_id", "77", "Not a valid choice."),
        ("new_motor_kv", "3", "A Kv lies between 50 and 20 000 rpm/V."),
    ],
)
def test_bad_input_stays_with_a_sentence_at_its_field(
    client: PageClient, db: sqlite3.Connection, field: str, value: str, sentence: str
) -> None:
    answer = client.post_form("/kit/cars/new", CAR | {field: value})
    assert answer.status_code == 422
    at_field = re.search(rf'id="{field}-error">(.*?)</p>', answer.text, re.DOTALL)
    assert at_field is not None
    assert sentence in at_field[1]
    for name in set(CAR) - {field, "pitch", "version"}:
        assert f'value="{CAR[name]}"' in answer.text
    if field != "pitch" and field != "motor_id":
        assert value.strip()[:30] in answer.text
    assert store.cars(db) == []


def test_limits_out_of_order_are_told(client: PageClient) -> None:
    answer = client.post_form(
        "/kit/cars/new", CAR | {"least_tooth_sum": "120", "most_tooth_sum": "110"}
    )
    assert answer.status_code == 422
    assert "The minimum tooth sum is above the maximum." in answer.text


def test_a_second_device_is_told_and_loses_nothing(
    client: PageClient, db: sqlite3.Connection
) -> None:
    client.post_form("/kit/cars/new", CAR)
    client.post_form("/kit/cars/1", CAR | {"tyre_diameter_mm": "62.5"})
    second = client.post_form("/kit/cars/1", CAR | {"tyre_diameter_mm": "62", "remarks": "mine"})
    assert second.status_code == 409
    assert "On the other screen this became 62.5." in second.text
    assert "mine" in second.text
    assert 'name="version" type="hidden" value="2"' in second.text
    assert store.car(db, 1).tyre_diameter_mm == 62.5
    third = client.post_form(
        "/kit/cars/1", CAR | {"tyre_diameter_mm": "62", "remarks": "mine", "version": "2"}
    )
    assert third.status_code == 303
    assert (store.car(db, 1).tyre_diameter_mm, store.car(db, 1).remarks) == (62, "mine")


def test_a_removed_car_comes_back(client: PageClient, db: sqlite3.Connection) -> None:
    client.post_form("/kit/cars/new", CAR)
    client.post_form("/kit/cars/1/remove")
    assert store.cars(db) == []
    client.post_form(undo_path(client.get("/kit").text))
    assert [car.name for car in store.cars(db)] == ["First"]


def test_gears_are_added_as_lists_and_undone_in_one(
    client: PageClient, db: sqlite3.Connection
) -> None:
    asked = {"kind": "pinion", "pitch": "dp:64", "teeth": "20-32, 35, 38"}
    client.post_form("/kit/gears", asked)
    assert store.owned_teeth(db, "dp:64") == ([*range(20, 33), 35, 38], [])
    page = client.get("/kit/gears").text
    client.post_form("/kit/gears", asked | {"teeth": "30-40"})
    client.post_form(undo_path(client.get("/kit/gears").text))
    assert store.owned_teeth(db, "dp:64") == ([*range(20, 33), 35, 38], [])
    assert "Added 15 pinions" in page


@pytest.mark.parametrize(
    ("teeth", "sentence"),
    [
        ("", "Write the numbers of teeth"),
        ("5", "outside 6 to 200 teeth"),
        ("20-1000000000", "is no number of teeth"),
        ("🦷", "is no number of teeth"),
        ("20,,x", "is no number of teeth"),
        ("9" * 1_000_000, "is no number of teeth"),
    ],
)
def test_bad_lists_of_teeth(
    client: PageClient, db: sqlite3.Connection, teeth: str, sentence: str
) -> None:
    answer = client.post_form("/kit/gears", {"kind": "spur", "pitch": "dp:64", "teeth": teeth})
    assert answer.status_code == 422
    assert sentence in answer.text
    assert store.gears(db) == []


def test_an_undo_that_would_lose_a_newer_change_is_refused(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    _, first = store.save_motor(db, Motor(name="Old", kv_rpm_per_v=2400), clock())
    motor = store.motors(db)[0]
    store.save_motor(db, motor.model_copy(update={"name": "New"}), clock())
    answer = client.post_form(f"/undo/{first}")
    assert answer.status_code == 409
    assert "changed again since" in answer.text
    assert client.post_form("/undo/nothing").status_code == 404


def test_units_are_the_racers(client: PageClient, db: sqlite3.Connection) -> None:
    client.post_form(
        "/settings/units",
        {
            "speed_unit": "imperial",
            "temperature_unit": "imperial",
            "mass_unit": "imperial",
            "length_unit": "metric",
        },
    )
    client.post_form("/kit/cars/new", CAR | {"mass_g": "47.62", "rev_limit_rpm": "14600"})
    # 47.62 oz × 28.349523125 g (international avoirdupois ounce, exact).
    assert store.cars(db)[0].mass_g == pytest.approx(47.62 * 28.349523125)
    assert 'value="47.62"' in client.get("/kit/cars/1").text
    assert "mph" in client.get("/gearing").text


@pytest.mark.parametrize("path", ["/kit/cars/9", "/kit/motors/9"])
def test_what_is_not_there_is_a_404(client: PageClient, path: str) -> None:
    assert client.get(path).status_code == 404
    assert client.post_form(path, CAR).status_code == 404
    assert client.post_form(path + "/remove").status_code == 404


def test_a_new_motor_beside_a_chosen_one_is_refused(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    motor_id, _ = store.save_motor(db, Motor(name="Old", kv_rpm_per_v=2400), clock())
    answer = client.post_form(
        "/kit/cars/new", CAR | {"motor_id": str(motor_id), "new_motor_kv": "2380"}
    )
    assert answer.status_code == 422
    assert "Leave this empty, or choose no motor above." in answer.text
    assert 'value="2380"' in answer.text
    assert (store.cars(db), len(store.motors(db))) == ([], 1)


def test_titles_are_the_names(client: PageClient, db: sqlite3.Connection, clock: Clock) -> None:
    store.save_motor(db, Motor(name="Old", kv_rpm_per_v=2400), clock())
    client.post_form("/kit/cars/new", CAR)
    titles = {
        "cars/new": "New car",
        "cars/1": "First",
        "motors/new": "New motor",
        "motors/1": "Old",
    }
    for path, title in titles.items():
        assert re.search(rf"<h1[^>]*>\s*{title}\s*</h1>", client.get(f"/kit/{path}").text), path


def test_a_motors_further_fields_open_where_one_is_wrong(client: PageClient) -> None:
    asked = {"name": "Old", "kv_rpm_per_v": "2400", "version": "1"}
    assert "<details>" in client.get("/kit/motors/new").text
    assert (
        "<details open>"
        in client.post_form("/kit/motors/new", asked | {"no_load_current_a": "much"}).text
    )
    assert "<details open>" not in client.post_form("/kit/motors/new", asked | {"name": ""}).text


def test_the_gear_box_reads_as_ranges_and_stays_open_while_gears_are_taken_out(
    client: PageClient, db: sqlite3.Connection
) -> None:
    client.post_form("/kit/gears", {"kind": "pinion", "pitch": "dp:64", "teeth": "20-23, 35"})
    page = client.get("/kit/gears").text
    assert "<p>20–23, 35</p>" in page
    assert "<details>" in page
    answer = client.post_form(f"/kit/gears/{store.gears(db)[1].id}/remove")
    after = client.get(answer.location).text
    assert "<p>20, 22, 23, 35</p>" in after
    assert "<details open>" in after
    client.post_form(undo_path(after))
    assert store.owned_teeth(db, "dp:64") == ([20, 21, 22, 23, 35], [])


def test_the_kit_leads_to_the_bench(
    client: PageClient, db: sqlite3.Connection, clock: Clock
) -> None:
    store.save_motor(db, Motor(name="Old", kv_rpm_per_v=2400), clock())
    assert 'href="/bench"' in client.get("/kit").text


def test_pinions_and_spurs_go_in_together_and_out_again_by_one_undo(
    client: PageClient, db: sqlite3.Connection
) -> None:
    client.post_form("/kit/gears", {"pitch": "dp:64", "pinions": "38-40", "spurs": "66, 68"})
    assert store.owned_teeth(db, "dp:64") == ([38, 39, 40], [66, 68])
    page = client.get("/kit/gears").text
    assert "Added 3 pinions and 2 spurs" in page
    client.post_form(undo_path(page))
    assert store.gears(db) == []


def test_a_fault_in_one_list_of_teeth_loses_nothing_of_the_other(
    client: PageClient, db: sqlite3.Connection
) -> None:
    sent = {"pitch": "dp:64", "pinions": "38-40", "spurs": "many"}
    answer = client.post_form("/kit/gears", sent)
    assert answer.status_code == 422
    assert 'id="spurs-error"' in answer.text
    assert 'value="38-40"' in answer.text
    assert store.gears(db) == []


def test_a_motor_without_a_name_is_called_by_its_kv(
    client: PageClient, db: sqlite3.Connection
) -> None:
    client.post_form("/kit/motors/new", {"kv_rpm_per_v": "2380"})
    assert [motor.name for motor in store.motors(db)] == ["2380 rpm/V"]


def test_folds_are_closed_on_a_new_car_and_open_at_a_fault_or_a_value(
    client: PageClient, db: sqlite3.Connection
) -> None:
    def folds(text: str) -> list[bool]:
        main = text.partition('id="car-part"')[2]
        return [" open" in each for each in re.findall(r"<details[^>]*>", main)]

    assert folds(client.get("/kit/cars/new").text) == [False, False, False]
    wrong = client.post_form("/kit/cars/new", CAR | {"smallest_pinion": "two"}).text
    assert folds(wrong) == [False, True, False]
    assert 'href="#smallest_pinion-error"' in wrong
    client.post_form("/kit/cars/new", CAR | {"remarks": "Bent once"})
    assert folds(client.get("/kit/cars/1").text) == [False, False, True]
