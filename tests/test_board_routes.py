"""The Board as a page: at home, and at a meeting from the first heat to the last."""

from __future__ import annotations

import re
import sqlite3
from datetime import UTC, date, datetime, timedelta

import pytest

from pitapp.db import settings
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.kit.models import Car, Motor
from pitapp.kit.scales import store as scales
from pitapp.kit.scales.models import Part
from pitapp.meetings import store
from pitapp.meetings.formulas import Entry
from pitapp.meetings.models import Meeting, RaceClass
from tests.support import RACE_MORNING, Clock, PageClient

CAR = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
DAY = RACE_MORNING.date()


@pytest.fixture
def car(db: sqlite3.Connection) -> Car:
    car_id, _ = kit.save_car(db, CAR, RACE_MORNING)
    return kit.car(db, car_id)


def begin(db: sqlite3.Connection, car: Car | None, *minutes: int, zone: str = "UTC") -> int:
    """A meeting with heats so many minutes after nine o'clock."""
    item = Meeting(day=DAY, time_zone=zone, car_id=car.id if car else None)
    entries = [Entry("heat", RACE_MORNING + timedelta(minutes=each)) for each in minutes]
    return store.save_meeting(db, item, RACE_MORNING, entries)[0]


def board(client: PageClient) -> str:
    answer = client.get("/")
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def large_button(page: str) -> tuple[str, str]:
    found = re.findall(r'<a class="button main-action" href="([^"]*)">([^<]*)</a>', page)
    assert len(found) == 1
    href, label = found[0]
    return label, href


def test_with_nothing_at_all_the_class_comes_first(client: PageClient) -> None:
    assert large_button(board(client)) == ("Add your class", "/meetings/classes/new?start=class")


def test_with_nothing_and_the_list_put_away_the_car_comes_first(client: PageClient) -> None:
    client.post_form("/start", {"list": "away"})
    assert large_button(board(client)) == ("Add your car", "/kit/cars/new")


