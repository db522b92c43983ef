"""The screens of the log: filled in, saved, kept when wrong, edited by two at once."""

from __future__ import annotations

import re
import sqlite3
import uuid
from datetime import UTC, datetime, timedelta

import pytest

from pitapp.db import settings
from pitapp.meetings import store as meetings
from pitapp.runs import store
from pitapp.runs.models import Run
from pitapp.runs.tyres import store as tyres
from tests.runs_support import Pit, form_values, furnish
from tests.support import RACE_MORNING, Clock, PageClient


@pytest.fixture
def pit(db: sqlite3.Connection) -> Pit:
    return furnish(db)


def only_run(db: sqlite3.Connection) -> Run:
    (run,) = store.runs(db)
    return run


def undo_path(page: str) -> str:
    found: list[str] = re.findall(r'action="(/undo/[^"]+)"', page)
    return found[-1]


def opened(client: PageClient, path: str = "/runs/new") -> dict[str, str]:
    """The values of the form as a browser would send it back."""
    answer = client.get(path)
    assert answer.status_code == 200
    return form_values(answer.text)


def test_a_new_run_is_filled_in_with_what_is_fitted(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    values = opened(client)
    assert values | {"seen": "", "can_c": "71"} == {
        "version": "1",
        "seen": "",
        "photo": "",
        "can_c": "71",
        "read_after_s": "",
        "second_can_c": "",
        "second_after_s": "",
        "air_c": "",
        **dict.fromkeys(("track_c", "grip", "wind", "dust", "wet"), ""),
        "best_lap_s": "",
        "laps": "",
        "run_s": "",
        "top_speed_kmh": "",
        "top_speed_spread_kmh": "",
        "position": "",
        "remarks": "",
        "pinion_teeth": "45",
        "spur_teeth": "66",
        "internal_ratio": "1.9",
        "tyre_diameter_mm": "63",
        "pack_id": str(pit.pack),
        "tyre_set_id": str(pit.tyres),
        "motor_id": str(pit.motor),
        "car_id": str(pit.car),
        "meeting_id": str(pit.meeting),
        "heat_id": str(pit.heats[0]),
        "track_id": str(pit.track),
        "race_class_id": str(pit.race_class),
        "started": "",
    }
    answer = client.post_form("/runs/new", values | {"can_c": "71", "read_after_s": "30"})
    assert answer.location == "/runs"
    run = only_run(db)
    assert (run.can_c, run.read_after_s, run.pinion_teeth, run.spur_teeth) == (71, 30, 45, 66)
    assert (run.meeting_id, run.heat_id, run.time_zone) == (
        pit.meeting,
        pit.heats[0],
        "Europe/Lisbon",
    )
    assert run.started_at == RACE_MORNING - timedelta(minutes=8)
    assert meetings.heat(db, pit.heats[0]).done_at == RACE_MORNING


def test_one_undo_takes_back_the_run_its_heat_and_its_tyres(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    values = opened(client) | {"can_c": "71", "tyre_set_id": str(pit.other_tyres)}
    page = client.post_form("/runs/new", values, follow_redirects=True)
    assert tyres.fitted(db, pit.car).tyre_set_id == pit.other_tyres
    client.post_form(undo_path(page.text), {"back": "/runs"})
    assert store.runs(db) == []
    assert meetings.heat(db, pit.heats[0]).done_at is None
    assert tyres.fitted(db, pit.car).tyre_set_id == pit.tyres
    assert tyres.tyre_set(db, pit.other_tyres).runs_done == 0


def test_the_heat_named_and_marshalling(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    assert opened(client, f"/runs/new?heat={pit.heats[1]}")["heat_id"] == str(pit.heats[1])
    assert client.get("/runs/new?heat=9999").status_code == 404
    assert opened(client, "/runs/new?heat=x")["heat_id"] == str(pit.heats[0])


def test_with_no_meeting_a_run_starts_now_less_its_length(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    clock.tick(10 * 86_400)
    values = opened(client)
    assert (values["heat_id"], values["meeting_id"], values["track_id"]) == ("", "", "")
    assert values["race_class_id"] == str(pit.race_class)
    client.post_form("/runs/new", values | {"run_s": "5:00"})
    assert only_run(db).started_at == clock() - timedelta(minutes=5)


def test_a_run_sent_late_began_before_it_was_noted(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    clock.tick(10 * 86_400)
    late = {"X-Waited-Seconds": str(5 * 3600)}
    client.post_form("/runs/new", opened(client) | {"run_s": "5:00"}, headers=late)
    assert only_run(db).started_at == clock() - timedelta(hours=5, minutes=5)


def test_sent_twice_it_is_logged_once_under_the_phones_key(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    key = str(uuid.uuid4())
    values = opened(client) | {"can_c": "71"}
    for _ in range(2):
        answer = client.post_form("/runs/new", values, headers={"Idempotency-Key": key})
        assert answer.status_code == 303
    assert str(only_run(db).uuid) == key


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("can_c", "hot", "Write a number here, such as 61."),
        ("can_c", "251", "This must be at most 250."),
        ("can_c", "-31", "This must be at least -30."),
        ("can_c", "9" * 400_000, "That is too long for a number."),
        ("read_after_s", "-1", "This must be at least 0."),
        ("read_after_s", "🏎", "Write a number here, such as 63.5."),
        ("best_lap_s", "0", "This must be more than 0."),
        ("best_lap_s", "fast", "Write a time like 14.87, or 5:12.4 for minutes and seconds."),
        ("best_lap_s", "1:75", "Behind minutes or hours there are fewer than 60."),
        ("laps", "12.5", "Write a whole number here."),
        ("laps", "-1", "This must be at least 0."),
        ("position", "0", "This must be at least 1."),
        ("pinion_teeth", "0", "This must be at least 6."),
        ("spur_teeth", "1e300", "This must be at most 200."),
        ("internal_ratio", "nan", "Write a number here, such as 1.9."),
        ("tyre_diameter_mm", "1e999", "That number is too large."),
        ("remarks", "x" * 2001, "Keep this under 2000 characters."),
        ("motor_id", "999", "That is not in the list. Choose another."),
        ("started", "yesterday", "Write the day and the time like 2026-05-03 10:32."),
        ("started", "0001-01-01T10:00", "The year must lie between 2000 and 2200."),
        ("started", "2026-03-29T01:30", "summer time begins and the clock skips it."),
    ],
)
def test_bad_input_stays_with_a_sentence_at_its_field(
    client: PageClient, db: sqlite3.Connection, pit: Pit, field: str, typed: str, sentence: str
) -> None:
    values = opened(client) | {"can_c": "71,5", "best_lap_s": "14,87", "remarks": "Kerb hit"}
    answer = client.post_form("/runs/new", values | {field: typed})
    assert answer.status_code == 422
    at_field = re.search(rf'id="{field}-error">(.*?)</p>', answer.text, re.DOTALL)
    assert at_field is not None
    assert sentence in at_field[1]
    kept = form_values(answer.text)
    others = set(values) - {field, "seen"}
    assert {name: kept[name] for name in others} == {name: values[name] for name in others}
    if field != "motor_id":
        assert kept[field].strip() == typed.strip()
    assert store.runs(db) == []


@pytest.mark.parametrize("car_id", ["", "99", "x", "-1"])
def test_an_unknown_car_is_refused(
    client: PageClient, db: sqlite3.Connection, pit: Pit, car_id: str
) -> None:
    assert client.post_form("/runs/new", opened(client) | {"car_id": car_id}).status_code == 422
    assert store.runs(db) == []


def test_everything_can_be_edited_and_undone(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    client.post_form("/runs/new", opened(client) | {"can_c": "71"})
    before = only_run(db)
    path = f"/runs/{before.id}/edit"
    typed = {
        "can_c": "68",
        "read_after_s": "45",
        "air_c": "19,5",
        "best_lap_s": "14,876",
        "laps": "20",
        "run_s": "5:03.2",
        "position": "2",
        "remarks": "Push",
        "pinion_teeth": "44",
        "spur_teeth": "69",
        "internal_ratio": "2",
        "tyre_diameter_mm": "62",
        "pack_id": str(pit.other_pack),
        "tyre_set_id": str(pit.other_tyres),
        "motor_id": "",
        "heat_id": "",
        "started": "2026-05-16T12:30",
    }
    page = client.post_form(path, opened(client, path) | typed, follow_redirects=True)
    after = only_run(db)
    assert (after.can_c, after.read_after_s, after.air_c, after.best_lap_s) == (
        68,
        45,
        19.5,
        14.876,
    )
    assert (after.laps, after.run_s, after.position, after.remarks) == (20, 303.2, 2, "Push")
    assert after.final_drive_ratio == pytest.approx(69 / 44 * 2)
    assert after.snapshot.pack is not None
    assert after.snapshot.tyres is not None
    assert (after.snapshot.pack.mark, after.snapshot.tyres.name) == ("B", "Set 2")
    assert (after.motor_id, after.snapshot.motor, after.heat_id) == (None, None, None)
    # Lisbon is an hour ahead of UTC in May.
    assert after.started_at == datetime(2026, 5, 16, 11, 30, tzinfo=UTC)
    assert (after.uuid, after.snapshot.setup) == (before.uuid, before.snapshot.setup)
    client.post_form(undo_path(page.text))
    assert only_run(db) == before.model_copy(update={"version": only_run(db).version})


def test_an_untouched_form_changes_nothing_but_the_version(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    """Neither units nor the seconds of the start may drift when a run is saved as it is shown."""
    settings.save(db, "temperature_unit", "imperial")
    client.post_form("/runs/new", opened(client) | {"can_c": "160"})
    odd = {"can_c": 71.123456789, "started_at": RACE_MORNING + timedelta(seconds=17)}
    store.save_run(db, only_run(db).model_copy(update=odd), RACE_MORNING)
    before = only_run(db)
    path = f"/runs/{before.id}/edit"
    client.post_form(path, opened(client, path))
    assert only_run(db) == before.model_copy(update={"version": before.version + 1})


def test_the_second_of_two_devices_is_told_and_loses_nothing(
    client: PageClient, db: sqlite3.Connection, pit: Pit
) -> None:
    client.post_form("/runs/new", opened(client) | {"can_c": "71"})
    path = f"/runs/{only_run(db).id}/edit"
    first, second = opened(client, path), opened(client, path)
    answer = client.post_form(path, first | {"can_c": "69", "best_lap_s": "14.87", "laps": "20"})
    assert answer.status_code == 303
    mine = {"can_c": "74", "remarks": "Kerb in lap 12", "air_c": "21"}
    answer = client.post_form(path, second | mine)
    assert answer.status_code == 409
    assert "changed on another screen" in answer.text
    assert "On the other screen this became 69." in answer.text
    assert "best lap is now 14.87, laps is now 20" in answer.text
    assert only_run(db).can_c == 69
    kept = form_values(answer.text)
    assert kept | mine == kept
    assert (kept["best_lap_s"], kept["laps"]) == ("14.87", "20")
    assert client.post_form(path, kept).status_code == 303
    run = only_run(db)
    assert (run.can_c, run.remarks, run.air_c) == (74, "Kerb in lap 12", 21)
    assert (run.best_lap_s, run.laps) == (14.87, 20)


@pytest.mark.parametrize("seen", ["", "7", '{"can_c": 5}', "[" * 5000])
def test_a_conflict_with_a_broken_memory_still_keeps_what_was_typed(
    client: PageClient, db: sqlite3.Connection, pit: Pit, seen: str
) -> None:
    client.post_form("/runs/new", opened(client) | {"can_c": "71"})
    path = f"/runs/{only_run(db).id}/edit"
    values = opened(client, path)
    client.post_form(path, values | {"laps": "20"})
    answer = client.post_form(path, values | {"can_c": "74", "seen": seen})
    assert answer.status_code == 409
    assert form_values(answer.text)["can_c"] == "74"


def test_what_changed_is_on_the_runs_own_page(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    values = opened(client)
    client.post_form("/runs/new", values | {"can_c": "60", "best_lap_s": "15.02"})
    clock.tick(45 * 60)
    values = opened(client) | {"pack_id": str(pit.other_pack)}
    assert values["heat_id"] == str(pit.heats[1])
    client.post_form(
        "/runs/new", values | {"can_c": "66", "best_lap_s": "14.91", "pinion_teeth": "46"}
    )
    newest = store.runs(db)[0]
    page = client.get(f"/runs/{newest.id}").text
    for words in ("pinion 45 → 46", "tyres 1 run older", "can +6 °C", "best lap −0.11 s"):
        assert words in page
        assert words in client.get("/runs").text
    assert "The best lap here" in page
    assert "Against the best here, 14.91" in client.get(f"/runs/{store.runs(db)[1].id}").text


def test_removing_and_bringing_back(client: PageClient, db: sqlite3.Connection, pit: Pit) -> None:
    client.post_form("/runs/new", opened(client) | {"can_c": "71"})
    path = f"/runs/{only_run(db).id}"
    page = client.post_form(f"{path}/remove", follow_redirects=True)
    assert client.get(path).status_code == 404
    assert client.get(f"{path}/edit").status_code == 404
    assert client.post_form(f"{path}/remove").status_code == 409
    client.post_form(undo_path(page.text))
    assert client.get(path).status_code == 200


def test_a_times_zone_is_the_tracks(client: PageClient, db: sqlite3.Connection, pit: Pit) -> None:
    client.post_form("/settings", {"time_zone": "Asia/Tokyo"})
    client.post_form("/runs/new", opened(client) | {"can_c": "71"})
    run = only_run(db)
    # Eight minutes before nine by UTC is 09:52 in Lisbon and 17:52 in Tokyo.
    assert "Sat 16 May 2026, 09:52" in client.get(f"/runs/{run.id}").text
    assert opened(client, f"/runs/{run.id}/edit")["started"] == "2026-05-16T09:52"


def test_the_list_is_paged_and_chosen(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    client.post_form("/runs/new", opened(client) | {"can_c": "71"})
    first = only_run(db)
    for number in range(store.PAGE + 2):
        fresh = {"id": 0, "uuid": uuid.uuid4(), "started_at": clock() + timedelta(hours=number)}
        store.save_run(db, first.model_copy(update=fresh), clock())
    page = client.get("/runs").text
    assert len(set(re.findall(r'href="/runs/(\d+)"', page))) == store.PAGE
    older = re.search(r'href="(/runs\?before=\d+)"', page)
    assert older is not None
    assert len(re.findall(r'href="/runs/(\d+)"', client.get(older[1]).text)) == 3
    assert "<summary>Choose which" not in page
    name = first.snapshot.car.name
    assert f"<summary>Only {name}</summary>" in client.get(f"/runs?car={pit.car}").text
    assert "No run fits this choice." in client.get("/runs?track=99").text
    assert client.get("/runs?track=zz&before=-5&car=1e9").status_code == 200


def test_with_nothing_on_record(client: PageClient) -> None:
    assert "No runs yet." in client.get("/runs").text
    assert "Add your car" in client.get("/runs/new").text
    assert client.get("/runs/1").status_code == 404
    assert client.post_form("/runs/new", {"can_c": "71"}).status_code == 422


def test_a_second_reading_is_asked_for_once_a_day_and_kept_with_its_time(
    client: PageClient, db: sqlite3.Connection, pit: Pit, clock: Clock
) -> None:
    typed = opened(client) | {"can_c": "71", "read_after_s": "30", "run_s": "5:00"}
    page = client.post_form("/runs/new", typed, follow_redirects=True).text
    run = only_run(db)
    assert f'id="read-again" class="button no-print" href="/runs/{run.id}/edit' in page
    path = f"/runs/{run.id}/edit"
    for again, reason in (
        ({"second_can_c": "64"}, "How long after the flag"),
        ({"second_after_s": "5:00"}, "no second can temperature"),
        ({"second_can_c": "64", "second_after_s": "0:30"}, "comes after the first"),
    ):
        answer = client.post_form(path, opened(client, path) | again)
        assert answer.status_code == 422
        assert reason in answer.text
    again = {"second_can_c": "64", "second_after_s": "5:30"}
    assert client.post_form(path, opened(client, path) | again).status_code == 303
    assert (only_run(db).second_can_c, only_run(db).second_after_s) == (64, 330)
    # A page from before these fields does not empty them.
    old = {name: text for name, text in opened(client, path).items() if "second" not in name}
    assert client.post_form(path, old | {"remarks": "smooth"}).status_code == 303
    run = only_run(db)
    assert (run.second_can_c, run.second_after_s, run.remarks) == (64, 330, "smooth")
    clock.tick(2400)
    page = client.post_form(
        "/runs/new", opened(client) | {"can_c": "70", "run_s": "5:00"}, follow_redirects=True
    ).text
    assert "read-again" not in page
