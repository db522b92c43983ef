"""Charges as a phone keeps them: each step, the last look and the countdown, to be walked with no server.

They are run-throughs like those of `checks`, with a start at their end. The phone's countdown leaves
out the part at constant voltage, so that it says too early to look rather than too late.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Hashable, Iterable, Sequence
from datetime import datetime
from typing import Any, get_args

from pitapp.checks.offline_steps import (
    AT,
    BACK,
    MARKS,
    NO_NUMBER,
    STEP,
    UUID,
    OfflineLimit,
    OfflineRun,
    OfflineStep,
    in_unit,
    typed,
    without_token,
)
from pitapp.checks.reading_text import display_unit, field_text
from pitapp.packs.cell import OCV_TABLE, STORAGE_CELL_V, state_of_charge_percent
from pitapp.packs.charging import store
from pitapp.packs.charging.again import APART, END_KEY, KEY, MOST_APART_V, end_limit, end_refusal
from pitapp.packs.charging.again_form import NOT_ALL_SO
from pitapp.packs.charging.again_view import Repetition, again_values, repetition
from pitapp.packs.charging.forms import EndForm, StepForm, form_for
from pitapp.packs.charging.prompts import BY_KEY, STEPS, ChargeStep
from pitapp.packs.charging.refusals import LONGEST, STALE, refusal_text
from pitapp.packs.charging.steps import Caution, cautions, charge_limits, judge_answers
from pitapp.packs.charging.view import Countdown, ForecastText, address, last_look, step_values
from pitapp.packs.fields import CellsField
from pitapp.packs.health.condition import Verdict
from pitapp.packs.models import Charge, ChargerRecord, Pack, Purpose
from pitapp.packs.overview import states
from pitapp.packs.planning import store as planning
from pitapp.web.forms.fields import TypedField
from pitapp.web.http.htmx import part

TITLES: dict[Purpose, str] = {"full": "Charge", "storage": "Storage"}
TAKES: dict[Purpose, tuple[str, str, str]] = {
    "full": (
        "Takes at least",
        "Until about {until} or later: the slow end at constant voltage comes on top.",
        "Worked out on this phone, without the slow end. Look then; it may need longer.",
    ),
    "storage": ("Takes about", "Until about {until}.", "Worked out on this phone."),
}
ABOUT_THE_LABEL = {"label", "cells", "program"}
Fragments = dict[Hashable, Any]
"""What is made for one bundle, by all that it depends on."""
CHANGED = "Its condition was changed on this phone. Start it when the server is back."
TAKEN = "This pack is on the charger already."
IN_DOUBT = "Something about this pack waits on this phone. Charge it by steps."
THERE = "At storage already. Nothing to charge or discharge."


def runs(connection: sqlite3.Connection, packs: Iterable[Pack], now: datetime) -> list[OfflineRun]:
    """A charge to full and one to storage for each of these packs.

    One that is on a charger may be charged on once its charge is ended on the phone.
    """
    busy = {each.pack_id: each.uuid for each in store.running(connection)}
    chargers = planning.chargers_along(connection)
    worn = {each.pack.id: each.worn(now) for each in states(connection)}
    fragments: Fragments = {}
    sound = [pack for pack in packs if pack.condition == "sound"]
    by_steps = [
        _run(
            connection,
            pack,
            purpose,
            now,
            worn.get(pack.id),
            fragments,
            chargers,
            busy.get(pack.id, ""),
        )
        for pack in sound
        for purpose in get_args(Purpose)
    ]
    offers = [(pack, repetition(connection, pack, now)) for pack in sound]
    return [*by_steps, *(_as_last_time(*each, fragments) for each in offers if each[1].last)]


def _as_last_time(pack: Pack, offered: Repetition, fragments: Fragments) -> OfflineRun:
    """A charge as last time: one step that asks everything, then the last look of any charge."""
    values = again_values(pack, offered, UUID) | {"address": AT} | MARKS
    form = values["form"]
    for field in (form.cell_c, form.end_v, *form.cell_v):
        field.typed = typed(field.name)
    html = _rendered("packs/again.html", pack, values | {"purpose": "full"})
    limits = {
        name: limit
        for step in STEPS
        for name, limit in _limits(step, pack, "full").items()
        if step.kind != "yesno"
    }
    ends = end_refusal(pack.cells_series)
    limits["end_v"] = in_unit(end_limit(pack.cells_series), "V") | OfflineLimit(
        under=ends, over=ends, number=NO_NUMBER
    )
    limits["answer"] = OfflineLimit(only="yes", over=NOT_ALL_SO)
    start = _start(pack, "full", fragments, "") | {
        "ready": _once(
            fragments,
            ("ready again", pack.cells_series),
            lambda: _ready(pack, "full", again=True),
        ),
        "again": IN_DOUBT,
    }
    return OfflineRun(
        at=address(pack.id, UUID, "full", STEP),
        begin=f"/packs/{pack.id}/again",
        frame="packs",
        title=f"As last time: {pack.mark}",
        values={"pack": f"/packs/{pack.id}", "purpose": "full"},
        uuid="",
        since=0,
        good_for=store.GOOD_FOR.total_seconds() * 1000,
        steps=[
            OfflineStep(
                key=KEY,
                title="As last time",
                html=html,
                limits=limits,
                apart={"most": MOST_APART_V, "text": APART},
            )
        ],
        settled=[],
        given={},
        then=f"/packs/charges/{UUID}",
        start=start,
    )


def _run(
    connection: sqlite3.Connection,
    pack: Pack,
    purpose: Purpose,
    now: datetime,
    worn: Verdict | None,
    fragments: Fragments,
    chargers: Sequence[ChargerRecord],
    busy: str,
) -> OfflineRun:
    begun = store.prepared(connection, pack.id, purpose, now)
    item = begun or Charge(uuid=UUID, pack_id=pack.id, purpose=purpose, prepared_at=now)
    answers = store.answers(connection, item.id) if begun else {}
    oldest = store.oldest_answer(connection, item.id) if begun else None
    results = judge_answers(pack, item, answers)
    open_steps = {each.step.group_name for each in results if not each.settled}
    stored: dict[str, dict[str, str]] = {}
    for each in results:
        if isinstance(each.step, Caution) and each.answer:
            fields = stored.setdefault(each.step.group_name, {})
            fields[each.step.field] = field_text(each.shown, each.unit)
    return OfflineRun(
        at=address(pack.id, UUID, purpose, STEP),
        begin=f"/packs/{pack.id}/charge?purpose={purpose}",
        frame="packs",
        title=f"{TITLES[purpose]}: {pack.mark}",
        values={"pack": f"/packs/{pack.id}", "purpose": purpose},
        uuid=begun.uuid if begun else "",
        since=oldest.timestamp() * 1000 if oldest else 0,
        good_for=store.GOOD_FOR.total_seconds() * 1000,
        steps=[_step(step, pack, purpose, worn, fragments, chargers) for step in STEPS],
        settled=[step.key for step in STEPS if step.key not in open_steps],
        given=stored,
        then=f"/packs/charges/{UUID}",
        start=_start(pack, purpose, fragments, busy),
    )


def _step(
    step: ChargeStep,
    pack: Pack,
    purpose: Purpose,
    worn: Verdict | None,
    fragments: Fragments,
    chargers: Sequence[ChargerRecord],
) -> OfflineStep:
    def make() -> OfflineStep:
        values = step_values(pack, step, UUID, purpose, {}, form_for(step, chargers), worn)
        values |= {"address": AT, "back": values["back"] and BACK} | MARKS
        _remember_typed(values["form"])
        return OfflineStep(
            key=step.key,
            title=step.title,
            html=_rendered("packs/step.html", pack, values),
            limits=_limits(step, pack, purpose),
        )

    label = (pack.cells_series, pack.shown_nominal_v, pack.capacity_mah, pack.most_charge_c)
    name = (step.key, (purpose, label) if step.key in ABOUT_THE_LABEL else (), worn)
    step_kept: OfflineStep = _once(fragments, name, make)
    return step_kept


def _remember_typed(form: StepForm) -> None:
    for field in form:
        for entry in field if isinstance(field, CellsField) else [field]:
            if isinstance(entry, TypedField):
                entry.typed = typed(entry.name)


def _once(fragments: Fragments, name: Hashable, make: Callable[[], Any]) -> Any:
    """A fragment that several packs share, rendered for the first of them."""
    if name not in fragments:
        fragments[name] = make()
    return fragments[name]


def _rendered(template: str, pack: Pack, values: dict[str, Any]) -> str:
    """The fragment without token, and without anything that is this pack's alone."""
    html = without_token(part(template, **values))
    html = html.replace(f"?purpose={values['purpose']}", "?purpose={purpose}")
    return html.replace(f"/packs/{pack.id}/", "{pack}/").replace(f'"/packs/{pack.id}"', '"{pack}"')


