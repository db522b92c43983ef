"""The lists to begin with: general words, reasons, cautions, and nothing planned for anybody."""

from __future__ import annotations

import sqlite3

import pytest

from pitapp.checks.lists.store import checklists, steps
from pitapp.checks.models import Step
from pitapp.checks.starting_list import GROUPS, STARTING_LIST

SUBJECTS = (
    "rev limit",
    "signal",
    "timing advance",
    "advance and boost at zero",
    "throttle response",
    "response at small throttle",
    "drive frequency",
    "motor direction",
    "reverse",
    "drag brake",
    "braking starts",
    "brake strength",
    "brake frequency",
    "cut-off per cell",
    "cut-off for the pack",
    "protection of the controller",
    "protection of the motor",
    "fan",
    "sensor lead",
    "capacitor",
    "servo",
    "deadband",
    "trim and end points",
    "fail-safe",
)


@pytest.mark.parametrize("subject", SUBJECTS)
def test_the_settings_of_the_trade_are_there_once(subject: str) -> None:
    assert sum(subject in step.name.casefold() for step in STARTING_LIST) == 1


def test_nothing_is_planned_and_the_groups_keep_together() -> None:
    assert [step.planned for step in STARTING_LIST] == [""] * len(STARTING_LIST)
    groups = [step.group_name for step in STARTING_LIST]
    assert list(dict.fromkeys(groups)) == list(GROUPS)
    assert groups == sorted(groups, key=GROUPS.index)


@pytest.mark.parametrize("step", STARTING_LIST, ids=lambda step: step.name)
def test_each_says_why_and_what_goes_wrong_in_one_sentence(step: Step) -> None:
    for sentence in (step.why, step.goes_wrong):
        assert sentence.endswith(".")
        assert sentence.count(".") == 1
    assert (step.kind == "number") == (step.step_size is not None)


def test_the_other_lists_are_there_and_the_temperature_comes_first(db: sqlite3.Connection) -> None:
    lists = {each.occasion: steps(db, each.id) for each in checklists(db)}
    assert list(lists) == ["meeting", "scrutineering", "heat", "after", "end"]
    assert lists["after"][0].name == "Temperature of the can"
    assert lists["after"][0].required
    assert lists["after"][0].caution
    rest = next(step for step in lists["after"] if step.name == "Pack and motor rest")
    assert rest.wait_s is None
    assert "as cool as the air" in rest.why
    names = [step.name for step in lists["meeting"]]
    assert names[:2] == [
        "Setting tool connects to the controller",
        "Setting tool is itself up to date",
    ]
    assert "The long and the short gears packed" in names
    topics = {step.topic for step in lists["scrutineering"]}
    assert {"mass", "start_v", "ride_height"} <= topics
