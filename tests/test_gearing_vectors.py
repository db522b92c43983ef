"""The vectors that the server's gear train and the phone's must both meet; here the server's."""

from __future__ import annotations

import json
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from pitapp.gearing import formulas as gearing
from pitapp.gearing.answer import Question
from pitapp.gearing.formulas import FitLimits, Gear, GearOption, NearOption
from pitapp.gearing.target import target_ratio
from pitapp.motor.formulas import free_speed_rpm
from pitapp.units import rounded_text

VECTORS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parent / "vectors" / "gearing.json").read_text(encoding="utf-8")
)
ON_OPTIONS = {"nearest_options", "next_longer", "next_shorter", "longer_change", "shorter_change"}
ELSEWHERE: dict[str, Callable[..., Any]] = {
    "free_speed_rpm": free_speed_rpm,
    "rounded_text": rounded_text,
    "target_ratio": lambda kind, value, numbers: target_ratio(kind, value, Question(**numbers)),
}


def call(function: str, args: list[Any]) -> Any:
    """Call the function with its arguments made of JSON, and return its answer made of JSON."""
    args = [*args]
    if function == "gear_options":
        args[:2] = [[from_json(Gear, gear) for gear in gears] for gears in args[:2]]
        args[3:] = [FitLimits(**limits) if limits is not None else None for limits in args[3:]]
    elif function in ON_OPTIONS:
        args[0] = [
            GearOption(**{name: value for name, value in option.items() if name != "tooth_sum"})
            for option in args[0]
        ]
    return to_json((ELSEWHERE.get(function) or getattr(gearing, function))(*args))


def from_json(kind: type, value: Any) -> Any:
    return kind(**value) if isinstance(value, dict) else value


def to_json(value: Any) -> Any:
    if isinstance(value, GearOption):
        return {**value._asdict(), "tooth_sum": value.tooth_sum}
    if isinstance(value, NearOption):
        return {"option": to_json(value.option), "step_percent": value.step_percent}
    return [to_json(item) for item in value] if isinstance(value, list) else value


def agree(found: Any, expected: Any) -> bool:
    """Tell whether both are the same but for the last digits of their numbers."""
    if isinstance(expected, dict):
        return found.keys() == expected.keys() and all(agree(found[k], expected[k]) for k in found)
    if isinstance(expected, list):
        return len(found) == len(expected) and all(map(agree, found, expected))
    if isinstance(expected, float):
        return found == pytest.approx(expected, rel=1e-12, abs=1e-12)
    return bool(found == expected)


def title(vector: dict[str, Any]) -> str:
    return f"{vector['function']}-{json.dumps(vector['args'], ensure_ascii=False)[:60]}"


@pytest.mark.parametrize("vector", VECTORS, ids=title)
def test_the_server_meets_the_vector(vector: dict[str, Any]) -> None:
    if "error" not in vector:
        assert agree(call(vector["function"], vector["args"]), vector["expect"]), vector["source"]
        return
    with pytest.raises(ValueError) as caught:  # noqa: PT011 (the sentence is compared below)
        call(vector["function"], vector["args"])
    said = str(caught.value)
    if "validation error" in said:  # a model names the field before the sentence
        assert f"Value error, {vector['error']} [" in said
    else:
        assert said == vector["error"]


def test_the_vectors_are_exact() -> None:
    """Ratios, modules and centre distances are written as the float nearest to the fraction."""
    exact: dict[str, Callable[..., Fraction]] = {
        "final_drive_ratio": lambda spur, pinion, inner=1: spur / pinion * inner,
        "module_mm_from_diametral_pitch": lambda pitch: Fraction("25.4") / pitch,
        "centre_distance_mm": lambda spur, pinion, module: module * (spur + pinion) / 2,
    }
    checked = 0
    for vector in VECTORS:
        if "expect" in vector and vector["function"] in exact:
            numbers = [Fraction(str(arg).strip()) for arg in vector["args"]]
            assert vector["expect"] == float(exact[vector["function"]](*numbers)), vector
            checked += 1
    assert checked > 15


def test_every_vector_names_its_source_and_a_result() -> None:
    assert all(v["source"] and ("expect" in v) != ("error" in v) for v in VECTORS)