def _limits(step: ChargeStep, pack: Pack, purpose: Purpose) -> dict[str, OfflineLimit]:
    def limits_for(*, discharging: bool) -> dict[str, OfflineLimit]:
        charge_limit_by_key = charge_limits(pack, discharging=discharging)
        limits = {}
        for caution in cautions(pack, discharging=discharging):
            if caution.group_name != step.key:
                continue
            under, over = refusal_text(caution, charge_limit_by_key.get(caution.key))
            if caution.kind == "yesno":
                limits[caution.field] = OfflineLimit(only=caution.planned, over=over)
            else:
                limit = in_unit(charge_limit_by_key[caution.key], caution.unit)
                limits[caution.field] = limit | OfflineLimit(
                    under=under, over=over, number=NO_NUMBER
                )
        return limits

    limits = limits_for(discharging=False)
    if purpose == "storage" and "current_a" in limits:
        limits["current_a"]["discharging"] = limits_for(discharging=True)["current_a"]
    return limits


def _start(pack: Pack, purpose: Purpose, fragments: Fragments, busy: str) -> dict[str, Any]:
    """The last look, the countdown, and what they are worked out from."""
    low_v, high_v = STORAGE_CELL_V
    alike = (purpose, pack.cells_series)
    return {
        "ready": _once(fragments, ("ready", alike), lambda: _ready(pack, purpose)),
        "running": _once(fragments, ("running", alike), lambda: _running(pack, purpose)),
        "points": OCV_TABLE,
        "target": 100 if purpose == "full" else state_of_charge_percent((low_v + high_v) / 2),
        "rests": [] if purpose == "full" else [low_v, high_v],
        "mah": pack.capacity_mah,
        "most": LONGEST.total_seconds() / 60,
        "stale": STALE,
        "changed": CHANGED,
        "busy": busy,
        "taken": TAKEN,
        "there": THERE,
    }


