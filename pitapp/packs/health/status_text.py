"""How a pack stands, in words for a list, and the level of its verdict."""

from __future__ import annotations

from typing import Literal

from pitapp.packs.health.state import PackState
from pitapp.web.clock import moment_text

LEVELS: dict[str, Literal["good", "look", "stop"]] = {
    "fit to race": "good",
    "look at it": "look",
    "retire it": "stop",
}
OUTCOMES = {"done": "done", "stopped": "stopped early", "trouble": "something was wrong"}


def status_text(state: PackState) -> str:
    """What happened to the pack last, and about how full it is."""
    if state.pack.condition == "damaged":
        return f"damaged: {state.pack.damage}" if state.pack.damage else "damaged"
    if state.pack.condition == "retired":
        return "retired"
    charge = _charge_text(state)
    return f"in {state.in_car.car_name}, {charge}" if state.in_car else charge


def _charge_text(state: PackState) -> str:
    what, moment = state.newest
    if moment is None:
        return "nothing logged yet"
    when = moment_text(moment)
    about = f"about {state.percent:.0f}\u00a0%" if state.percent is not None else ""
    if what == "charging" and state.charging and state.charging.due_at:
        return f"on the charger until {moment_text(state.charging.due_at)}"
    return {
        "full": f"full, charged {when}",
        "part": f"charge ended early {when}",
        "run": f"run {when}, {about}",
        "stored": f"at storage since {when}",
        "read": f"{about}, read {when}",
    }.get(what, about)


def fit_refusal(state: PackState) -> str:
    """Why a pack cannot be put into a car now, as a sentence; empty if it can."""
    mark = state.pack.mark
    if state.pack.condition != "sound":
        return f"Pack {mark} is {state.pack.condition} and not to be raced."
    return f"Pack {mark} is on the charger. End its charge first." if state.charging else ""
