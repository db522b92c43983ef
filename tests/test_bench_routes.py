"""The Bench screens, as a browser without JavaScript meets them."""

from __future__ import annotations

import re
import sqlite3

import pytest

from pitapp.bench import store
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from tests.support import RACE_MORNING, PageClient

WHEN = "2026-05-16T09:00"


@pytest.fixture
def motor_id(db: sqlite3.Connection) -> int:
    motor = Motor(name="Invented 21.5", kv_rpm_per_v=2380, resistance_ohm=0.021)
    return kit.save_motor(db, motor, RACE_MORNING)[0]


def add(client: PageClient, motor_id: int, **typed: str) -> str:
    """Save a check and return the address of its page."""
    sent = client.post_form(
        f"/bench/motors/{motor_id}/new", {"version": "1", "checked_at": WHEN} | typed
    )
    assert sent.status_code == 303, sent.get_data(as_text=True)
    return sent.location


def text(client: PageClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def figure(page: str, name: str) -> str:
    found = re.search(rf'<data id="{name}" value="([^"]*)">', page)
    assert found, name
    return found[1]


def test_an_empty_bench_leads_to_adding_a_motor(client: PageClient) -> None:
    assert "/kit/motors/new" in text(client, "/bench")


def test_a_check_is_saved_with_commas_and_judged(
    client: PageClient, motor_id: int, db: sqlite3.Connection
) -> None:
    """By hand: 17 150 / 7.0 is 2450, 17 836 / 7.0 is 2548: 2450/2548 − 1 is −3.846 %."""
    meetings.save_class(
        db,
        RaceClass(name="Spec", timing_fixed=True, timing_deg=40, timing_tolerance_deg=1),
        RACE_MORNING,
    )
    add(client, motor_id, volts="7,0", free_rpm="17 150", current_a="2,0", as_new="y")
    page = text(
        client,
        add(
            client,
            motor_id,
            volts="7",
            free_rpm="17836",
            current_a="2.3",
            sensor_a_deg="40",
            sensor_b_deg="40",
            sensor_c_deg="43",
            resistance_ohm="22,5",
            checked_at="2026-05-16T10:00",
        ),
    )
    assert float(figure(page, "kv")) == 2548
    assert float(figure(page, "rotor-change")) == pytest.approx(-3.846, abs=5e-4)
    assert float(figure(page, "current-change")) == pytest.approx(15)
    assert float(figure(page, "timing-mean")) == 41
    assert float(figure(page, "timing-spread")) == 3
    assert float(figure(page, "resistance")) == 0.0225
    for sentence in ("Rotor weaker", "Draws more", "Timing not legal", "Common practice"):
        assert sentence in page
    overview = text(client, "/bench")
    assert "2548 rpm/V" in overview
    assert "−3.8 %" in overview


def test_the_meetings_class_says_nothing_to_the_motor_of_another_car(
    client: PageClient, motor_id: int, db: sqlite3.Connection
) -> None:
    race_class = RaceClass(name="Spec", timing_fixed=True, timing_deg=40)
    class_id, _ = meetings.save_class(db, race_class, RACE_MORNING)
    raced = Car(name="Raced", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    car_id, _ = kit.save_car(db, raced, RACE_MORNING)
    day = Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=class_id, car_id=car_id)
    meetings.save_meeting(db, day, RACE_MORNING)
    address = add(client, motor_id, sensor_a_deg="45")
    assert "Timing not legal" in text(client, address)
    other = raced.model_copy(update={"name": "Other", "motor_id": motor_id})
    kit.save_car(db, other, RACE_MORNING)
    assert "Timing not legal" not in text(client, address)
    own = raced.model_copy(update={"id": car_id, "motor_id": motor_id})
    kit.save_car(db, own, RACE_MORNING)
    assert "Timing not legal" in text(client, address)


def test_the_motors_page_draws_kv_over_time(client: PageClient, motor_id: int) -> None:
    add(client, motor_id, volts="7", free_rpm="17150", checked_at="2026-05-01T10:00")
    assert 'id="kv-plot"' not in text(client, f"/bench/motors/{motor_id}")
    add(client, motor_id, volts="7", free_rpm="17500", checked_at="2026-05-11T10:00")
    page = text(client, f"/bench/motors/{motor_id}")
    assert 'id="kv-plot"' in page
    assert 'id="current-plot"' not in page


def test_measured_values_are_taken_over_and_undone(
    client: PageClient, motor_id: int, db: sqlite3.Connection
) -> None:
    address = add(
        client, motor_id, volts="7", free_rpm="17150", current_a="2.2", resistance_ohm="22.5"
    )
    for what in ("kv_rpm_per_v", "no_load_current_a", "resistance_ohm"):
        sent = client.post_form(f"{address}/take-over", {"what": what})
        assert sent.status_code == 303
    motor = kit.motor(db, motor_id)
    assert (motor.kv_rpm_per_v, motor.no_load_current_a, motor.resistance_ohm) == (
        2450,
        2.2,
        0.0225,
    )
    page = text(client, address)
    assert "Into the motor" not in page
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()["token"]
    assert f"/undo/{token}" in page
    client.post_form(f"/undo/{token}")
    assert kit.motor(db, motor_id).resistance_ohm == 0.021


@pytest.mark.parametrize("what", ["", "name", "resistance_ohm", "🙂"])
def test_only_what_was_measured_can_be_taken_over(
    client: PageClient, motor_id: int, what: str
) -> None:
    address = add(client, motor_id, current_a="2.2")
    assert client.post_form(f"{address}/take-over", {"what": what}).status_code == 400


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({}, "at least one reading"),
        ({"free_rpm": "17000"}, "At what voltage?"),
        ({"free_rpm": "17000", "volts": "0"}, "at least 0.1"),
        ({"free_rpm": "200000", "volts": "7"}, "no motor has"),
        ({"current_a": "-2"}, "at least 0"),
        ({"current_a": "two"}, "Write a number"),
        ({"current_a": "1e400"}, "too large"),
        ({"current_a": "🙂"}, "Write a number"),
        ({"resistance_ohm": "0.021"}, "mΩ"),
        ({"resistance_ohm": "0"}, "mΩ"),
        ({"sensor_b_deg": "400"}, "at most 90"),
        ({"mass_g": "0"}, "more than 0"),
        ({"current_a": "2", "checked_at": "yesterday"}, "the day and the time"),
        ({"current_a": "2", "checked_at": ""}, "When was it measured?"),
        ({"current_a": "2", "checked_at": "2026-06-01T09:00"}, "still to come"),
        ({"current_a": "2", "checked_at": "0001-01-01T00:00"}, "year"),
    ],
)
def test_bad_readings_come_back_with_a_sentence(
    client: PageClient, motor_id: int, db: sqlite3.Connection, typed: dict[str, str], sentence: str
) -> None:
    form = {"version": "1", "checked_at": WHEN, "remarks": "as typed"} | typed
    answer = client.post_form(f"/bench/motors/{motor_id}/new", form)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert sentence in page
    assert "as typed" in page
    for name in typed:
        assert f'value="{typed[name]}"' in page or not typed[name]
    assert store.checks(db, motor_id) == []


