"""The lines of the scrutineering card."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import NamedTuple

from pitapp.bench import store as bench
from pitapp.checks import store
from pitapp.checks.context import RunContext
from pitapp.checks.engine import within_limit
from pitapp.checks.lists import store as lists
from pitapp.checks.models import TOPICS, Limit, Step
from pitapp.checks.reading_text import display_unit, figure
from pitapp.kit.models import Car

FIRST = ("rev_limit", "signal", "timing", "mass", "start_v")
THEN = ("motor_timing", "ride_height", "capacity")
LINES_THAT_MATTER = 6
EARLY = datetime.min.replace(tzinfo=UTC)
SHORT_NAMES = {"signal": "Signal", "timing": "Advance", "motor_timing": "Motor timing"}


class Reading(NamedTuple):
    """What was read, in metric as plain text, and when."""

    text: str
    read_at: datetime


class CardLine(NamedTuple):
    """One line: what the class asks, what is planned, what was read and when."""

    key: str
    name: str
    unit: str = ""
    limit: Limit | None = None
    planned: str = ""
    read: Reading | None = None
    words: str = ""

    @property
    def outside(self) -> bool:
        """Whether the reading breaks the class limit, or the limit's signal is off."""
        if self.read is None:
            return False
        if self.limit is not None:
            return not within_limit(self.limit, self.read.text)
        return self.key == "signal" and self.read.text == "no"

    @property
    def shown_unit(self) -> str:
        """The unit in the racer's choice."""
        return display_unit(self.unit)

    @property
    def limit_text(self) -> str:
        """What the class asks, with the signs that every rule book uses."""
        if self.limit is None:
            return ""
        least, most = self.limit.least, self.limit.most
        if least is not None and least == most:
            return f"= {figure(least, self.unit)}"
        if least is not None and most is not None:
            return f"{figure(least, self.unit)}–{figure(most, self.unit)}"
        if least is not None:
            return f"≥ {figure(least, self.unit)}"
        return f"≤ {figure(most, self.unit)}" if most is not None else ""

    def text(self, value: str) -> str:
        """A reading of this line without its unit."""
        try:
            return figure(float(value), self.unit)
        except ValueError:
            return value


def card_lines(connection: sqlite3.Connection, context: RunContext) -> list[CardLine]:
    """Every line, those that matter most first."""
    if context.car is None:
        return []
    steps: Sequence[Step] = ()
    if context.controller:
        own = lists.settings_list(connection, context.controller.id)
        steps = lists.steps(connection, own.id, context.plan_id)
    by_key = {step.key: step for step in steps}
    named = [key for key in context.limits if key not in TOPICS]
    keys = [*FIRST, *(key for key in THEN if key in context.limits), *named]
    read = _readings(connection, context, context.car, keys)
    limits = (
        {limit.name.casefold(): limit for limit in context.race_class.limits}
        if context.race_class
        else {}
    )
    lines = []
    for key in keys:
        step, limit = by_key.get(key), limits.get(key)
        planned = step.planned if step else ""
        if key == "mass" and context.car.mass_g is not None:
            planned = repr(context.car.mass_g)
        lines.append(
            CardLine(
                key=key,
                name=limit.name if limit else SHORT_NAMES.get(key) or TOPICS[key].name,
                unit=limit.unit if limit else TOPICS[key].unit,
                limit=context.limits.get(key),
                planned=planned,
                read=read.get(key),
                words=context.controller.signal_text
                if key == "signal" and context.controller
                else "",
            )
        )
    return lines


def _readings(
    connection: sqlite3.Connection, context: RunContext, car: Car, keys: Sequence[str]
) -> dict[str, Reading]:
    controller_id = context.controller.id if context.controller else None
    latest = store.latest_readings(
        connection, car.id, keys, controller_id, car.motor_id, context.plan_id
    )
    readings = {
        key: Reading(answer.shown, answer.answered_at)
        for key, answer in latest.items()
        if answer.answered_at
    }
    limit = context.limits.get("motor_timing")
    if limit and limit.least is not None and limit.most is not None and car.motor_id:
        measured = _bench_timing(connection, car.motor_id, (limit.least + limit.most) / 2)
        if measured and measured.read_at > readings.get("motor_timing", Reading("", EARLY)).read_at:
            readings["motor_timing"] = measured
    return readings


def _bench_timing(
    connection: sqlite3.Connection, motor_id: int, asked_deg: float
) -> Reading | None:
    """The newest motor check's sensor timing that is farthest from the class limit."""
    for check in bench.checks(connection, motor_id, limit=1):
        degrees = list(check.timing_by_sensor.values())
        if degrees:
            worst = max(degrees, key=lambda each: abs(each - asked_deg))
            return Reading(f"{worst:.10g}", check.checked_at)
    return None
