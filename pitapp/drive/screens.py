"""The Forecast screens: every gear ranked, one gear, what the runs taught, what if, shopping."""

from __future__ import annotations

import sqlite3
from math import ceil, floor
from typing import Any

from flask import request

from pitapp.drive import figures, store
from pitapp.drive.figures import garage
from pitapp.drive.forecast import GearForecast
from pitapp.drive.forms import FeelForm, ShoppingForm, WhatIfForm
from pitapp.drive.garage import Garage
from pitapp.drive.outlook import Outlooks
from pitapp.drive.plots import speed_along
from pitapp.drive.setting_up import curve
from pitapp.drive.shopping import MARGIN_PERCENT, STEP_PERCENT, shop, worth_having
from pitapp.drive.trials import lap_score, temperature_score, trials
from pitapp.drive.whatif import Change, suggested, today, what_ifs
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
    return show("drive/page.html", **_page(garage()))


def part() -> Any:
    return show_part("drive/page.html", **_page(garage()))


def _page(stock: Garage, feel: FeelForm | None = None) -> dict[str, Any]:
    values: dict[str, Any] = {"garage": stock, "missing": stock.missing, "feel": feel}
    if stock.missing:
        return values
    if stock.track is None or feel is not None:
        return values | {"feel": feel or FeelForm(formdata=None)}
    try:
        found = Outlooks(stock)
    except ValueError as error:
        return values | {"problem": str(error)}
    return values | {
        "found": found,
        "others": [each for each in found.gears if each is not found.best][:FIRST],
        "plots": found.plots(),
        "reckoned": [
            (label, figures.line(stock, stock.known[name])) for name, label in RECKONED_WITH.items()
        ],
    }


def feel() -> Any:
    stock = garage()
    known = stock.feels.get(stock.track_id)
    data = {"longest": known.longest_straight_m, "corners": known.corners} if known else {}
    form = FeelForm(formdata=None, data=data)
    return show("drive/page.html", **_page(stock, form))


@write
def save_feel(connection: sqlite3.Connection) -> Any:
    stock = garage()
    form = FeelForm()
    if form.validate_on_submit() and not 5 <= form.longest.data <= 500:
        form.longest.errors = ["A longest straight lies between 5 and 500 m."]
    if form.errors or not form.is_submitted():
        return show("drive/page.html", 422, **_page(stock, form))
    kept = store.Feel(form.longest.data, form.corners.data)
    notice("Saved the track's feel", store.save_feel(connection, stock.track_id, kept, now()))
    return after_write("drive.page", track=stock.track_id, race_class=stock.class_id or None)


def gears() -> Any:
    stock = garage()
    values: dict[str, Any] = {"garage": stock, "missing": stock.missing}
    if not stock.missing and stock.track is not None:
        try:
            values["found"] = Outlooks(stock)
        except ValueError as error:
            values["problem"] = str(error)
    return show("drive/gears.html", **values)


def gear() -> Any:
    stock = garage()
    pinion, spur = (request.args.get(name, type=int) for name in ("pinion", "spur"))
    if not (pinion and spur and 6 <= pinion <= 200 and 6 <= spur <= 200):
        raise BadRequest("A pinion and a spur have 6 to 200 teeth each.")
    values: dict[str, Any] = {"garage": stock, "missing": stock.missing}
    if stock.car and not stock.missing and stock.track is not None:
        ratio = final_drive_ratio(spur, pinion, stock.car.internal_ratio)
        try:
            found = Outlooks(stock, [GearOption(pinion, spur, ratio)])
            one: GearForecast = found.gears[0]
            pair = [(f"{pinion} / {spur}", ratio), *found.fitted_named(ratio)]
            drawn = speed_along(pair, stock.track, stock.setup)
            values |= {"found": found, "one": one, "plots": [drawn]}
        except ValueError as error:
            values["problem"] = str(error)
    return show("drive/gear.html", pinion=pinion, spur=spur, **values)


def learned() -> Any:
    stock = garage()
    values: dict[str, Any] = {"garage": stock, "missing": stock.missing}
    if not stock.missing:
        runs = stock.runs_before(request.args.get("before", type=int))
        told = stock.lessons(runs)
        tried = trials(told, RUNS_PAGE, stock.prior)
        values |= {
            "gearless": len(runs) - len(told),
            "taught": stock.learned,
            "slips": stock.slips,
            "tried": tried,
            "older": tried[-1].lesson.run.id if len(told) > len(tried) else None,
            "can_score": temperature_score(tried),
            "lap_score": lap_score(tried),
        }
    return show("drive/learned.html", **values)


def what_if() -> Any:
    stock = garage()
    values: dict[str, Any] = {"garage": stock, "missing": stock.missing}
    if stock.missing or stock.track is None:
        return show("drive/what_if.html", **values)
    before = today(stock.setup)
    asked = any(name in request.args for name in (*before, "motor", "pack"))
    form = WhatIfForm(request.args) if asked else WhatIfForm(data=suggested(stock.setup))
    motors, sound = stock.other_motors, stock.other_packs
    form.offer(
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
                changes["motor"] = stock.setup_with(motor=motor).motor
            if form.pack.data:
                pack = sound[int(form.pack.data)]
                names["pack"] = pack.mark
                changes["pack"] = stock.setup_with(pack=pack).pack
            changes |= form.changes
            values["rows"] = what_ifs(changes, stock.options, stock.track, stock.setup)
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
    stock = garage()
    values: dict[str, Any] = {"garage": stock, "missing": stock.missing, "margin": MARGIN_PERCENT}
    gearless = stock.car and stock.motor and not stock.options
    if stock.car is None or (stock.missing and not gearless) or stock.track is None:
        return show("drive/shopping.html", **values)
    values["missing"] = None
    ratios = [each.final_drive_ratio for each in stock.options] or [2.0, 6.0]
    status = 200
    try:
        along = curve(
            0.75 * ratios[0], 1.33 * ratios[-1], stock.track, stock.setup, SHOPPING_POINTS
        )
        worth = worth_having(along)
    except ValueError as error:
        return show("drive/shopping.html", problem=str(error), **values)
    data = {
        "low": floor(100 * (worth.low if worth else ratios[0])) / 100,
        "high": ceil(100 * (worth.high if worth else ratios[-1])) / 100,
        "step": STEP_PERCENT,
    }
    asked = "low" in request.args
    form = ShoppingForm(request.args) if asked else ShoppingForm(data=data)
    found = None
    if form.validate():
        try:
            found = shop(
                stock.box.pinions,
                stock.box.spurs,
                stock.options,
                form.low.data,
                form.high.data,
                form.step.data,
                stock.car.internal_ratio,
                stock.box.limits,
            )
        except ValueError as error:
            form.low.errors = [str(error)]
    if found is None and asked:
        status = 422
    return show(
        "drive/shopping.html",
        status,
        form=form,
        worth=worth,
        shopping=found,
        packs=stock.sound_packs,
        **values,
    )
