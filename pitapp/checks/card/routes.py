"""The scrutineering card."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Blueprint

from pitapp.checks.card.lines import LINES_THAT_MATTER, card_lines
from pitapp.checks.context import run_context
from pitapp.checks.lists import store as lists
from pitapp.db import get_db
from pitapp.kit import store as kit
from pitapp.sound import store as sound
from pitapp.web.clock import home_zone, now
from pitapp.web.http.htmx import show

blueprint = Blueprint("card", __name__, url_prefix="/card")


@blueprint.app_template_filter("card_time")
def card_time(moment: datetime) -> str:
    """When something was read, as short as a card wants it: "10:32" today, else "3 May"."""
    local, today = moment.astimezone(home_zone()), now().astimezone(home_zone()).date()
    return f"{local:%H:%M}" if local.date() == today else f"{local.day} {local:%b}"


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    present = run_context(connection, now())
    lines = card_lines(connection, present)
    car = present.car
    return show(
        "checks/card.html",
        present=present,
        motor=kit.motor(connection, car.motor_id) if car and car.motor_id else None,
        first=lines[:LINES_THAT_MATTER],
        scrutineering=next(
            (each for each in lists.checklists(connection) if each.occasion == "scrutineering"),
            None,
        ),
        own_check=next(iter(sound.rev_checks(connection, car.id, limit=1)), None) if car else None,
        further=lines[LINES_THAT_MATTER:],
    )