def test_without_a_meeting_it_shows_the_gear_fitted(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    kit.add_gears(db, "pinion", "dp:64", [40], RACE_MORNING)
    kit.add_gears(db, "spur", "dp:64", [80], RACE_MORNING)
    gearing.fit(db, car, 40, 80, RACE_MORNING)
    client.post_form("/start", {"list": "away"})
    page = board(client)
    assert '<data id="final-drive" value="3.8">3.80</data>' in page  # 80 / 40 × 1.9
    assert large_button(page) == ("Work out a gear", "/gearing")
    assert "/meetings/new" in page
    assert "countdown" not in page


def test_the_countdown_carries_the_start_for_the_phone_s_own_clock(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    begin(db, car, 30)
    page = board(client)
    # 2026-05-16T09:30Z: 20589 days of 86400 s after 1970-01-01 (POSIX, seconds since the Epoch).
    assert f'data-starts-at="{20589 * 86400 + 34200}"' in page
    assert "in 30 min" in page
    assert re.search(r">Heat 1</span> at <time datetime=\"2026-05-16T09:30:00Z\">09:30<", page)


def test_what_is_due_through_a_morning(
    client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    begin(db, car, 30, 70)
    assert large_button(board(client)) == ("Fit the gear", "/gearing")
    gearing.fit(db, car, 40, 80, RACE_MORNING)
    assert "Gear: ready" in board(client)
    clock.set(RACE_MORNING + timedelta(minutes=26))
    assert large_button(board(client)) == ("Go: Heat 1", "/meetings/heats/1")
    clock.set(RACE_MORNING + timedelta(minutes=36))
    label, href = large_button(board(client))
    assert label == "Log the run of Heat 1"
    assert client.get(href).status_code == 200
    store.finish_heat(db, 1, clock())
    store.finish_heat(db, 2, clock())
    label, href = large_button(board(client))
    assert label == "Packs to storage"
    assert client.get(href).status_code == 200


def test_a_heat_that_did_not_start_in_time_is_moved_with_the_rest(
    client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    begin(db, car, 30, 70)
    clock.set(RACE_MORNING + timedelta(minutes=34))
    assert "Heat 1 and all after it: 5 min later" in board(client)
    sent = {"minutes": "5", "following": "yes", "from": "board"}
    client.post_form("/meetings/heats/1/shift", sent)
    assert "in 1 min" in board(client)
    assert store.heat(db, 2).starts_at == RACE_MORNING + timedelta(minutes=75)
    clock.set(RACE_MORNING + timedelta(minutes=40))
    assert "Heat 2 and all after it: 5 min later" in board(client)


def test_gear_of_another_day_asks_for_a_look(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    gearing.fit(db, car, 40, 80, RACE_MORNING - timedelta(days=13))
    begin(db, car, 30)
    page = board(client)
    assert "Gear: from another day" in page
    assert "Still 40 / 80, FDR 3.80, since 3 May" in page


def test_gear_that_the_car_does_not_take_is_not_ready(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    gearing.fit(db, car, 40, 80, RACE_MORNING)
    kit.save_car(db, car.model_copy(update={"largest_pinion": 38}), RACE_MORNING)
    begin(db, car, 30)
    page = board(client)
    assert "Gear: does not fit" in page
    assert "The pinion 40 is over the car&#39;s 38." in page


def test_another_car_than_the_meeting_s_is_said_and_mended(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    other_id, _ = kit.save_car(db, CAR.model_copy(update={"name": "Spare"}), RACE_MORNING)
    begin(db, kit.car(db, other_id), 30)
    page = board(client)
    assert "This meeting is for Spare." in page
    client.post_form(f"/kit/cars/{other_id}/choose")
    assert "This meeting is for" not in board(client)


def test_every_screen_judges_a_car_by_its_own_class(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    frame = {"rev_limit_rpm": 18_000, "least_mass_g": 1400}
    own, theirs = (
        store.save_class(db, RaceClass(name=name, **figures), RACE_MORNING)[0]
        for name, figures in (("Light spec", {"least_mass_g": 1250}), ("Heavy spec", frame))
    )
    motor_id, _ = kit.save_motor(db, Motor(name="Invented", kv_rpm_per_v=2500), RACE_MORNING)
    kit.save_car(db, car.model_copy(update={"motor_id": motor_id}), RACE_MORNING)
    spare_id, _ = kit.save_car(db, CAR.model_copy(update={"name": "Spare"}), RACE_MORNING)
    store.save_meeting(
        db, Meeting(day=DAY, time_zone="UTC", race_class_id=theirs, car_id=spare_id), RACE_MORNING
    )
    scales.save_part(db, Part(car_id=car.id, name="Everything", mass_g=1300), RACE_MORNING)

    def screens() -> list[str]:
        return [
            client.get(address).get_data(as_text=True)
            for address in ("/", "/kit/scales", "/checks/card", "/forecast/figures", "/runs/new")
        ]

    assert all("Heavy spec</option>" in p or "Heavy spec" not in p for p in screens())
    home, weights, card, forecast, run = screens()
    assert "Invented TC is judged by Light spec" in home
    assert "over the minimum of Light spec" in weights
    assert "<b>Invented TC</b>, Light spec" in card
    assert f'<option value="{own}" selected>Light spec' in forecast
    assert f'<option selected value="{own}">Light spec' in run
    store.remove_class(db, own, RACE_MORNING)
    home, weights, card, forecast, run = screens()
    assert "Invented TC is judged by no class" in home
    assert "the least of" not in weights
    assert "<b>Invented TC</b>, no class" in card
    assert '<option value="0" selected>none</option>' in forecast
    assert f'<option selected value="{theirs}">' not in run
    client.post_form(f"/kit/cars/{spare_id}/choose")
    _, _, card, forecast, run = screens()
    assert "<b>Spare</b>, Heavy spec" in card
    assert f'<option selected value="{theirs}">Heavy spec' in run


def test_a_phone_in_another_zone_reads_the_track_s_clock(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    settings.save(db, "time_zone", "Asia/Tokyo")
    begin(db, car, 30, zone="Europe/Lisbon")
    page = board(client)
    assert re.search(r">10:30</time> at the track", page)  # Lisbon keeps UTC + 1 in May
    settings.save(db, "time_zone", "Europe/London")  # the same clock as Lisbon
    assert "at the track" not in board(client)


def test_a_heat_past_midnight_is_a_heat(
    client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    begin(db, car, 14 * 60 + 55, 15 * 60 + 30)  # 23:55 and 00:30
    clock.set(datetime(2026, 5, 17, 0, 10, tzinfo=UTC))
    page = board(client)
    assert "Sun 00:30" in page
    assert large_button(page)[0] == "Log the run of Heat 1"


def test_the_timetable_holds_when_summer_time_ends(
    client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    # Directive 2000/84/EC: summer time ends on the last Sunday of October at 01:00 GMT.
    sent = {
        "day": "2026-10-25",
        "time_zone": "Europe/Lisbon",
        "kind": "heat",
        "lines": "00:40\n01:20\n01:20\n02:00",
        "car_id": str(car.id),
    }
    assert client.post_form("/meetings/new", sent).status_code == 303
    clock.set(datetime(2026, 10, 25, 0, 0, tzinfo=UTC))
    store.finish_heat(db, 1, clock())
    assert "in 20 min" in board(client)
    clock.set(datetime(2026, 10, 25, 0, 30, tzinfo=UTC))
    store.finish_heat(db, 2, clock())
    assert "in 50 min" in board(client)


def test_the_next_meeting_is_shown_from_thirty_six_hours_before(
    client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    begin(db, car, 30)
    midnight = datetime(2026, 5, 16, tzinfo=UTC)
    clock.set(midnight - timedelta(hours=36, seconds=1))
    assert "Next meeting" in board(client)
    assert "data-starts-at" not in board(client)
    clock.set(midnight - timedelta(hours=36))
    assert "in 45 h 30 min" in board(client)


def test_a_practice_day_offers_a_run(client: PageClient, db: sqlite3.Connection, car: Car) -> None:
    item = Meeting(day=date(2026, 5, 16), time_zone="UTC", car_id=car.id)
    store.save_meeting(db, item, RACE_MORNING)
    gearing.fit(db, car, 40, 80, RACE_MORNING)
    page = board(client)
    assert "countdown-clock" not in page
    assert "Gear: ready" in page


def test_the_part_is_the_page_without_its_frame(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    begin(db, car, 30)
    part = client.get("/part", headers={"HX-Request": "true"}).get_data(as_text=True)
    assert part.lstrip().startswith('<div id="board-part"')
    assert "<html" not in part