def _ready(pack: Pack, purpose: Purpose, *, again: bool = False) -> str:
    placeholders = {
        "warmth": f"{{cell_c}} {display_unit('°C')}",
        "cells": ", ".join(f"{{cell_v-{place}}}" for place in range(pack.cells_series)) + " V",
        "program": "{cells_set} cells, {current_a} A",
    }
    good = {key: "yes" if step.kind == "yesno" else "" for key, step in BY_KEY.items()}
    if again:
        good[END_KEY] = "{end_v}"
    takes, until, _ = TAKES[purpose]
    ready = last_look(pack, UUID, purpose, good, placeholders) | {
        "kept": True,
        "ahead": ForecastText("{minutes}", "{way}", "{current_a}", until, takes=takes),
    }
    if again:
        ready["rows"] = [
            (address(pack.id, UUID, purpose, KEY), title, text) for _, title, text in ready["rows"]
        ]
    return _rendered("packs/ready.html", pack, ready)


def _running(pack: Pack, purpose: Purpose) -> str:
    running = {
        "pack": pack,
        "uuid": UUID,
        "purpose": purpose,
        "form": EndForm(),
        "note": TAKES[purpose][2],
        "countdown": Countdown(
            "", "{due}", "{minutes}", "{until}", "{way}", "{current_a}", "{cells_set}", "{started}"
        ),
    }
    return _rendered("packs/charge.html", pack, running)
