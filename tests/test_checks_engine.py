"""What a run-through says: judgements, verdicts, and when it is stale.

The rules are the room's own; the figures are made up.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitapp.checks.class_limits import class_limits
from pitapp.checks.engine import (
    first_open,
    is_reason,
    judge,
    judge_all,
    plan_from,
    reasons_due,
    same,
    unlisted,
    verdict,
    within_limit,
)
from pitapp.checks.models import Answer, ChecklistRun, Controller, Limit, Step
from pitapp.meetings.models import ClassLimit, RaceClass

NOON = datetime(2026, 5, 16, 12, 0, tzinfo=UTC)
LIMIT = Step(id=1, name="Rev limit", kind="number", unit="rpm", topic="rev_limit", planned="14600")
DRAG = Step(id=2, name="Drag brake", kind="number", unit="%", planned="10")
FAN = Step(id=3, name="Fan turns", kind="yesno")
STEPS = [LIMIT, DRAG, FAN]
CONTROLLER = Controller(id=7, name="Invented", firmware="1.0")


def answer(step: Step, shown: str = "", **more: Any) -> Answer:
    values: dict[str, Any] = {"planned": step.planned, "answered_at": NOON, "unit": step.unit}
    if step is LIMIT:
        values["most"] = 14_600
    return Answer(walk_id=1, step_id=step.id, key=step.key, shown=shown, **(values | more))


def walk(**more: Any) -> ChecklistRun:
    values = {
        "uuid": "00000000-0000-4000-8000-000000000001",
        "checklist_id": 1,
        "controller_id": 7,
        "motor_id": 5,
        "race_class_id": 3,
        "firmware": "1.0",
        "started_at": NOON,
        "ended_at": NOON,
    }
    return ChecklistRun(**(values | more))


GOOD = [answer(LIMIT, "14600"), answer(DRAG, "10"), answer(FAN, "yes")]


def due(
    found: ChecklistRun | None = None, answers: list[Answer] | None = None, **more: Any
) -> list[str]:
    now: dict[str, Any] = {
        "controller": CONTROLLER,
        "motor_id": 5,
        "race_class_id": 3,
        "limits": {"rev_limit": Limit(most=14_600)},
    }
    steps = more.pop("steps", STEPS)
    return reasons_due(found or walk(), GOOD if answers is None else answers, steps, **(now | more))


def test_all_as_planned_and_inside_is_legal() -> None:
    found = verdict(judge_all(STEPS, GOOD))
    assert found.legal is True
    assert (found.outside, found.different, found.changed, found.skipped) == ((), (), (), ())


def test_outside_is_a_stop_until_a_reason_is_given_and_never_legal() -> None:
    over = judge(LIMIT, answer(LIMIT, "14700"))
    assert over.problems == ("outside", "different")
    assert over.stopped
    assert not over.settled
    stands = judge(LIMIT, answer(LIMIT, "14700", reason="Lent by the official"))
    assert stands.settled
    assert verdict([stands]).legal is False


@pytest.mark.parametrize("reason", ["", " ", "ok", "....", "x y", "1 2 3", "🙂 🙂"])
def test_a_reason_is_words(reason: str) -> None:
    assert not is_reason(reason)


def test_a_limited_reading_left_out_is_neither_legal_nor_illegal() -> None:
    found = verdict(judge_all(STEPS, [answer(LIMIT, skipped=True), *GOOD[1:]]))
    assert found.legal is None
    assert [each.step for each in found.unread] == [LIMIT]
    assert verdict(judge_all(STEPS[1:], GOOD[1:])).legal is None


class Firm(Step):
    firm: ClassVar[bool] = True


@pytest.mark.parametrize(
    "given",
    [
        {"shown": "14700", "reason": "Lent by the official"},
        {"shown": "14000"},
        {"skipped": True},
    ],
)
def test_at_a_firm_step_no_reason_lets_anything_stand(given: dict[str, Any]) -> None:
    firm = Firm(**LIMIT.model_dump())
    refused = judge(firm, answer(LIMIT, **given))
    assert refused.stopped
    assert first_open([refused]) == refused
    assert judge(firm, answer(LIMIT, "14600")).settled


def test_where_it_goes_on() -> None:
    assert first_open(judge_all(STEPS, [])) == judge(LIMIT, None)
    left = first_open(judge_all(STEPS, [GOOD[0], GOOD[2]]))
    assert left is not None
    assert left.step == DRAG
    assert first_open(judge_all(STEPS, GOOD)) is None


def test_different_changed_and_early_are_told() -> None:
    wait = Step(id=4, name="Rest", wait_s=60)
    began = NOON - timedelta(seconds=59)
    judged = [
        judge(DRAG, answer(DRAG, "5", last_shown="10")),
        judge(wait, answer(wait, "done", began_at=began)),
        judge(wait, answer(wait, "done", began_at=began - timedelta(seconds=1))),
        judge(wait, answer(wait, "done")),
    ]
    assert [each.problems for each in judged] == [
        ("different", "changed"),
        ("early",),
        (),
        ("early",),
    ]


@given(st.floats(-1e9, 1e9), st.floats(-1e9, 1e9), st.floats(-1e9, 1e9))
def test_limits_hold_at_their_edges(one: float, other: float, value: float) -> None:
    least, most = sorted((one, other))
    asked = Limit(least=least, most=most)
    assert within_limit(asked, repr(least))
    assert within_limit(asked, repr(most))
    if least <= value <= most:
        assert within_limit(asked, repr(value))
    elif min(abs(value - least), abs(value - most)) > 1e-8 * max(1, abs(value)):
        assert not within_limit(asked, repr(value))


def test_words_are_outside_every_number() -> None:
    assert not within_limit(Limit(most=14_600), "off")
    assert same("Off", "off")
    assert not same("0", "off")


def test_what_is_not_stale_stands() -> None:
    assert due() == []


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"motor_id": 6}, "Another motor is in the car."),
        ({"motor_id": None}, "Another motor is in the car."),
        ({"race_class_id": 4}, "You race another class now."),
        (
            {"controller": CONTROLLER.model_copy(update={"id": 8})},
            "Another controller is in the car.",
        ),
        (
            {"controller": CONTROLLER.model_copy(update={"firmware": "1.1"})},
            "Firmware noted as 1.1.",
        ),
        ({"limits": {"rev_limit": Limit(most=14_000)}}, "The class limit of Rev limit changed."),
        ({"limits": {}}, "The class limit of Rev limit changed."),
        (
            {"steps": [LIMIT, DRAG.model_copy(update={"planned": "15"}), FAN]},
            "The plan of Drag brake changed.",
        ),
        (
            {"steps": [*STEPS, Step(id=9, name="Throttle response")]},
            "Throttle response is new in the list.",
        ),
    ],
)
def test_it_goes_stale(change: dict[str, Any], reason: str) -> None:
    assert due(**change) == [reason]


def test_no_run_through_is_due() -> None:
    found = reasons_due(
        None, [], STEPS, controller=CONTROLLER, motor_id=None, race_class_id=None, limits={}
    )
    assert found == ["No run-through yet."]


def test_planning_what_was_read_makes_nothing_due() -> None:
    read = [GOOD[0], answer(DRAG, "5"), GOOD[2]]
    plan = plan_from(judge_all(STEPS, read))
    assert plan == {2: "5", 3: "yes"}
    planned = [
        step.model_copy(update={"planned": plan.get(step.id, step.planned)}) for step in STEPS
    ]
    assert due(answers=read, steps=planned) == []


def test_what_is_illegal_or_amiss_is_never_planned() -> None:
    read = [answer(LIMIT, "16000"), answer(DRAG, "10"), answer(FAN, "no")]
    assert plan_from(judge_all(STEPS, read)) == {}


def test_what_a_class_asks() -> None:
    race_class = RaceClass(
        name="Invented",
        rev_limit_rpm=14_600,
        timing_fixed=True,
        timing_deg=41,
        timing_tolerance_deg=2,
        least_mass_g=1350,
        most_capacity_mah=6000,
        most_start_v=8.40,
        least_ride_height_mm=5,
        limits=(
            ClassLimit(name="Wing chord", unit="mm", most=40),
            ClassLimit(name="Wheelbase", unit="mm", exactly=257),
        ),
    )
    assert class_limits(race_class) == {
        "rev_limit": Limit(most=14_600),
        "timing": Limit(least=0, most=0),
        "motor_timing": Limit(least=39, most=43),
        "mass": Limit(least=1350),
        "capacity": Limit(most=6000),
        "start_v": Limit(most=8.40),
        "ride_height": Limit(least=5),
        "wing chord": Limit(most=40),
        "wheelbase": Limit(least=257, most=257),
    }
    assert class_limits(None) == {}
    assert class_limits(RaceClass(name="Open")) == {}


def test_a_timing_that_was_typed_is_a_limit_with_the_tick_or_without() -> None:
    typed = RaceClass(name="Invented", timing_deg=36, timing_tolerance_deg=2)
    assert class_limits(typed) == {"motor_timing": Limit(least=34, most=38)}


def test_what_no_setting_reads_is_told() -> None:
    found = class_limits(RaceClass(name="Invented", rev_limit_rpm=14_600, least_mass_g=1350))
    assert unlisted(STEPS, found) == []
    assert unlisted([DRAG, FAN], found) == ["Rev limit"]
