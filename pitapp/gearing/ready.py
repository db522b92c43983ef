"""The gear's line on the Board: fitted for this meeting, or still that of another day."""

from __future__ import annotations

import sqlite3
from datetime import datetime, time, timedelta

from pitapp.board.models import ReadyLine, Situation
from pitapp.gearing import store
from pitapp.gearing.answer import GearFit, fit_problems
from pitapp.kit.models import Car
from pitapp.meetings.models import Meeting
from pitapp.runs import store as runs
from pitapp.web.clock import moment_text

NAME = "Gear"
PREPARED_WITHIN = timedelta(hours=36)


def line(connection: sqlite3.Connection, situation: Situation) -> ReadyLine:
    """Ready when the gear fits the car and was fitted for this meeting or has raced at it."""
    fit = store.fitted(connection, situation.car.id)
    if fit is None:
        reason = f"Choose what is fitted in {situation.car.name}."
        return ReadyLine(
            name=NAME, level="stop", word="none on record", reason=reason, href="/gearing"
        )
    faults = fit_problems(situation.car, fit.pinion_teeth, fit.spur_teeth)
    if faults:
        return ReadyLine(
            name=NAME, level="stop", word="does not fit", reason=faults[0], href="/gearing"
        )
    description = f"{fit.pinion_teeth} / {fit.spur_teeth}, FDR {fit.final_drive_ratio:.2f}"
    if of_another_day(connection, situation.car, situation.meeting, fit):
        reason = f"Still {description}, since {moment_text(fit.fitted_at)}."
        return ReadyLine(
            name=NAME, level="look", word="from another day", reason=reason, href="/gearing"
        )
    return ReadyLine(name=NAME, level="good", word="ready", reason=description, href="/gearing")


def of_another_day(
    connection: sqlite3.Connection, car: Car, meeting: Meeting | None, fit: GearFit
) -> bool:
    """Whether the gear was fitted before the meeting, by more than a day, and has not raced at it."""
    if meeting is None:
        return False
    begins = datetime.combine(meeting.day, time(0), meeting.zone)
    if fit.fitted_at >= begins - PREPARED_WITHIN:
        return False
    return not runs.runs(connection, car_id=car.id, meeting_id=meeting.id, limit=1)
