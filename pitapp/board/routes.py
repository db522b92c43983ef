"""The Board."""

from __future__ import annotations

from typing import Any

from flask import Blueprint

from pitapp.db import get_db
from pitapp.gearing import store as gearing
from pitapp.gearing.answer import answer, for_car
from pitapp.kit import store as kit
from pitapp.web.clock import current_settings
from pitapp.web.htmx import show

blueprint = Blueprint("board", __name__)


@blueprint.get("/")
def page() -> Any:
    connection = get_db()
    car = kit.current_car(connection, current_settings())
    fitted = gearing.fitted(connection, car.id) if car else None
    motor = kit.motor(connection, car.motor_id) if car and car.motor_id else None
    has_gears = bool(car and all(kit.owned_teeth(connection, car.pitch)))
    figures = answer(for_car(car, motor, fitted)) if car and fitted else None
    return show(
        "board/page.html",
        "board/_part.html",
        car=car,
        fitted=fitted,
        figures=figures,
        has_gears=has_gears,
    )
