"""Run-throughs of some of the settings: what each goes through, what it proves, what is asked about.

The rules are the room's own; the figures are made up.
"""

from __future__ import annotations

import re
import sqlite3
from html import unescape
from uuid import uuid4

import pytest

from pitapp.board.models import ReadyLine, Situation
from pitapp.checks import ready
from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.checks.models import Controller, Limit, Scope, Step
from pitapp.checks.scope import in_scope, offered, outside_range
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.web.clock import now
from tests.support import RACE_MORNING, Clock, PageClient

REV, SIGNAL, ADVANCE, BOTH_ZERO = STARTING_LIST[:4]
FAIL_SAFE = STARTING_LIST[-1]
DRAG = next(step for step in STARTING_LIST if step.name == "Drag brake")
RESPONSE = next(step for step in STARTING_LIST if step.name == "Throttle response")
FIXED = {"rev_limit": Limit(most=14_600), "timing": Limit(least=0, most=0)}


def named(scope: Scope, limits: dict[str, Limit], steps: list[Step]) -> list[str]:
    return [each.name for each in in_scope(steps, scope, limits)]


def test_needed_to_race_is_what_the_class_fixes_and_what_is_required() -> None:
    steps = list(STARTING_LIST)
    fixed = named("legal", FIXED, steps)
    assert fixed == [REV.name, SIGNAL.name, ADVANCE.name, BOTH_ZERO.name, FAIL_SAFE.name]
    rev_limit_alone = named("legal", {"rev_limit": Limit(most=14_600)}, steps)
    assert rev_limit_alone == [REV.name, SIGNAL.name, BOTH_ZERO.name, FAIL_SAFE.name]
    # A further limit of the class, under the name of a setting, is the class's too.
    assert DRAG.name in named("legal", FIXED | {"drag brake": Limit(most=10)}, steps)
    # Without a class the racer's own group stands in for it.
    assert named("legal", {"mass": Limit(least=1350)}, steps) == fixed


def test_after_a_reset_it_comes_to_what_the_plan_has_different_or_cannot_know() -> None:
    steps = [
        REV.model_copy(update={"id": 1, "planned": "14600", "maker_default": "off"}),
        DRAG.model_copy(update={"id": 2, "planned": "5", "maker_default": "5.0"}),
        RESPONSE.model_copy(update={"id": 3, "planned": "4"}),
        SIGNAL.model_copy(update={"id": 4, "maker_default": "no"}),
    ]
    assert named("reset", {}, steps) == [REV.name, RESPONSE.name]
    assert named("planned", {}, steps) == [REV.name, DRAG.name, RESPONSE.name]
    assert offered(steps, FIXED) == {"legal": 2, "planned": 3, "reset": 2}
    unknown = [each.model_copy(update={"maker_default": ""}) for each in steps]
    assert offered(unknown, FIXED) == {"legal": 2, "planned": 3}
    assert offered(unknown[:1], FIXED) == {}


@pytest.mark.parametrize(
    ("text", "outside"),
    [("0", False), ("50", False), ("50.1", True), ("-1", True), ("off", False), ("60", False)],
)
def test_a_reading_outside_the_range_is_doubted_but_for_what_is_known(
    text: str, outside: bool
) -> None:
    step = DRAG.model_copy(update={"range_least": 0, "range_most": 50})
    assert outside_range(step, text, ["60"]) is outside


@pytest.fixture
def settings(db: sqlite3.Connection) -> list[Step]:
    """Four settings of the controller in the car, in a class that limits the first."""
    car = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
    car_id, _ = kit.save_car(db, car, RACE_MORNING)
    limited = RaceClass(name="Invented", rev_limit_rpm=14_600)
    class_id, _ = meetings.save_class(db, limited, RACE_MORNING)
    meeting = Meeting(day=RACE_MORNING.date(), time_zone="UTC", race_class_id=class_id)
    meetings.save_meeting(db, meeting, RACE_MORNING)
    chosen = [
        REV.model_copy(update={"planned": "14600", "maker_default": "off"}),
        SIGNAL,
        DRAG.model_copy(
            update={"planned": "10", "maker_default": "10", "range_least": 0, "range_most": 50}
        ),
        RESPONSE,
    ]
    item = Controller(name="Invented controller", firmware="1.0")
    new_id, _ = controllers.add(db, item, chosen, car_id, RACE_MORNING)
    return lists.steps(db, lists.settings_list(db, new_id).id)


