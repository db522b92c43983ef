"""The parked car's line on the Board."""

from __future__ import annotations

import sqlite3

from pitapp.board.models import ReadyLine, Situation
from pitapp.gearing import store as gearing
from pitapp.kit import store as kit
from pitapp.roll import store
from pitapp.roll.answer import hold

NAME = "Parked car"


def line(connection: sqlite3.Connection, situation: Situation) -> ReadyLine | None:
    """The parked car's line: its hold angle, or what was fitted since the tilt test."""
    car = situation.car
    fit = gearing.fitted(connection, car.id)
    if fit is None:
        return None
    test = store.latest_test(connection, car.id)
    if test is None:
        return _look("not tested", "No tilt test yet: assume it rolls")
    motor = kit.motor(connection, car.motor_id) if car.motor_id else None
    try:
        result = hold(car, motor, fit, test)
    except ValueError:
        return _look("test again", "The tilt test is from another set-up of this car")
    if result.reminders:
        changed = result.reminders[0].split(" since ")[0]
        return _look("test again", changed)
    reason = f"Holds to about {result.now_deg:.1f}°. Park it across the slope"
    return ReadyLine(name=NAME, level="good", word="tested", reason=reason, href="/roll")


def _look(word: str, reason: str) -> ReadyLine:
    return ReadyLine(name=NAME, level="look", word=word, reason=reason, href="/roll")
