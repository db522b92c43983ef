"""The Forecast screens: every gear ranked, one gear, what the runs taught, what if, shopping."""

from __future__ import annotations

import sqlite3
from math import ceil, floor
from typing import Any

from flask import request

from pitapp.drive import store
from pitapp.drive.forecast_context import ForecastContext
from pitapp.drive.forms import FeelForm, ShoppingForm, WhatIfForm
from pitapp.drive.inputs import input_screens
from pitapp.drive.inputs.input_screens import forecast_context
from pitapp.drive.learning.backtest import lap_score, run_back_tests, temperature_score
from pitapp.drive.plots import speed_along
from pitapp.drive.ranking.drivable import curve
from pitapp.drive.ranking.gear_forecast import GearForecast
from pitapp.drive.ranking.gear_purchases import (
    MARGIN_PERCENT,
    STEP_PERCENT,
    plan_purchases,
    worthwhile_range,
)
from pitapp.drive.ranking.ranking_view import RankingView
from pitapp.drive.ranking.what_if import Change, compare_changes, suggested, today
from pitapp.errors import BadRequest
from pitapp.gearing.formulas import final_drive_ratio
from pitapp.gearing.models import GearOption
from pitapp.web.clock import now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

FIRST = 6
RUNS_PAGE = 30
SHOPPING_POINTS = 81
RECKONED_WITH = {"air_c": "Air", "can_limit_c": "Limit", "run_length_s": "Run"}


def page() -> Any:
    return show("drive/page.html", **_page(forecast_context()))


def part() -> Any:
    return show_part("drive/page.html", **_page(forecast_context()))


def _page(context: ForecastContext, feel: FeelForm | None = None) -> dict[str, Any]:
    values: dict[str, Any] = {"context": context, "missing": context.missing, "feel": feel}
    if context.missing:
        return values
    if context.track is None or feel is not None:
        return values | {"feel": feel or FeelForm(formdata=None)}
    try:
        ranking = RankingView(context)
    except ValueError as error:
        return values | {"problem": str(error)}
    return values | {
        "ranking": ranking,
        "others": [each for each in ranking.gears if each is not ranking.best][:FIRST],
        "plots": ranking.plots(),
        "reckoned": [
            (label, input_screens.line(context, context.inputs[name]))
            for name, label in RECKONED_WITH.items()
        ],
    }


def feel() -> Any:
    context = forecast_context()
    current = context.feels.get(context.track_id)
    data = {"longest": current.longest_straight_m, "corners": current.corners} if current else {}
    form = FeelForm(formdata=None, data=data)
    return show("drive/page.html", **_page(context, form))


@write
def save_feel(connection: sqlite3.Connection) -> Any:
    context = forecast_context()
    form = FeelForm()
    if form.validate_on_submit() and not 5 <= form.longest.data <= 500:
        form.longest.errors = ["A longest straight lies between 5 and 500 m."]
    if form.errors or not form.is_submitted():
        return show("drive/page.html", 422, **_page(context, form))
    track_feel = store.Feel(form.longest.data, form.corners.data)
    notice(
        "Saved the track's feel", store.save_feel(connection, context.track_id, track_feel, now())
    )
    return after_write("drive.page", track=context.track_id, race_class=context.class_id or None)


def gears() -> Any:
    context = forecast_context()
    values: dict[str, Any] = {"context": context, "missing": context.missing}
    if not context.missing and context.track is not None:
        try:
            values["ranking"] = RankingView(context)
        except ValueError as error:
            values["problem"] = str(error)
    return show("drive/gears.html", **values)


def gear() -> Any:
    context = forecast_context()
    pinion, spur = (request.args.get(name, type=int) for name in ("pinion", "spur"))
    if not (pinion and spur and 6 <= pinion <= 200 and 6 <= spur <= 200):
        raise BadRequest("A pinion and a spur have 6 to 200 teeth each.")
    values: dict[str, Any] = {"context": context, "missing": context.missing}
    if context.car and not context.missing and context.track is not None:
        ratio = final_drive_ratio(spur, pinion, context.car.internal_ratio)
        try:
            ranking = RankingView(context, [GearOption(pinion, spur, ratio)])
            forecast: GearForecast = ranking.gears[0]
            pair = [(f"{pinion} / {spur}", ratio), *ranking.fitted_named(ratio)]
            drawn = speed_along(pair, context.track, context.setup)
            values |= {"ranking": ranking, "one": forecast, "plots": [drawn]}
        except ValueError as error:
            values["problem"] = str(error)
    return show("drive/gear.html", pinion=pinion, spur=spur, **values)


