"""What was answered before a charge and what speaks against it, as people read it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import timedelta

from pitapp.checks.engine import StepResult
from pitapp.checks.models import Limit
from pitapp.checks.reading_text import reading
from pitapp.packs.charging.prompts import BY_KEY
from pitapp.packs.charging.steps import Caution, cells_of, direction, judge_answers, program_of
from pitapp.packs.health.state import PackState
from pitapp.packs.models import Charge, Pack
from pitapp.packs.safety import charge_refusals
from pitapp.web.forms.quantities import quantity

LONGEST = timedelta(hours=24)
"""No countdown is longer."""
STALE = "The answers are more than half an hour old. Look and feel again."


def readings_text(answers: Mapping[str, str]) -> dict[str, str]:
    """The readings among the answers as people write them, by step."""
    program = program_of(answers)
    cells = ", ".join(f"{volts:.2f}" for volts in cells_of(answers))
    return {
        "warmth": quantity(float(answers["warmth"]), "temperature") if "warmth" in answers else "",
        "cells": f"{cells} V",
        "program": f"{program.cells_set} cells, {program.current_a:g} A" if program else "",
    }


def refusal_text(
    caution: Caution, allowed: Limit | None, answer: str = "{shown}"
) -> tuple[str, str]:
    """Sentences against a reading below the limit, and against one above it or a "no"."""
    limits = allowed or Limit()
    least, most = (
        "" if limit is None else reading(repr(limit), caution.unit)
        for limit in (limits.least, limits.most)
    )
    under, over = (
        sentence.format(shown=answer, least=least, most=most)
        for sentence in (caution.under, caution.over)
    )
    return under, over


def refusal(result: StepResult) -> str:
    """What speaks against going on from a step of a charge; empty where nothing does."""
    if not isinstance(result.step, Caution) or result.settled:
        return ""
    if result.answer is None:
        return f"{BY_KEY[result.step.group_name].title}: not done yet."
    limit = result.limit
    under, over = refusal_text(result.step, limit, reading(result.shown, result.unit))
    low = limit is not None and limit.least is not None and float(result.shown) < limit.least
    return under if low else over


def start_refusals(
    state: PackState, item: Charge, answers: Mapping[str, str], *, stale: bool
) -> list[str]:
    """Every reason against starting the charge now; none means that no answer speaks against it.

    Args:
        state: the pack as it is now.
        item: the charge that is prepared.
        answers: by step.
        stale: whether the answers are too old to hold.
    """
    if state.charging:
        return ["This pack is on the charger already."]
    refusals = [] if state.pack.condition == "sound" else [condition_refusal(state.pack)]
    refusals += filter(None, map(refusal, judge_answers(state.pack, item, answers)))
    if stale:
        refusals.append(STALE)
    return list(dict.fromkeys(refusals)) or list(_all_at_once(state.pack, item, answers))


def condition_refusal(pack: Pack) -> str:
    """Why a damaged or retired pack is not charged."""
    if pack.condition == "damaged":
        damage = f" ({pack.damage})" if pack.damage else ""
        return f"The pack is damaged{damage}. Do not charge it."
    return "The pack is retired. Do not charge it."


def _all_at_once(pack: Pack, item: Charge, answers: Mapping[str, str]) -> Iterable[str]:
    """The last word: every answer together, judged by the formula."""
    program, volts = program_of(answers), cells_of(answers)
    if program is None:
        raise AssertionError("a charge without refusals has every answer")
    discharging = direction(pack, item.purpose, volts) == "discharge"
    refusals = charge_refusals(
        cells=program.cells_set,
        capacity_mah=pack.capacity_mah,
        label_c_rate=pack.most_charge_c,
        current_a=0.01 if discharging else program.current_a,
        pack_voltage_v=sum(volts),
        cell_temperature_c=float(answers["warmth"]),
        balance_lead_plugged_in=answers["balance"] == "yes",
        condition=pack.condition,
        cell_voltages_v=volts,
    )
    return [refusal.sentence for refusal in refusals]
