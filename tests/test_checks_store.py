"""Controllers, checklists and run-throughs in the database."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta

import pytest

from pitapp.checks import answering, store
from pitapp.checks.controllers import store as controllers
from pitapp.checks.lists import store as lists
from pitapp.checks.models import ChecklistRun, Controller, Limit, Step
from pitapp.checks.starting_list import STARTING_LIST
from pitapp.db import undo
from pitapp.errors import ChangedMeanwhile, NotThere
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from tests.support import RACE_MORNING

CAR = Car(name="Invented TC", internal_ratio=1.9, pitch="dp:64", tyre_diameter_mm=63)
DRAG = STARTING_LIST[9]
WEIGHT_LIST = 2


@pytest.fixture
def cars(db: sqlite3.Connection) -> list[int]:
    named = [CAR.model_copy(update={"name": name}) for name in ("One", "Two")]
    return [kit.save_car(db, car, RACE_MORNING)[0] for car in named]


def controller(db: sqlite3.Connection, name: str, car_id: int | None = None) -> Controller:
    added, _ = controllers.add(db, Controller(name=name), [DRAG], car_id, RACE_MORNING)
    return controllers.controller(db, added)


def drag_of(db: sqlite3.Connection, item: Controller) -> Step:
    return lists.steps(db, lists.settings_list(db, item.id).id)[0]


def begin(
    db: sqlite3.Connection,
    number: int,
    checklist_id: int,
    car_id: int | None,
    controller_id: int | None = None,
    at: datetime = RACE_MORNING,
    motor_id: int | None = None,
) -> ChecklistRun:
    new = ChecklistRun(
        uuid=f"00000000-0000-4000-8000-{number:012}",
        checklist_id=checklist_id,
        car_id=car_id,
        controller_id=controller_id,
        motor_id=motor_id,
        started_at=at,
    )
    return store.begin(db, new)


def read(
    db: sqlite3.Connection, walk: ChecklistRun, step: Step, shown: str, after_s: int = 0
) -> str | None:
    steps = lists.steps(db, walk.checklist_id)
    moment = walk.started_at + timedelta(seconds=after_s)
    return answering.answer(db, walk, steps, step, shown, limits={}, now=moment)[1]


def test_a_controller_moves_from_car_to_car(db: sqlite3.Connection, cars: list[int]) -> None:
    one, two = cars
    first = controller(db, "First", one)
    second = controller(db, "Second")
    controllers.put_in(db, two, first, RACE_MORNING)
    assert controllers.cars_of(db) == {first.id: {one: "One", two: "Two"}}
    token = controllers.put_in(db, one, second, RACE_MORNING)
    assert controllers.in_car(db, one) == second
    assert controllers.cars_of(db) == {first.id: {two: "Two"}, second.id: {one: "One"}}
    undo.undo(db, token, RACE_MORNING)
    assert controllers.in_car(db, one) == first
    controllers.take_out(db, one, RACE_MORNING)
    assert controllers.in_car(db, one) is None
    controllers.remove(db, first.id, RACE_MORNING)
    assert controllers.in_car(db, two) is None
    assert controllers.controller(db, first.id).name == "First"


def test_adding_a_controller_is_undone_with_all_its_settings(
    db: sqlite3.Connection, cars: list[int]
) -> None:
    before = [db.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in TABLES]
    _, token = controllers.add(db, Controller(name="New"), STARTING_LIST, cars[0], RACE_MORNING)
    undo.undo(db, token, RACE_MORNING)
    assert [db.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in TABLES] == before


TABLES = ("controllers", "checklists", "check_steps", "car_controllers")


def test_two_screens_do_not_overwrite_each_other(db: sqlite3.Connection) -> None:
    item = controller(db, "First")
    controllers.change(db, item.model_copy(update={"firmware": "1"}), RACE_MORNING)
    with pytest.raises(ChangedMeanwhile):
        controllers.change(db, item.model_copy(update={"firmware": "2"}), RACE_MORNING)
    step = drag_of(db, item)
    lists.save_step(db, step.model_copy(update={"planned": "5"}), RACE_MORNING)
    with pytest.raises(ChangedMeanwhile):
        lists.save_step(db, step.model_copy(update={"planned": "6"}), RACE_MORNING)
    assert drag_of(db, item).planned == "5"


def test_last_time_is_of_the_same_controller_in_whatever_car(
    db: sqlite3.Connection, cars: list[int]
) -> None:
    one, two = controller(db, "First"), controller(db, "Second")
    step = drag_of(db, one)
    first = begin(db, 1, step.checklist_id, cars[0], one.id)
    read(db, first, step, "5")
    again = begin(db, 2, step.checklist_id, cars[1], one.id)
    found = store.last_shown(db, again, step)
    assert found is not None
    assert found.shown == "5"
    assert store.last_shown(db, first, step) is None
    other = begin(db, 3, drag_of(db, two).checklist_id, cars[0], two.id)
    assert store.last_shown(db, other, drag_of(db, two)) is None


def test_last_time_of_other_lists_is_of_the_same_car(
    db: sqlite3.Connection, cars: list[int]
) -> None:
    step = lists.steps(db, WEIGHT_LIST)[0]
    read(db, begin(db, 1, WEIGHT_LIST, cars[0]), step, "1400")
    assert store.last_shown(db, begin(db, 2, WEIGHT_LIST, cars[1]), step) is None
    assert store.last_shown(db, begin(db, 3, WEIGHT_LIST, cars[0]), step) is not None


def test_readings_are_the_newest_of_this_car_controller_and_motor(
    db: sqlite3.Connection, cars: list[int]
) -> None:
    first, second = controller(db, "First"), controller(db, "Second")
    weight = next(s for s in lists.steps(db, WEIGHT_LIST) if s.topic == "mass")
    timing = next(s for s in lists.steps(db, WEIGHT_LIST) if s.topic == "motor_timing")
    read(db, begin(db, 1, WEIGHT_LIST, cars[0]), weight, "1400")
    later = begin(db, 2, WEIGHT_LIST, cars[0], at=RACE_MORNING + timedelta(hours=1))
    read(db, later, weight, "1390")
    read(db, later, timing, "41")
    read(db, begin(db, 3, WEIGHT_LIST, cars[1]), weight, "1500", after_s=9000)
    step = drag_of(db, first)
    read(db, begin(db, 4, step.checklist_id, cars[0], first.id), step, "12")
    keys = ["mass", "drag brake", "motor_timing", "unknown"]

    def found(controller_id: int | None, motor_id: int | None) -> dict[str, str]:
        readings = store.latest_readings(db, cars[0], keys, controller_id, motor_id)
        return {key: answer.shown for key, answer in readings.items()}

    assert found(first.id, None) == {"mass": "1390", "drag brake": "12", "motor_timing": "41"}
    assert found(second.id, None) == {"mass": "1390", "motor_timing": "41"}
    assert found(first.id, 5) == {"mass": "1390", "drag brake": "12"}
    assert store.latest_readings(db, cars[0], [], None, None) == {}


def test_an_answer_is_one_row_however_often_it_is_given(
    db: sqlite3.Connection, cars: list[int]
) -> None:
    item = controller(db, "First")
    step = drag_of(db, item)
    walk = begin(db, 1, step.checklist_id, cars[0], item.id)
    assert begin(db, 1, step.checklist_id, cars[0], item.id) == walk
    assert read(db, walk, step, "5") is None
    token = read(db, walk, step, "6")
    assert [answer.shown for answer in store.answers(db, walk.id)] == ["6"]
    assert token is not None
    undo.undo(db, token, RACE_MORNING)
    assert [answer.shown for answer in store.answers(db, walk.id)] == ["5"]


def test_the_last_answer_ends_it_and_one_outside_opens_it_again(
    db: sqlite3.Connection, cars: list[int]
) -> None:
    item = controller(db, "First")
    step = drag_of(db, item)
    walk = begin(db, 1, step.checklist_id, cars[0], item.id)
    read(db, walk, step, "5", after_s=60)
    ended = store.checklist_run(db, walk.uuid)
    assert ended.ended_at == RACE_MORNING + timedelta(minutes=1)
    answering.answer(
        db, ended, [step], step, "50", limits={"drag brake": Limit(most=20)}, now=RACE_MORNING
    )
    assert store.checklist_run(db, walk.uuid).ended_at is None


def test_an_ended_run_through_keeps_the_steps_that_it_had(
    db: sqlite3.Connection, cars: list[int]
) -> None:
    item = controller(db, "First")
    step = drag_of(db, item)
    walk = begin(db, 1, step.checklist_id, cars[0], item.id)
    read(db, walk, step, "5")
    lists.remove_step(db, step.id, RACE_MORNING)
    lists.save_step(
        db, Step(checklist_id=step.checklist_id, name="Throttle response"), RACE_MORNING
    )
    assert [each.name for each in lists.steps_answered(db, walk.id)] == ["Drag brake"]
    assert [each.name for each in lists.steps(db, step.checklist_id)] == ["Throttle response"]


def test_the_past_is_paged_newest_first(db: sqlite3.Connection, cars: list[int]) -> None:
    for number in range(7):
        begin(db, number, 3, cars[0], at=RACE_MORNING + timedelta(hours=number // 2))
    pages, before = [], None
    while page := store.past(db, 3, limit=3, before_id=before):
        pages.append([walk.id for walk in page])
        before = page[-1].id
    assert pages == [[7, 6, 5], [4, 3, 2], [1]]


def test_what_was_taken_away_is_not_there(db: sqlite3.Connection, cars: list[int]) -> None:
    walk = begin(db, 1, 3, cars[0])
    store.remove_run(db, walk, RACE_MORNING)
    with pytest.raises(NotThere):
        store.checklist_run(db, walk.uuid)
    with pytest.raises(NotThere):
        begin(db, 1, 3, cars[0])
    assert store.past(db, 3) == []
