"""The Checks screens as a phone without JavaScript meets them."""

from __future__ import annotations

import re
import sqlite3
from datetime import timedelta
from html import unescape

import pytest

from pitapp.checks import store
from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller, Step
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from tests.support import RACE_MORNING, Clock, PageClient

U1 = "11111111-1111-4111-8111-111111111111"
U2 = "22222222-2222-4222-8222-222222222222"
HEAT_LIST = 3
AFTER_LIST = 4
HOSTILE = ["", "-1", "1e999", "nan", "9" * 60, "🙂 <b>", "1,2,3", "\x00", "Ω" * 5000]


@pytest.fixture
def car(db: sqlite3.Connection) -> Car:
    item = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    return kit.car(db, kit.save_car(db, item, RACE_MORNING)[0])


@pytest.fixture
def settings(db: sqlite3.Connection, car: Car) -> list[Step]:
    """Three settings of a controller in the car, in a class that limits the first."""
    class_id, _ = meetings.save_class(
        db, RaceClass(name="Invented", rev_limit_rpm=14_600, least_mass_g=1350), RACE_MORNING
    )
    meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=class_id)
    meetings.save_meeting(db, meeting, RACE_MORNING)
    chosen = [
        STARTING_LIST[0].model_copy(update={"planned": "14600"}),
        STARTING_LIST[9].model_copy(update={"planned": "10"}),
        STARTING_LIST[8],
    ]
    item = Controller(
        name="Invented controller", signal_text="Lamp: long, short, short, long (invented)"
    )
    new_id, _ = controllers.add(db, item, chosen, car.id, RACE_MORNING)
    return lists.steps(db, lists.settings_list(db, new_id).id)


def text(client: PageClient, path: str) -> str:
    answer = client.get(path, follow_redirects=True)
    assert answer.status_code == 200, path
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))).split())


def send(client: PageClient, step: Step, uuid: str = U1, **data: str) -> int:
    return client.post_form(f"/checks/walks/{uuid}/steps/{step.id}", data).status_code


def confirm(client: PageClient, step: Step, uuid: str = U1) -> int:
    return send(client, step, uuid, take="1", expected=step.planned or "off")


def ready(client: PageClient) -> str:
    return text(client, "/checks").split("Run through the settings")[0]


def test_empty_it_leads_to_the_car_then_to_the_controller(client: PageClient, request) -> None:
    assert "Add your car" in text(client, "/checks")
    assert "Add your car" in text(client, "/checks/card")
    request.getfixturevalue("car")
    assert "Add a controller" in text(client, "/checks")
    client.post_form("/checks/controllers/new", {"name": "New", "starting_list": "y", "fit": "y"})
    assert "No run-through yet." in ready(client)
    assert "Rev limit" in text(client, "/checks/controllers/1")


