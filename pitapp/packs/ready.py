"""The packs' line on the Board, and what they have to say there when no heat is near."""

from __future__ import annotations

import math
import sqlite3
from datetime import datetime, timedelta

from pitapp.board.models import ReadyLine, Situation
from pitapp.meetings.models import Heat, Meeting
from pitapp.packs.health.state import PackState
from pitapp.packs.models import Charge
from pitapp.packs.overview import states
from pitapp.packs.planning import store as planning
from pitapp.packs.planning.absence import next_away
from pitapp.packs.planning.day_inputs import plan_inputs
from pitapp.packs.planning.timeline import late_sentence
from pitapp.web.clock import moment_text

NAME = "Pack"
SOON = timedelta(minutes=15)
"""Before the racer goes, what is on a charger is said on the Board: our choice."""


def line(connection: sqlite3.Connection, situation: Situation) -> ReadyLine | None:
    """A countdown that is over, a charge to be stopped, a full pack for the next heat, one on its way,
    or none."""
    pack_states = states(connection)
    urgent = _countdown_over(pack_states, situation.now) or _left_alone(
        connection, pack_states, situation.now
    )
    if urgent or situation.heat is None:
        return urgent or _alert(pack_states, situation.now)
    full = [item for item in pack_states if item.full]
    fitted = next((item for item in pack_states if _is_in(item, situation.car.id)), None)
    if fitted:
        return _in_the_car(fitted)
    if full:
        return ReadyLine(
            name=NAME, level="good", word="ready", reason=f"Full: {_marks(full)}", href="/packs"
        )
    coming = [each for each in _charging(pack_states) if each[1].purpose == "full"]
    if coming:
        return _on_its_way(*coming[0], situation.heat)
    if not any(item.pack.condition == "sound" for item in pack_states):
        return None
    reason = "Charge one before the heat"
    return ReadyLine(name=NAME, level="stop", word="none full", reason=reason, href="/packs/plan")


def alert(connection: sqlite3.Connection, now: datetime) -> ReadyLine | None:
    """What the packs ask for whatever the hour: a countdown over or running, storage that is due."""
    return _alert(states(connection), now)


def plan_line(
    connection: sqlite3.Connection, meeting: Meeting, now: datetime
) -> tuple[ReadyLine, bool] | None:
    """That the day's charge plan is out of date, and whether one tap makes it anew."""
    record = planning.plan(connection, meeting.id)
    if record is None or record.plan is None:
        return None
    day = plan_inputs(connection, meeting, now)
    late = [late_sentence(each, meeting) for each in day.late_packs.values()]
    reasons = late or day.changes
    if not day.heats or not reasons:
        return None
    line = ReadyLine(
        name="Charge plan",
        level="stop" if late else "look",
        word="a pack is late" if late else "out of date",
        reason=" ".join(reasons),
        href="/packs/plan",
    )
    return line, bool(day.chargers) and day.record.watched is not None


def storage_open(connection: sqlite3.Connection) -> bool:
    """Whether a pack is still to be put to storage; taken as so where no pack is on record."""
    pack_states = states(connection)
    return not pack_states or any(each.storage_due for each in pack_states)


def _alert(pack_states: list[PackState], now: datetime) -> ReadyLine | None:
    over = _countdown_over(pack_states, now)
    if over:
        return over
    charging = _charging(pack_states)
    if charging:
        mark, charge = charging[0]
        reason = f"{mark} on the charger until about {_due_text(charge)}. Stay with it."
        return ReadyLine(
            name=NAME, level="look", word="charging", reason=reason, href=_href(charge)
        )
    due = [each for each in pack_states if each.storage_due]
    if due:
        reason = f"Not at storage yet: {_marks(due)}"
        return ReadyLine(name=NAME, level="look", word="storage due", reason=reason, href="/packs")
    return None


def _countdown_over(pack_states: list[PackState], now: datetime) -> ReadyLine | None:
    for mark, charge in _charging(pack_states):
        if charge.due_at and charge.due_at <= now:
            reason = f"Since {_due_text(charge)}: look at {mark}"
            return ReadyLine(
                name=NAME, level="stop", word="time is up", reason=reason, href=_href(charge)
            )
    return None


def _left_alone(
    connection: sqlite3.Connection, pack_states: list[PackState], now: datetime
) -> ReadyLine | None:
    """A charge that is on when the racer soon goes and nobody watches."""
    charging = _charging(pack_states)
    away = next_away(connection, now) if charging else None
    if away is None or away[0] > now + SOON:
        return None
    on_then = [
        (mark, charge) for mark, charge in charging if charge.due_at and charge.due_at > away[0]
    ]
    if not on_then:
        return None
    marks = ", ".join(mark for mark, _ in on_then)
    when = f"by {moment_text(away[0]).removeprefix('today ')}" if away[0] > now else "now"
    reason = f"{marks} off {when}: nobody watches while you drive or marshal"
    return ReadyLine(
        name=NAME, level="stop", word="take it off", reason=reason, href=_href(on_then[0][1])
    )


def _is_in(state: PackState, car_id: int) -> bool:
    return state.in_car is not None and state.in_car.car_id == car_id


def _in_the_car(state: PackState) -> ReadyLine:
    """The pack that was put in: full, or how full."""
    href = f"/packs/{state.pack.id}"
    if state.full:
        reason = f"{state.pack.mark} is in the car, full"
        return ReadyLine(name=NAME, level="good", word="ready", reason=reason, href=href)
    percent = state.percent
    known = percent is not None
    reason = f"{state.pack.mark} is in the car" + (f", about {percent:.0f}\u00a0%" if known else "")
    word = "not full" if known else "charge unknown"
    return ReadyLine(name=NAME, level="look", word=word, reason=reason, href=href)


def _on_its_way(mark: str, charge: Charge, heat: Heat) -> ReadyLine:
    """The first pack to be full: in time for the heat, or by how many minutes it is late."""
    reason, href = f"{mark} full at about {_due_text(charge)}", _href(charge)
    late_s = (charge.due_at - heat.starts_at).total_seconds() if charge.due_at else 0.0
    if late_s <= 0:
        return ReadyLine(name=NAME, level="look", word="charging", reason=reason, href=href)
    reason += f", {math.ceil(late_s / 60)} min after {heat.title} starts"
    return ReadyLine(name=NAME, level="stop", word="full too late", reason=reason, href=href)


def _charging(pack_states: list[PackState]) -> list[tuple[str, Charge]]:
    """Marks and charges that run, the next due first."""
    running = [(item.pack.mark, item.charging) for item in pack_states if item.charging]
    return sorted(running, key=lambda each: each[1].due_at or each[1].prepared_at)


def _marks(pack_states: list[PackState]) -> str:
    return ", ".join(each.pack.mark for each in pack_states)


def _due_text(charge: Charge) -> str:
    return moment_text(charge.due_at).removeprefix("today ") if charge.due_at else "–"


def _href(charge: Charge) -> str:
    return f"/packs/charges/{charge.uuid}"
