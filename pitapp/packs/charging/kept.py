"""Charges as a phone keeps them: each step, the last look and the countdown, to be walked with no server.

They are run-throughs like those of `checks`, with a start at their end. The phone's countdown leaves
out the part at constant voltage, so that it says too early to look rather than too late.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Hashable, Iterable
from datetime import datetime
from typing import Any, get_args

from flask import render_template

from pitapp.checks.kept import (
    AT,
    BACK,
    NO_NUMBER,
    STEP,
    UUID,
    KeptLimit,
    KeptRun,
    KeptStep,
    in_unit,
    to_keep,
)
from pitapp.checks.shown import shown_unit, typed
from pitapp.packs.care import Verdict
from pitapp.packs.cell import OCV_TABLE, STORAGE_CELL_V, state_of_charge_percent
from pitapp.packs.charging import store
from pitapp.packs.charging.forms import EndForm, form_for
from pitapp.packs.charging.screens import BY_KEY, STEPS, ChargeStep
from pitapp.packs.charging.steps import Caution, asks, cautions, judge_answers
from pitapp.packs.charging.telling import LONGEST, STALE, words
from pitapp.packs.charging.view import Ahead, Countdown, address, last_look, step_values
from pitapp.packs.models import Charge, Pack, Purpose
from pitapp.packs.overview import states

TITLES: dict[Purpose, str] = {"full": "Charge", "storage": "Storage"}
TAKES: dict[Purpose, tuple[str, str, str]] = {
    "full": (
        "Takes at least",
        "Until about {until} or later: the slow end at constant voltage comes on top.",
        "Reckoned on this phone without the slow end. Look then; it may need longer.",
    ),
    "storage": ("Takes about", "Until about {until}.", "Reckoned on this phone."),
}
ABOUT_THE_LABEL = {"label", "cells", "program"}
Fragments = dict[Hashable, Any]
"""What is made for one bundle, by all that it depends on."""
CHANGED = "Its condition was changed on this phone. Start it when the server is back."
TAKEN = "This pack is on the charger already."
THERE = "It is there already. Nothing to charge or discharge."


def runs(connection: sqlite3.Connection, packs: Iterable[Pack], now: datetime) -> list[KeptRun]:
    """A charge to full and one to storage for each of these packs that is on no charger."""
    busy = {each.pack_id for each in store.running(connection)}
    worn = {each.pack.id: each.worn(now) for each in states(connection)}
    fragments: Fragments = {}
    return [
        _run(connection, pack, purpose, now, worn.get(pack.id), fragments)
        for pack in packs
        if pack.condition == "sound" and pack.id not in busy
        for purpose in get_args(Purpose)
    ]


def _run(
    connection: sqlite3.Connection,
    pack: Pack,
    purpose: Purpose,
    now: datetime,
    worn: Verdict | None,
    fragments: Fragments,
) -> KeptRun:
    begun = store.prepared(connection, pack.id, purpose, now)
    item = begun or Charge(uuid=UUID, pack_id=pack.id, purpose=purpose, prepared_at=now)
    answers = store.answers(connection, item.id) if begun else {}
    oldest = store.oldest_answer(connection, item.id) if begun else None
    judged = judge_answers(pack, item, answers)
    open_steps = {each.step.group_name for each in judged if not each.settled}
    given: dict[str, dict[str, str]] = {}
    for each in judged:
        if isinstance(each.step, Caution) and each.answer:
            fields = given.setdefault(each.step.group_name, {})
            fields[each.step.field] = typed(each.shown, each.unit)
    return KeptRun(
        at=address(pack.id, UUID, purpose, STEP),
        begin=f"/packs/{pack.id}/charge?purpose={purpose}",
        frame=f"/packs/{pack.id}",
        part="pack-part",
        title=f"{TITLES[purpose]}: {pack.mark}",
        values={"pack": f"/packs/{pack.id}", "purpose": purpose},
        uuid=begun.uuid if begun else "",
        since=oldest.timestamp() * 1000 if oldest else 0,
        good_for=store.GOOD_FOR.total_seconds() * 1000,
        steps=[_step(step, pack, purpose, worn, fragments) for step in STEPS],
        settled=[step.key for step in STEPS if step.key not in open_steps],
        given=given,
        then=f"/packs/charges/{UUID}",
        start=_start(pack, purpose, fragments),
    )


def _step(
    step: ChargeStep, pack: Pack, purpose: Purpose, worn: Verdict | None, fragments: Fragments
) -> KeptStep:
    def make() -> KeptStep:
        values = step_values(pack, step, UUID, purpose, {}, form_for(step), worn)
        values |= {"address": AT, "back": values["back"] and BACK}
        return KeptStep(
            key=step.key,
            title=step.title,
            html=_rendered("packs/_step.html", pack, values),
            limits=_limits(step, pack, purpose),
        )

    label = (pack.cells_series, pack.shown_nominal_v, pack.capacity_mah, pack.most_charge_c)
    name = (step.key, (purpose, label) if step.key in ABOUT_THE_LABEL else (), worn)
    step_kept: KeptStep = _once(fragments, name, make)
    return step_kept


def _once(fragments: Fragments, name: Hashable, make: Callable[[], Any]) -> Any:
    """A fragment that several packs share, rendered for the first of them."""
    if name not in fragments:
        fragments[name] = make()
    return fragments[name]


def _rendered(template: str, pack: Pack, values: dict[str, Any]) -> str:
    """The fragment without token, and without anything that is this pack's alone."""
    html = to_keep(render_template(template, **values))
    html = html.replace(f"?purpose={values['purpose']}", "?purpose={purpose}")
    return html.replace(f"/packs/{pack.id}/", "{pack}/").replace(f'"/packs/{pack.id}"', '"{pack}"')


def _limits(step: ChargeStep, pack: Pack, purpose: Purpose) -> dict[str, KeptLimit]:
    def found(*, discharging: bool) -> dict[str, KeptLimit]:
        asked = asks(pack, discharging=discharging)
        limits = {}
        for caution in cautions(pack, discharging=discharging):
            if caution.group_name != step.key:
                continue
            under, over = words(caution, asked.get(caution.key))
            if caution.kind == "yesno":
                limits[caution.field] = KeptLimit(only=caution.planned, over=over)
            else:
                limit = in_unit(asked[caution.key], caution.unit)
                limits[caution.field] = limit | KeptLimit(under=under, over=over, number=NO_NUMBER)
        return limits

    limits = found(discharging=False)
    if purpose == "storage" and "current_a" in limits:
        limits["current_a"]["discharging"] = found(discharging=True)["current_a"]
    return limits


def _start(pack: Pack, purpose: Purpose, fragments: Fragments) -> dict[str, Any]:
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
        "taken": TAKEN,
        "there": THERE,
    }


def _ready(pack: Pack, purpose: Purpose) -> str:
    shown = {
        "warmth": f"{{cell_c}} {shown_unit('°C')}",
        "cells": ", ".join(f"{{cell_v-{place}}}" for place in range(pack.cells_series)) + " V",
        "program": "{cells_set} cells, {current_a} A",
    }
    good = {key: "yes" if step.kind == "yesno" else "" for key, step in BY_KEY.items()}
    takes, until, _ = TAKES[purpose]
    ready = last_look(pack, UUID, purpose, good, shown) | {
        "kept": True,
        "ahead": Ahead("{minutes}", "{way}", "{current_a}", until, takes=takes),
    }
    return _rendered("packs/_ready.html", pack, ready)


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
    return _rendered("packs/_charge.html", pack, running)
