"""What the screens of a charge show, for a charge that is on record and for one that a phone keeps."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from pitapp.packs.charging.again import END_KEY, KEY
from pitapp.packs.charging.forms import EndForm, StepForm
from pitapp.packs.charging.prompts import STEPS, ChargeStep
from pitapp.packs.charging.refusals import readings_text
from pitapp.packs.charging.steps import (
    Forecast,
    Program,
    allowed_a,
    cells_of,
    direction,
    program_of,
)
from pitapp.packs.health.condition import Verdict
from pitapp.packs.health.status_text import OUTCOMES
from pitapp.packs.models import Charge, Pack, Purpose
from pitapp.packs.safety import CHARGE_TEMPERATURE_C, MAKERS_CHARGE_C
from pitapp.web.clock import moment_text
from pitapp.web.forms.quantities import grouped, plain, rounded


class ForecastText(NamedTuple):
    """What the charge will do, as text."""

    minutes: str
    way: str
    amps: str
    account: str
    needed: bool = True
    takes: str = "Takes about"


class Countdown(NamedTuple):
    """A running charge's countdown and facts, as text; moments in ms, empty where no server tells."""

    server_now: str
    due: str
    minutes: str
    until: str
    way: str
    amps: str
    cells: str
    started: str
    overdue: bool = False


def address(pack_id: int, uuid: str, purpose: Purpose, key: str) -> str:
    """Where a step is asked and answered."""
    return f"/packs/{pack_id}/charges/{uuid}/steps/{key}?purpose={purpose}"


def milliseconds(moment: datetime) -> str:
    """A moment as scripts count it."""
    return str(int(moment.timestamp() * 1000))


def _clock_text(moment: datetime) -> str:
    """A moment on the wall clock, its day where that is not today."""
    return moment_text(moment).removeprefix("today ")


def step_values(
    own: Pack,
    current: ChargeStep,
    uuid: str,
    purpose: Purpose,
    answers: Mapping[str, str],
    form: StepForm,
    worn: Verdict | None,
) -> dict[str, Any]:
    """What the screen of a step needs; the first tells of a pack that is `worn`."""
    form.prepare(own)
    place, volts = STEPS.index(current), cells_of(answers)
    return {
        "pack": own,
        "step": current,
        "number": place + 1,
        "steps": STEPS,
        "address": address(own.id, uuid, purpose, current.key),
        "back": address(own.id, uuid, purpose, STEPS[place - 1].key) if place else "",
        "purpose": purpose,
        "answers": answers,
        "form": form,
        "allowed_a": allowed_a(own),
        "direction": direction(own, purpose, volts) if volts else "",
        "worn": None if place else worn,
        "charge_c": CHARGE_TEMPERATURE_C,
        "makers_c": MAKERS_CHARGE_C,
    }


def ready_values(
    own: Pack,
    item: Charge,
    answers: Mapping[str, str],
    ahead: Forecast | None,
    reasons: list[str],
    moment: datetime,
) -> dict[str, Any]:
    """What the last look before a charge needs."""
    program = program_of(answers)
    return last_look(own, item.uuid, item.purpose, answers, readings_text(answers)) | {
        "ahead": forecast_text(ahead, program, moment) if ahead and program else None,
        "reasons": reasons,
    }


def last_look(
    own: Pack,
    uuid: str,
    purpose: Purpose,
    answers: Mapping[str, str],
    words: Mapping[str, str],
) -> dict[str, Any]:
    """The pack, and a row for each step with what was answered at it."""
    rows = []
    for step in STEPS:
        value = answers.get(step.key)
        text = {"yes": step.yes, "no": step.no, None: "Not yet"}.get(value) or words[step.key]
        rows.append((address(own.id, uuid, purpose, step.key), step.title, text))
    if END_KEY in answers:
        ends = (address(own.id, uuid, purpose, KEY), "The charger ends at", f"{answers[END_KEY]} V")
        rows.append(ends)
    return {"pack": own, "uuid": uuid, "purpose": purpose, "rows": rows}


def forecast_text(ahead: Forecast, program: Program, moment: datetime) -> ForecastText:
    """A forecast as text."""
    percent, moved = rounded(ahead.start_percent, 0), grouped(round(ahead.moved_mah))
    way = "out" if ahead.discharging else "in"
    until = _clock_text(moment + timedelta(minutes=ahead.minutes))
    return ForecastText(
        rounded(ahead.minutes, 0),
        "Discharging" if ahead.discharging else "Charging",
        plain(program.current_a),
        f"From about {percent} %, about {moved} mAh {way}, until about {until}.",
        ahead.needed,
    )


def running_values(item: Charge, own: Pack, form: EndForm, moment: datetime) -> dict[str, Any]:
    """What the screen of a started charge needs."""
    due_at, started_at = item.due_at or moment, item.started_at or moment
    overdue = due_at <= moment
    minutes = max(0.0, (due_at - moment).total_seconds() / 60)
    return {
        "pack": own,
        "uuid": item.uuid,
        "purpose": item.purpose,
        "form": form,
        "charge": item,
        "outcomes": OUTCOMES,
        "countdown": Countdown(
            milliseconds(moment),
            milliseconds(due_at),
            rounded(minutes, 0),
            _clock_text(due_at),
            "Discharging" if item.discharging else "Charging",
            plain(item.current_a),
            str(item.cells_set),
            _clock_text(started_at),
            overdue,
        ),
    }
