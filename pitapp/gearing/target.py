"""From what a racer wants (a ratio, a rollout, a top speed) to the ratio that gives it."""

from __future__ import annotations

import math

from pitapp.gearing.answer import Question
from pitapp.limits import number
from pitapp.motor.formulas import free_speed_rpm


def top_speed_rpm(question: Question) -> float:
    """The motor speed that sets the top speed: the rev limit, or the free speed if that is lower.

    Raises:
        ValueError: neither is known.
    """
    limits = [] if question.rev_limit is None else [question.rev_limit]
    if question.kv is not None and question.volts is not None:
        limits.append(free_speed_rpm(question.kv, question.volts))
    if not limits:
        raise ValueError("Give the car a motor and a pack voltage, or a rev limit, to go by speed.")
    return min(limits)


def target_ratio(kind: str, value: float, question: Question) -> float:
    """The final drive ratio that gives `value`: a ratio itself, a rollout in mm or a speed in km/h.

    Rollout: π·d / rollout. Speed: π·d·rpm·60 / (10⁶·speed), at `top_speed_rpm`.

    Raises:
        ValueError: no car has such a ratio, or nothing sets the speed.
    """
    if kind == "rollout":
        value = math.pi * question.tyre / number(value, "rollout", 1, 2000, unit="mm")
    elif kind == "speed":
        speed = number(value, "top speed", 1, 1000, unit="km/h")
        value = math.pi * question.tyre * top_speed_rpm(question) * 60 / 1e6 / speed
    return number(value, "final drive ratio", 0.5, 60)