def text(client: PageClient, path: str) -> str:
    answer = client.get(path, follow_redirects=True)
    assert answer.status_code == 200, path
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))).split())


def send(client: PageClient, step: Step, uuid: str, scope: str = "", **data: str) -> int:
    address = f"/checks/walks/{uuid}/steps/{step.id}" + (f"?steps={scope}" if scope else "")
    return client.post_form(address, data).status_code


def board_line(client: PageClient, db: sqlite3.Connection, clock: Clock) -> ReadyLine:
    with client.application.test_request_context("/"):
        meeting = meetings.current_meeting(db, clock())
        car = kit.cars(db)[0]
        race_class = meetings.class_raced(db, meeting, car.id)
        return ready.line(db, Situation(car=car, now=now(), meeting=meeting, race_class=race_class))


def walk_legal(client: PageClient, settings: list[Step], rev: str = "14600") -> str:
    uuid = str(uuid4())
    assert send(client, settings[0], uuid, "legal", shown=rev) == 303
    assert send(client, settings[1], uuid, "legal", shown="yes") == 303
    return uuid


def test_a_part_ends_after_its_steps_and_says_what_it_was(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    page = text(client, "/checks")
    assert "Needed to race (2) Planned only (2) After a reset or update (1)" in page
    run = f"/checks/lists/{settings[0].checklist_id}/run?steps=legal"
    assert "1 of 2" in text(client, run)
    uuid = walk_legal(client, settings)
    verdict = text(client, f"/checks/walks/{uuid}")
    assert "Legal Every reading is within the class limits" in verdict
    assert "Needed to race: 2 of 4 settings" in verdict
    assert "Needed to race" in text(client, f"/checks/lists/{settings[0].checklist_id}/past")
    # A run-through of the whole list is another one, and asks what was not read for this heat.
    assert "3 of 4" in text(client, run.partition("?")[0])
    assert db.execute("SELECT count(*) FROM check_walks").fetchone()[0] == 1


def test_one_left_half_way_is_taken_up_by_its_own_kind(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    run = f"/checks/lists/{settings[0].checklist_id}/run"
    uuid = str(uuid4())
    send(client, settings[0], uuid, "legal", shown="14600")
    assert "2 of 2" in text(client, f"{run}?steps=legal")
    assert "1 of 4" in text(client, run)
    line = board_line(client, db, clock)
    assert (line.word, line.href) == ("check half done", f"{run}?steps=legal")
    # One that is begun and ended after it takes its place.
    clock.tick(60)
    whole = str(uuid4())
    for step, shown in zip(settings, ("14600", "yes", "10", "5"), strict=True):
        assert send(client, step, whole, shown=shown) == 303
    assert board_line(client, db, clock).word == "ready"
    # Begun anew, it is of the same kind.
    answer = client.post_form(f"/checks/walks/{uuid}/again")
    assert answer.headers["Location"].endswith("run?anew=1&steps=legal")


def test_a_part_proves_no_more_than_was_read(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    walk_legal(client, settings)
    line = board_line(client, db, clock)
    assert (line.level, line.word) == ("look", "legal")
    assert line.reason.endswith("1 planned setting was not read.")
    # What is limited and was passed over is not called legal.
    uuid = str(uuid4())
    db.execute("UPDATE check_steps SET planned = '' WHERE id = ?", (settings[0].id,))
    assert send(client, settings[2], uuid, "planned", shown="10") == 303
    verdict = text(client, f"/checks/walks/{uuid}")
    assert "Legal not proven Not among these settings: Rev limit" in verdict


def test_a_part_stands_on_the_whole_list_before_it(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    whole = str(uuid4())
    for step, shown in zip(settings, ("14500", "yes", "12", "5"), strict=True):
        send(client, step, whole, shown=shown)
    clock.tick(600)
    walk_legal(client, settings)
    line = board_line(client, db, clock)
    assert (line.level, line.word) == ("look", "not as planned")
    assert "Drag brake shows 12 %, planned 10 %." in line.reason
    uuid = str(uuid4())
    clock.tick(600)
    send(client, settings[0], uuid, "planned", shown="14600")
    send(client, settings[2], uuid, "planned", shown="10")
    assert board_line(client, db, clock).level == "good"


def test_an_update_asks_for_more_than_the_legal_settings(
    client: PageClient, db: sqlite3.Connection, settings: list[Step], clock: Clock
) -> None:
    whole = str(uuid4())
    for step, shown in zip(settings, ("14600", "yes", "10", "5"), strict=True):
        send(client, step, whole, shown=shown)
    db.execute("UPDATE controllers SET firmware = '1.1'")
    clock.tick(600)
    walk_legal(client, settings)
    assert board_line(client, db, clock).reason == "Firmware noted as 1.1."
    clock.tick(600)
    assert send(client, settings[0], str(uuid4()), "reset", shown="14600") == 303
    assert board_line(client, db, clock).level == "good"


def test_a_reading_outside_the_range_is_asked_about_once_and_kept_if_it_is_right(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    drag, uuid = settings[2], str(uuid4())
    address = f"/checks/walks/{uuid}/steps/{drag.id}"
    answer = client.post_form(address, {"shown": "60"})
    page = " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))).split())
    assert answer.status_code == 422
    assert "Outside the range noted here (0 % to 50 %). Is it right?" in page
    assert 'value="60"' in answer.get_data(as_text=True)
    assert db.execute("SELECT count(*) FROM check_answers").fetchone()[0] == 0
    assert send(client, drag, uuid, shown="60", sure="1") == 303
    assert db.execute("SELECT shown FROM check_answers").fetchone()[0] == "60"
    # The next time it is known, and what is planned is never asked about.
    assert send(client, drag, str(uuid4()), shown="60") == 303
    assert send(client, drag, str(uuid4()), shown="61") == 422
    lists.save_plan(db, {drag.id: "70"}, RACE_MORNING)
    assert send(client, drag, str(uuid4()), take="1", expected="70") == 303


def test_a_plan_outside_the_range_is_asked_about_on_both_forms(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    drag = settings[2]
    plan = f"/checks/lists/{drag.checklist_id}/plan"
    name = f"planned-{drag.id}"
    assert client.post_form(plan, {name: "80"}).status_code == 422
    assert lists.step(db, drag.id).planned == "10"
    assert client.post_form(plan, {name: "80", f"sure-{name}": "1"}).status_code == 303
    assert lists.step(db, drag.id).planned == "80"
    assert client.post_form(plan, {name: "80"}).status_code == 303
    one = f"/checks/lists/steps/{drag.id}"
    form = {
        "name": "Drag brake",
        "kind": "number",
        "unit": "%",
        "planned": "80",
        "maker_default": "5",
        "range_least": "0",
        "range_most": "60",
        "version": str(lists.step(db, drag.id).version),
    }
    assert client.post_form(one, form).status_code == 303
    stored = lists.step(db, drag.id)
    assert (stored.maker_default, stored.range_least, stored.range_most) == ("5", 0, 60)
    form["version"] = str(stored.version)
    assert client.post_form(one, form | {"planned": "90"}).status_code == 422
    assert client.post_form(one, form | {"planned": "90", "sure": "y"}).status_code == 303
    form["version"] = str(lists.step(db, drag.id).version)
    for wrong in ({"range_least": "70"}, {"range_most": "much"}, {"maker_default": "?" * 201}):
        answer = client.post_form(one, form | {"planned": "90"} | wrong)
        assert answer.status_code == 422, wrong


def test_readings_right_after_a_reset_become_the_defaults_and_can_be_undone(
    client: PageClient, db: sqlite3.Connection, settings: list[Step]
) -> None:
    whole = str(uuid4())
    for step, shown in zip(settings, ("off", "no", "5", "5"), strict=True):
        send(client, step, whole, shown=shown)
    send(client, settings[0], whole, stand="1", reason="Just reset, nothing set yet")
    assert client.post_form(f"/checks/walks/{whole}/defaults").status_code == 303
    noted = [each.maker_default for each in lists.steps(db, settings[0].checklist_id)]
    assert noted == ["off", "no", "5", "5"]
    label = db.execute("SELECT label, token FROM undo_steps ORDER BY id DESC LIMIT 1").fetchone()
    assert label["label"] == "Noted the maker's defaults"
    client.post_form(f"/undo/{label['token']}")
    noted = [each.maker_default for each in lists.steps(db, settings[0].checklist_id)]
    assert noted == ["off", "", "10", ""]