def test_a_check_can_be_changed_and_removed(
    client: PageClient, motor_id: int, db: sqlite3.Connection
) -> None:
    address = add(client, motor_id, current_a="2.2")
    form = {"version": "1", "checked_at": WHEN, "current_a": "2.4"}
    assert 'value="2.2"' in text(client, f"{address}/change")
    assert client.post_form(f"{address}/change", form).status_code == 303
    assert store.checks(db, motor_id)[0].current_a == 2.4
    stale = client.post_form(f"{address}/change", form | {"current_a": "2.6"})
    assert stale.status_code == 409
    assert 'value="2.6"' in stale.get_data(as_text=True)
    assert client.post_form(f"{address}/remove").location == f"/bench/motors/{motor_id}"
    assert client.get(address).status_code == 404


@pytest.mark.parametrize(
    "address",
    [
        "/bench/motors/99",
        "/bench/motors/99/new",
        "/bench/checks/99",
        "/bench/checks/99/change",
        "/bench/motors/99/part",
        "/bench/checks/99/part",
    ],
)
def test_what_is_not_there_is_said_so(client: PageClient, address: str) -> None:
    assert client.get(address).status_code == 404


def test_writes_to_what_is_not_there_are_refused(client: PageClient) -> None:
    for address in ("motors/99/new", "checks/99/change", "checks/99/remove", "checks/99/take-over"):
        assert client.post_form(f"/bench/{address}").status_code == 404


def test_the_car_in_uses_motor_comes_first(client: PageClient, db: sqlite3.Connection) -> None:
    for name in ("Aaa", "Zzz"):
        last, _ = kit.save_motor(db, Motor(name=name, kv_rpm_per_v=2380), RACE_MORNING)
    car = Car(name="Car", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63, motor_id=last)
    kit.save_car(db, car, RACE_MORNING)
    page = text(client, "/bench")
    assert page.index("Zzz") < page.index("Aaa")
    assert f"/bench/motors/{last}/new" in page


def test_the_cautions_stand_before_the_readings(client: PageClient, motor_id: int) -> None:
    page = text(client, f"/bench/motors/{motor_id}/new")
    for word in ("Pinion off", "Hair", "maker&#39;s manual", "Seconds only"):
        assert page.replace("maker's", "maker&#39;s").index(word) < page.index('name="volts"')


def test_older_checks_are_paged(client: PageClient, motor_id: int, db: sqlite3.Connection) -> None:
    db.executemany(
        "INSERT INTO motor_checks (motor_id, checked_at, current_a) VALUES (?, ?, ?)",
        [(motor_id, f"2026-01-01T00:{n:02}:00Z", 1 + n / 100) for n in range(55)],
    )
    page = text(client, f"/bench/motors/{motor_id}")
    older = re.search(r'href="(/bench/motors/\d+\?before=\d+)"', page)
    assert older
    assert page.count('href="/bench/checks/') >= 50
    assert text(client, older[1]).count('class="row" href="/bench/checks/') == 5
