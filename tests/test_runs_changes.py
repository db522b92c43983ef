"""What changed between two runs, in words. Expected sentences are written by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitapp.gearing.formulas import final_drive_ratio
from pitapp.runs.changes import changes, in_one_line
from pitapp.runs.direction_words import GRADES, direction_word
from pitapp.runs.models import (
    FittedCar,
    FittedController,
    FittedMotor,
    FittedPack,
    FittedTyres,
    Run,
    Setting,
)
from tests.runs_support import a_run


def said(before: dict[str, Any], after: dict[str, Any]) -> str:
    return in_one_line(changes(a_run(**before), a_run(**after)))


def worn(runs: int, *, set_id: int = 1, **more: Any) -> FittedTyres:
    return FittedTyres(id=set_id, name=f"Set {set_id}", runs_done=runs, **more)


def entry(group: str, name: str, value: str, unit: str = "") -> Setting:
    return Setting(group=group, name=name, value=value, unit=unit)


def test_a_whole_sentence() -> None:
    # 66/43 × 1.9 = 2.9163, 66/45 × 1.9 = 2.7867; 14.91 − 15.02 = −0.11 (by hand).
    before = {
        "setup": (entry("Rear", "Springs", "2.6", "N/mm"),),
        "tyres": worn(4),
        "can_c": 60,
        "best_lap_s": 15.02,
    }
    after = {
        "pinion_teeth": 45,
        "setup": (entry("Rear", "Springs", "2.4", "N/mm"),),
        "tyres": worn(7),
        "can_c": 66,
        "best_lap_s": 14.91,
    }
    assert said(before, after) == (
        "pinion 43 → 45, FDR 2.92 → 2.79, rear springs softer (2.6 → 2.4 N/mm), "
        "tyres 3 runs older, can +6 °C, best lap −0.11 s"
    )


@pytest.mark.parametrize(
    ("before", "after", "sentence"),
    [
        ({}, {}, "nothing changed"),
        ({}, {"spur_teeth": 69}, "spur 66 → 69, FDR 2.92 → 3.05"),
        ({}, {"pinion_teeth": None}, "nothing changed"),
        ({}, {"internal_ratio": 2.0}, "internal ratio 1.9 → 2, FDR 2.92 → 3.07"),
        # 80/40 and 82/41: other gears, the same ratio.
        (
            {"pinion_teeth": 40, "spur_teeth": 80},
            {"pinion_teeth": 41, "spur_teeth": 82},
            "pinion 40 → 41, spur 80 → 82",
        ),
        # 66/43 × 1.9 = 2.91628 and 63/41 × 1.9 = 2.91951: a third decimal tells them apart.
        (
            {},
            {"pinion_teeth": 41, "spur_teeth": 63},
            "pinion 43 → 41, spur 66 → 63, FDR 2.916 → 2.920",
        ),
        ({"tyres": worn(3)}, {"tyres": worn(4)}, "tyres 1 run older"),
        ({"tyres": worn(3)}, {"tyres": worn(3)}, "nothing changed"),
        (
            {"tyres": worn(9)},
            {"tyres": worn(0, set_id=2)},
            "tyres Set 1 → Set 2, 9 runs newer",
        ),
        (
            {"tyres": worn(2, kind="soft")},
            {"tyres": worn(2, set_id=2, kind="hard")},
            "tyres Set 1 → Set 2, soft → hard",
        ),
        ({}, {"tyres": worn(5)}, "tyres now Set 1, 5 runs old"),
        (
            {"tyres": worn(1), "tyre_diameter_mm": 63},
            {"tyres": worn(1, treatment="warm"), "tyre_diameter_mm": 62.5},
            "tyre treatment none → warm, tyre diameter 63 → 62.5 mm",
        ),
        (
            {"pack": FittedPack(id=1, mark="A"), "motor": FittedMotor(id=1, name="M1")},
            {"pack": FittedPack(id=2, mark="B"), "motor": FittedMotor(id=2, name="M2")},
            "motor M1 → M2, pack A → B",
        ),
        # The same pack marked anew is the same pack.
        (
            {"pack": FittedPack(id=1, mark="A")},
            {"pack": FittedPack(id=1, mark="Z")},
            "nothing changed",
        ),
        ({"air_c": 20}, {"air_c": 17.2}, "air −3 °C"),
        ({"can_c": 70}, {"can_c": 70}, "can ±0 °C"),
        (
            {"can_c": 70, "read_after_s": 30},
            {"can_c": 68, "read_after_s": 120},
            "can −2 °C (read 90 s later after the flag)",
        ),
        (
            {"can_c": 70, "read_after_s": 60},
            {"can_c": 68, "read_after_s": 50},
            "can −2 °C",
        ),
        ({"best_lap_s": 14.87}, {"best_lap_s": 14.87}, "best lap the same"),
        ({"best_lap_s": 14.87}, {"best_lap_s": 14.912}, "best lap +0.042 s"),
        ({"laps": 20}, {"laps": 21}, "1 lap more"),
        ({"laps": 20}, {"laps": 18}, "2 laps fewer"),
        # No stopwatch compares two tracks, and none that was not noted.
        (
            {"best_lap_s": 14.87, "laps": 20, "track_id": 1},
            {"best_lap_s": 21.3, "laps": 14, "track_id": 2},
            "another track",
        ),
        (
            {"best_lap_s": 14.87, "track_id": None},
            {"best_lap_s": 21.3, "track_id": None},
            "nothing changed",
        ),
        (
            {"car": FittedCar(id=1, name="One", mass_g=1350)},
            {"car": FittedCar(id=1, name="One", mass_g=1342)},
            "car's weight 1350 → 1342 g",
        ),
    ],
)
def test_one_thing_at_a_time(before: dict[str, Any], after: dict[str, Any], sentence: str) -> None:
    assert said(before, after) == sentence


@pytest.mark.parametrize(
    ("before", "after", "sentence"),
    [
        (
            [entry("Front", "Ride height", "5.2", "mm")],
            [entry("Front", "Ride height", "5,4", "mm")],
            "front ride height higher (5.2 → 5,4 mm)",
        ),
        (
            [entry("Front", "Ride height", "5.2", "mm")],
            [entry("front", "ride height", "5,20", "mm")],
            "nothing changed",
        ),
        (
            [entry("Front", "Springs", "soft")],
            [entry("Front", "Springs", "hard")],
            "front springs stiffer (soft → hard)",
        ),
        (
            [entry("Front", "Camber", "-1.5", "°")],
            [entry("Front", "Camber", "-2", "°")],
            "front camber −1.5 → −2°",
        ),
        (
            [entry("Rear", "Oil", "350", "cSt")],
            [entry("Rear", "Oil", "400", "cSt")],
            "rear oil thicker (350 → 400 cSt)",
        ),
        (
            [entry("", "Wing", "old")],
            [entry("", "Wing", "new")],
            "wing old → new",
        ),
        ([], [entry("Rear", "ARB", "1.2", "mm")], "rear ARB added (1.2 mm)"),
        ([entry("Rear", "ARB", "1.2", "mm")], [], "rear ARB no longer noted (was 1.2 mm)"),
        (
            [entry("Rear", "Toe", "3", "°")],
            [entry("Rear", "Toe", "3", "mm")],
            "rear toe 3° → 3 mm",
        ),
    ],
)
def test_set_up_entries(before: list[Setting], after: list[Setting], sentence: str) -> None:
    assert said({"setup": tuple(before)}, {"setup": tuple(after)}) == sentence


def test_another_car_has_another_list() -> None:
    before = {"setup": (entry("Front", "Springs", "2.6"),)}
    after = {
        "car_id": 2,
        "car": FittedCar(id=2, name="Other car"),
        "setup": (entry("Front", "Springs", "2.4"),),
    }
    assert said(before, after) == "car Example car → Other car"


def test_the_controllers_settings() -> None:
    def controller(**more: Any) -> dict[str, Any]:
        return {"controller": FittedController(id=1, name="Example", **more)}

    old, new = (entry("Drive", "Throttle response", value) for value in ("3", "5"))
    assert (
        said(controller(settings=(old,)), controller(settings=(new,))) == "throttle response 3 → 5"
    )
    assert said(controller(firmware="1"), controller(firmware="2")) == "firmware 1 → 2"
    other = {"controller": FittedController(id=2, name="Another", settings=(new,))}
    assert said(controller(settings=(old,)), other) == "controller Example → Another"


def test_results_are_marked_and_the_unit_is_the_racers() -> None:
    found = changes(
        a_run(can_c=60, air_c=20), a_run(can_c=70, air_c=20, pinion_teeth=44), lambda k: f"{k} K"
    )
    assert [(one.topic, one.result) for one in found] == [
        ("gear", False),
        ("gear", False),
        ("result", True),
    ]
    assert found[-1].text == "can 10.0 K"


teeth = st.none() | st.integers(6, 200)


@settings(max_examples=60)
@given(teeth, teeth, teeth, teeth)
def test_any_two_gears(p1: int | None, s1: int | None, p2: int | None, s2: int | None) -> None:
    """An FDR is told exactly when both are known and differ, and nothing fails on a gap."""
    before, after = a_run(pinion_teeth=p1, spur_teeth=s1), a_run(pinion_teeth=p2, spur_teeth=s2)
    texts = [one.text for one in changes(before, after)]
    known = None not in (p1, s1, p2, s2)
    told = any(text.startswith("FDR") for text in texts)
    if known and abs(s1 / p1 - s2 / p2) * 1.9 > 0.001:  # type: ignore[operator]
        assert told
    if not known or s1 * p2 == s2 * p1:  # type: ignore[operator]
        assert not told
    assert any(text.startswith("pinion") for text in texts) == (
        p1 is not None and p2 is not None and p1 != p2
    )


@settings(max_examples=60)
@given(st.sampled_from(GRADES), st.sampled_from(GRADES))
def test_grades_have_one_order(one: str, other: str) -> None:
    there, back = direction_word("Springs", one, other), direction_word("Springs", other, one)
    assert {there, back} in ({"same"}, {"softer", "stiffer"})


def test_the_ratio_of_a_run_is_the_gearings() -> None:
    run = Run(**a_run().model_dump() | {"started_at": datetime(2026, 5, 3, tzinfo=UTC)})
    assert run.final_drive_ratio == final_drive_ratio(66, 43, 1.9)
    assert run.rollout_mm is None
    assert run.model_copy(update={"internal_ratio": None}).final_drive_ratio is None