def learned() -> Any:
    context = forecast_context()
    values: dict[str, Any] = {"context": context, "missing": context.missing}
    if not context.missing:
        runs = context.runs_before(request.args.get("before", type=int))
        residuals = context.run_residuals(runs)
        back_tests = run_back_tests(residuals, RUNS_PAGE, context.prior)
        values |= {
            "gearless": len(runs) - len(residuals),
            "learned": context.learned,
            "slips": context.slips,
            "back_tests": back_tests,
            "older": back_tests[-1].residual.run.id if len(residuals) > len(back_tests) else None,
            "can_score": temperature_score(back_tests),
            "lap_score": lap_score(back_tests),
        }
    return show("drive/learned.html", **values)


def what_if() -> Any:
    context = forecast_context()
    values: dict[str, Any] = {"context": context, "missing": context.missing}
    if context.missing or context.track is None:
        return show("drive/what_if.html", **values)
    before = today(context.setup)
    asked = any(name in request.args for name in (*before, "motor", "pack"))
    form = WhatIfForm(request.args) if asked else WhatIfForm(data=suggested(context.setup))
    motors, sound = context.other_motors, context.other_packs
    form.set_choices(
        [(each.id, each.name) for each in motors.values()],
        [(each.id, each.mark) for each in sound.values()],
    )
    status = 200
    names: dict[str, str] = {}
    if form.validate():
        try:
            changes: dict[str, Change] = {}
            if form.motor.data:
                motor = motors[int(form.motor.data)]
                names["motor"] = motor.name
                changes["motor"] = context.setup_with(motor=motor).motor
            if form.pack.data:
                pack = sound[int(form.pack.data)]
                names["pack"] = pack.mark
                changes["pack"] = context.setup_with(pack=pack).pack
            changes |= form.changes
            values["rows"] = compare_changes(changes, context.options, context.track, context.setup)
        except ValueError as error:
            values["problem"] = str(error)
    else:
        status = 422
    return show(
        "drive/what_if.html",
        status,
        form=form,
        before=before,
        names=names,
        **values,
    )


def shopping() -> Any:
    context = forecast_context()
    values: dict[str, Any] = {
        "context": context,
        "missing": context.missing,
        "margin": MARGIN_PERCENT,
    }
    gearless = context.car and context.motor and not context.options
    if context.car is None or (context.missing and not gearless) or context.track is None:
        return show("drive/shopping.html", **values)
    values["missing"] = None
    ratios = [each.final_drive_ratio for each in context.options] or [2.0, 6.0]
    status = 200
    try:
        along = curve(
            0.75 * ratios[0], 1.33 * ratios[-1], context.track, context.setup, SHOPPING_POINTS
        )
        worth = worthwhile_range(along)
    except ValueError as error:
        return show("drive/shopping.html", problem=str(error), **values)
    data = {
        "low": floor(100 * (worth.low if worth else ratios[0])) / 100,
        "high": ceil(100 * (worth.high if worth else ratios[-1])) / 100,
        "step": STEP_PERCENT,
    }
    asked = "low" in request.args
    form = ShoppingForm(request.args) if asked else ShoppingForm(data=data)
    purchases = None
    if form.validate():
        try:
            purchases = plan_purchases(
                context.box.pinions,
                context.box.spurs,
                context.options,
                form.low.data,
                form.high.data,
                form.step.data,
                context.car.internal_ratio,
                context.box.limits,
            )
        except ValueError as error:
            form.low.errors = [str(error)]
    if purchases is None and asked:
        status = 422
    return show(
        "drive/shopping.html",
        status,
        form=form,
        worth=worth,
        shopping=purchases,
        packs=context.sound_packs,
        **values,
    )