def test_a_run_through_to_its_verdict(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    page = text(client, run)
    assert page.startswith("Controller settings · pitapp")
    assert "Class limit at most 14 600 rpm Invented Planned 14 600 rpm" in page
    assert confirm(client, settings[0]) == 303
    assert "2 of 3" in text(client, run)
    assert "Check half done" in ready(client)
    assert send(client, settings[1], shown="4,5") == 303
    clock.tick(60)
    assert send(client, settings[2], shown="on") == 303
    verdict = text(client, f"/checks/walks/{U1}")
    assert "Legal Every reading is within the class limits, 1 differs from the plan" in verdict
    assert "Drag brake Shows 4.5 %, planned 10 %" in verdict
    assert "Drag brake shows 4.5 %, planned 10 %." in ready(client)
    ended = db.execute("SELECT started_at, ended_at FROM check_walks").fetchone()
    assert tuple(ended) == ("2026-05-16T09:00:00Z", "2026-05-16T09:01:00Z")
    client.post_form(f"/checks/walks/{U1}/plan")
    assert [step.planned for step in lists.steps(db, settings[0].checklist_id)] == [
        "14600",
        "4.5",
        "on",
    ]
    assert "Drag brake" not in ready(client)


def test_with_no_class_it_first_says_how_many_differ_from_the_plan(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    db.execute("UPDATE race_classes SET removed_at = '2026-05-16T08:00:00Z'")
    db.execute("UPDATE meetings SET race_class_id = NULL")
    send(client, settings[0], shown="14000")
    send(client, settings[1], shown="4,5")
    confirm(client, settings[2])
    verdict = text(client, f"/checks/walks/{U1}")
    assert f"2 differ from the plan {settings[0].name}, {settings[1].name}" in verdict
    assert "Done" not in verdict


def test_outside_the_class_stops_until_words_or_a_legal_reading(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    limit = settings[0]
    assert send(client, limit, shown="15001") == 303
    page = text(client, f"/checks/walks/{U1}")
    assert "Outside the class Shows 15 001 rpm" in page
    for reason in ("", "ok", "...", "🙂 🙂", "x" * 301):
        assert send(client, limit, stand="1", reason=reason) == 422
    assert send(client, limit, skip="1") == 422
    confirm(client, settings[1])
    confirm(client, settings[2])
    assert "Outside the class" in text(client, f"/checks/walks/{U1}")
    assert db.execute("SELECT ended_at FROM check_walks").fetchone()[0] is None
    assert send(client, limit, stand="1", reason="Lent by the official") == 303
    assert "Not legal Rev limit outside the class" in text(client, f"/checks/walks/{U1}")
    assert "Not legal Rev limit shows 15 001 rpm" in ready(client)
    assert send(client, limit, correct="1", take="1", expected="14600") == 303
    assert "Legal Every reading" in text(client, f"/checks/walks/{U1}")


def test_an_answer_sent_twice_or_late_changes_nothing(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    for step in settings:
        assert confirm(client, step) == 303
    before = [tuple(row) for row in db.execute("SELECT * FROM check_answers")]
    assert confirm(client, settings[2]) == 303
    assert send(client, settings[2], shown="on") == 409
    assert [tuple(row) for row in db.execute("SELECT * FROM check_answers")] == before
    client.post_form(f"/checks/walks/{U1}/remove")
    assert confirm(client, settings[0]) == 404


def test_begin_anew_sets_aside_and_can_be_undone(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    confirm(client, settings[0])
    client.post_form(f"/checks/walks/{U1}/again")
    assert client.get(f"/checks/walks/{U1}").status_code == 404
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()[0]
    client.post_form(f"/undo/{token}")
    assert "2 of 3" in text(client, f"/checks/walks/{U1}")


def test_a_replaced_answer_can_be_undone(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    send(client, settings[1], shown="5")
    send(client, settings[1], shown="6")
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()[0]
    assert client.post_form(f"/undo/{token}").status_code == 303
    assert [a.shown for a in store.answers(db, 1)] == ["5"]


def test_it_says_why_it_is_due_again(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], car: Car
) -> None:
    for step in settings:
        confirm(client, step)
    assert "Ready Legal, as planned" in ready(client)
    save = {
        "version": str(settings[1].version),
        "name": "Drag brake",
        "kind": "number",
        "unit": "%",
    }
    client.post_form(f"/checks/lists/steps/{settings[1].id}", save | {"planned": "15"})
    assert "Check again The plan of Drag brake changed." in ready(client)
    client.post_form(
        "/checks/controllers/1/edit", {"version": "1", "name": "Invented", "firmware": "2.0"}
    )
    assert "And 1 more." in ready(client)
    other, _ = controllers.add(db, Controller(name="Other"), STARTING_LIST, None, RACE_MORNING)
    client.post_form(f"/checks/controllers/{other}/fit")
    assert "Another controller is in the car." in ready(client)
    client.post_form(f"/checks/controllers/{other}/out/{car.id}")
    assert "No controller yet" in text(client, "/checks")


def test_a_timed_step_is_told_when_cut_short(
    client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    own = Step(checklist_id=AFTER_LIST, name="Glue sets", wait_s=600)
    lists.save_step(db, own, RACE_MORNING)
    steps = lists.steps(db, AFTER_LIST)
    rest = next(step for step in steps if step.wait_s)
    path = f"/checks/walks/{U1}/steps/{rest.id}"
    client.post_form(path, {"timer": "1"})
    assert "Wait until" in text(client, path)
    clock.tick(599)
    client.post_form(path, {"timer": "1"})
    send(client, rest, take="1", expected="done")
    for step in steps:
        if step is not rest:
            send(client, step, shown="40" if step.kind == "number" else "yes")
    assert "wait cut short" in text(client, f"/checks/walks/{U1}")


def test_a_walk_of_one_car_is_not_anothers(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    step = lists.steps(db, HEAT_LIST)[0]
    send(client, step, take="1", expected="done")
    other, _ = kit.save_car(db, car.model_copy(update={"id": 0, "name": "Other"}), RACE_MORNING)
    kit.choose_car(db, other)
    assert "1 of 8" in text(client, f"/checks/lists/{HEAT_LIST}/run")
    kit.choose_car(db, car.id)
    assert "2 of 8" in text(client, f"/checks/lists/{HEAT_LIST}/run")


def test_it_is_taken_up_again_for_twelve_hours(
    client: PageClient, db: sqlite3.Connection, car: Car, clock: Clock
) -> None:
    send(client, lists.steps(db, HEAT_LIST)[0], take="1", expected="done")
    clock.set(RACE_MORNING + timedelta(hours=12))
    assert "2 of 8" in text(client, f"/checks/lists/{HEAT_LIST}/run")
    clock.tick(1)
    assert "1 of 8" in text(client, f"/checks/lists/{HEAT_LIST}/run")


def test_steps_are_added_moved_and_removed(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    own = settings[0].checklist_id
    client.post_form(
        f"/checks/lists/{own}/steps/new",
        {"name": "Throttle response", "kind": "choice", "choices": "soft\nhard", "planned": "soft"},
    )
    new = lists.steps(db, own)[-1]
    assert (new.name, new.choices, new.planned) == ("Throttle response", ("soft", "hard"), "soft")
    client.post_form(f"/checks/lists/steps/{new.id}/move", {"to": "up"})
    client.post_form(f"/checks/lists/steps/{settings[0].id}/move", {"to": "up"})
    order = ["Rev limit", "Drag brake", "Throttle response", "Reverse"]
    assert [step.name for step in lists.steps(db, own)] == order
    client.post_form(f"/checks/lists/steps/{new.id}/remove")
    assert [step.name for step in lists.steps(db, own)] == order[:2] + order[3:]
    token = db.execute("SELECT token FROM undo_steps ORDER BY id DESC").fetchone()[0]
    client.post_form(f"/undo/{token}")
    assert [step.name for step in lists.steps(db, own)] == order


def test_a_list_of_ones_own(client: PageClient, db: sqlite3.Connection) -> None:
    client.post_form("/checks/lists/new", {"name": "Rain", "occasion": "other"})
    own = lists.checklists(db)[-1]
    assert "No steps yet." in text(client, f"/checks/lists/{own.id}/run")
    client.post_form(f"/checks/lists/{own.id}/steps/new", {"name": "Towel", "kind": "do"})
    assert "1 of 1" in text(client, f"/checks/lists/{own.id}/run")
    answer = client.post_form(
        f"/checks/lists/{own.id}", {"version": "9", "name": "Wet", "occasion": "heat"}
    )
    assert answer.status_code == 409
    assert 'value="Wet"' in answer.get_data(as_text=True)
    client.post_form(f"/checks/lists/{own.id}/remove")
    assert own.id not in [each.id for each in lists.checklists(db)]


@pytest.mark.parametrize("typed", HOSTILE)
def test_bad_input_is_answered_in_words(
    client: PageClient, settings: list[Step], typed: str
) -> None:
    step = settings[1]
    for data in (
        {"shown": typed},
        {"take": "1", "expected": typed},
        {"take": "1", "expected": "10", "shown": typed},
        {"stand": "1", "reason": typed},
    ):
        assert send(client, step, U2, **data) in (303, 409, 422)
    for path, data in (
        (f"/checks/lists/steps/{step.id}", {"planned": typed, "name": "x", "kind": "number"}),
        (f"/checks/lists/steps/{step.id}", {"name": typed, "kind": typed, "wait_s": typed}),
        (f"/checks/lists/steps/{step.id}", {"name": "x", "topic": typed, "step_size": typed}),
        (f"/checks/lists/{step.checklist_id}/plan", {f"planned-{step.id}": typed}),
        (f"/checks/lists/{step.checklist_id}/steps/new", {"name": typed, "version": typed}),
        ("/checks/lists/new", {"name": typed, "occasion": typed}),
        ("/checks/controllers/new", {"name": typed, "firmware": typed}),
        ("/checks/controllers/1/edit", {"name": "x", "version": typed}),
        (f"/checks/lists/steps/{step.id}/move", {"to": typed}),
        (f"/checks/walks/{typed[:50] or 'x'}/steps/{step.id}", {"shown": "5"}),
    ):
        answer = client.post_form(path, data)
        assert answer.status_code < 500, (path, data)


@pytest.mark.parametrize(
    "path",
    [
        "/checks/lists/999",
        "/checks/lists/999/run",
        "/checks/lists/999/plan",
        "/checks/lists/999/past",
        "/checks/lists/steps/999",
        "/checks/controllers/999",
        "/checks/walks/none",
        f"/checks/walks/{U1}/steps/1",
    ],
)
def test_what_is_not_there(client: PageClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_typed_values_stay_in_the_form(client: PageClient, settings: list[Step]) -> None:
    path = f"/checks/walks/{U1}/steps/{settings[1].id}"
    page = client.post_form(path, {"shown": "1,2,3"}).get_data(as_text=True)
    assert 'value="1,2,3"' in page
    assert "Write a number here, such as" in page
    answer = client.post_form(path, {"shown": "12", "take": "1", "expected": "10"})
    assert answer.status_code == 422
    assert "You typed another reading" in answer.get_data(as_text=True)


def test_the_card_reads_from_every_list(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    for step in settings:
        confirm(client, step)
    weigh = lists.steps(db, 2)[0]
    clock.tick(3600)
    send(client, weigh, U2, shown="1349")
    page = client.get("/checks/card").get_data(as_text=True)
    assert '<data id="card-rev_limit" value="14600">14\u202f600</data>' in page
    assert '<data id="card-mass" value="1349">1349</data>' in page
    assert page.count("card-stop") == 1
    assert "Lamp: long, short, short, long (invented)" in page
    assert "≥ 1350" in page


def test_pages_ask_the_database_a_fixed_number_of_times(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    def asked(path: str) -> int:
        statements: list[str] = []
        db.set_trace_callback(statements.append)
        client.get(path)
        db.set_trace_callback(None)
        return len(statements)

    paths = (
        "/checks",
        "/checks/card",
        f"/checks/lists/{settings[0].checklist_id}",
        "/checks/controllers",
    )
    client.get("/")
    before = [asked(path) for path in paths]
    for number in range(30):
        lists.add_checklist(
            db,
            lists.checklist(db, 1).model_copy(update={"name": str(number)}),
            [settings[2]],
            RACE_MORNING,
        )
        controllers.add(db, Controller(name=str(number)), STARTING_LIST, None, RACE_MORNING)
    assert [asked(path) for path in paths] == before
    assert max(before) <= 30


# What rules and driving touch most: common practice, no source.
FIRST_PLAN = {
    "plan_rev_limit": ("Rev limit", "14600"),
    "plan_no_advance": ("Advance and boost at zero", "yes"),
    "plan_throttle_response": ("Throttle response", "5"),
    "plan_drag_brake": ("Drag brake", "8"),
    "plan_brake_start": ("Where braking starts", "4"),
    "plan_brake_strength": ("Brake strength", "75"),
}


def test_a_new_controller_asks_for_six_settings_and_the_motor(
    client: PageClient, db: sqlite3.Connection, car: Car
) -> None:
    limited = RaceClass(name="Invented", rev_limit_rpm=14_600, timing_fixed=True)
    meetings.save_class(db, limited, RACE_MORNING)
    page = client.get("/checks/controllers/new").text
    assert 'name="plan_rev_limit" value="14600"' in page
    assert 'name="plan_no_advance" value="yes" checked' in page
    sent = {name: value for name, (_, value) in FIRST_PLAN.items()}
    more = {"name": "Mine", "motor_kv": "2380", "starting_list": "y", "fit": "y"}
    answer = client.post_form("/checks/controllers/new", sent | more)
    assert answer.status_code == 303
    mine = controllers.in_car(db, car.id)
    assert mine is not None
    steps = lists.steps(db, lists.settings_list(db, mine.id).id)
    planned = {step.name: step.planned for step in steps if step.planned}
    assert planned == dict(FIRST_PLAN.values())
    assert kit.motor(db, kit.car(db, car.id).motor_id or 0).kv_rpm_per_v == 2380
    undo = re.search(r'action="(/undo/[^"]+)"', client.get("/checks").text)
    assert undo
    client.post_form(undo[1])
    assert controllers.controllers(db) == []
    assert kit.motors(db) == []
    assert kit.car(db, car.id).motor_id is None


@pytest.mark.parametrize(("field", "typed"), [("motor_kv", "3"), ("plan_drag_brake", "much")])
def test_a_fault_beside_a_new_controller_stands_at_its_field(
    client: PageClient, db: sqlite3.Connection, car: Car, field: str, typed: str
) -> None:
    sent = {"name": "Mine", "starting_list": "y", "fit": "y", field: typed}
    answer = client.post_form("/checks/controllers/new", sent)
    assert answer.status_code == 422
    assert f'id="{field}-error"' in answer.text
    assert f'value="{typed}"' in answer.text
    assert controllers.controllers(db) == []
    assert kit.motors(db) == []
