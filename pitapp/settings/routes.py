"""The Settings screen."""

from __future__ import annotations

import sqlite3
from typing import Any

from flask import Blueprint, current_app, request

from pitapp import __version__
from pitapp.board.readiness import TILT_ON_BOARD
from pitapp.board.starting import PUT_AWAY
from pitapp.db import settings as stored
from pitapp.settings.forms import ThemeForm, UnitsForm
from pitapp.web.clock import current_settings
from pitapp.web.http.htmx import after_write, show
from pitapp.web.view.nav import more_places
from pitapp.web.view.theme import cookie_name, theme
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("settings", __name__)
A_YEAR_S = 365 * 24 * 3600


@blueprint.app_context_processor
def _theme() -> dict[str, Any]:
    return {"theme": theme(), "invented": current_app.config["PITAPP_INVENTED"]}


@blueprint.get("/more")
def more() -> Any:
    return show("settings/more.html", others=more_places())


@blueprint.get("/settings")
def page() -> Any:
    return _show(UnitsForm(data=_units()), ThemeForm(data={"theme": theme()}))


@blueprint.post("/settings/units")
@write
def save_units(connection: sqlite3.Connection) -> Any:
    form = UnitsForm()
    if not form.validate_on_submit():
        return _show(form, ThemeForm(data={"theme": theme()}, formdata=None), 422)
    for name in _units():
        stored.save(connection, name, form[name].data)
    notice("Units saved")
    return after_write("settings.page")


@blueprint.post("/settings/look")
def save_look() -> Any:
    form = ThemeForm()
    if not form.validate_on_submit():
        return _show(UnitsForm(data=_units(), formdata=None), form, 422)
    answer = after_write("settings.page")
    answer.set_cookie(
        cookie_name(),
        form.theme.data,
        max_age=A_YEAR_S,
        httponly=True,
        samesite="Strict",
        secure=request.is_secure,
    )
    return answer


@blueprint.post("/settings/board")
@write
def save_board(connection: sqlite3.Connection) -> Any:
    """Put the tilt test's line on the Board, or take it off."""
    asked = request.form.get("tilt") == "yes"
    stored.save(connection, TILT_ON_BOARD, "yes" if asked else None)
    notice("The tilt test is on the Board" if asked else "The tilt test is off the Board")
    return after_write("settings.page")


def _units() -> dict[str, str]:
    names = ("speed_unit", "temperature_unit", "mass_unit", "length_unit")
    return {name: current_settings().get(name, "metric") for name in names}


def _show(units: UnitsForm, look: ThemeForm, status: int = 200) -> Any:
    return show(
        "settings/page.html",
        status,
        units=units,
        look=look,
        tilt=current_settings().get(TILT_ON_BOARD) == "yes",
        started=PUT_AWAY in current_settings(),
        version=__version__,
        data_dir=current_app.config["PITAPP_DATA_DIR"],
    )
