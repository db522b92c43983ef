"""The scales' screens: total and parts, corner weights, what moving a part does."""

from __future__ import annotations

import sqlite3
from functools import partial
from typing import Any

from flask import Blueprint, request
from pydantic import ValidationError

from pitapp.db import get_db
from pitapp.db.pages import split_page
from pitapp.kit import store as kit
from pitapp.kit import subject
from pitapp.kit.models import Car
from pitapp.kit.scales import store
from pitapp.kit.scales.forms import CornersForm, MoveForm, PartForm
from pitapp.kit.scales.models import Move, Part, Weighing
from pitapp.meetings import store as meetings
from pitapp.web.clock import current_settings, now
from pitapp.web.forms.form_errors import in_words
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes.submission import save_form
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("scales", __name__, url_prefix="/scales")
PAGE = 50


@blueprint.get("")
def page() -> Any:
    return show("kit/scales.html", **_scales(get_db(), _in_use(), PartForm()))


@blueprint.get("/part")
def page_part() -> Any:
    return show_part("kit/scales.html", **_scales(get_db(), _in_use(), PartForm()))


def _in_use() -> Car:
    return kit.car_in_use(get_db(), current_settings())


def _scales(connection: sqlite3.Connection, car: Car, form: PartForm) -> dict[str, Any]:
    parts = store.parts(connection, car.id)
    motor = kit.motor(connection, car.motor_id) if car.motor_id else None
    motor_g = motor.mass_g if motor and motor.mass_g else 0.0
    before = request.args.get("before", type=int)
    weighed, more = split_page(
        store.weighings(connection, car.id, limit=PAGE + 1, before=before), PAGE
    )
    return {
        "car": car,
        "form": form,
        "parts": parts,
        "motor": motor,
        "parts_g": sum(part.mass_g for part in parts if part.fitted) + motor_g,
        "weighed": weighed,
        "more": more,
        "older": before is not None,
        "race_class": meetings.class_raced(
            connection, meetings.current_meeting(connection, now()), car.id
        ),
    }


@blueprint.post("")
@write
def add_part(connection: sqlite3.Connection) -> Any:
    car, form = subject.form_car_needed(connection), PartForm()
    record = form.fill(Part, car_id=car.id)
    if record is None:
        return show("kit/scales.html", 422, **_scales(connection, car, form))
    _, token = store.save_part(connection, record, now())
    notice(f"Added {record.name}{subject.other_car_note(connection, car)}", token)
    return after_write("kit.scales.page", "kit.scales.page_part")


@blueprint.post("/parts/<int:part_id>/fit")
@write
def fit_part(connection: sqlite3.Connection, part_id: int) -> Any:
    item = store.part(connection, part_id)
    fitted = request.form.get("fitted") == "yes"
    _, token = store.save_part(connection, item.model_copy(update={"fitted": fitted}), now())
    notice(f"{item.name} {'counts' if fitted else 'does not count'}", token)
    return after_write("kit.scales.page", "kit.scales.page_part")


@blueprint.get("/parts/<int:part_id>")
def part(part_id: int) -> Any:
    item = store.part(get_db(), part_id)
    return _show_part(PartForm(data=item.model_dump()), item)


def _show_part(form: PartForm, item: Part, status: int = 200) -> Any:
    return show("kit/part.html", status, form=form, item=item)


@blueprint.post("/parts/<int:part_id>")
@write
def save_part(connection: sqlite3.Connection, part_id: int) -> Any:
    item = store.part(connection, part_id)
    form = PartForm()
    record = form.fill(Part, id=item.id, car_id=item.car_id, fitted=item.fitted)
    saved, (_, token) = save_form(connection, form, item, record, store.save_part, _show_part)
    notice(f"Saved {saved.name}", token)
    return after_write("kit.scales.page")


@blueprint.post("/parts/<int:part_id>/remove")
@write
def remove_part(connection: sqlite3.Connection, part_id: int) -> Any:
    notice("Removed the part", store.remove(connection, "weighed_parts", part_id, now()))
    return after_write("kit.scales.page")


@blueprint.get("/corners/new")
def new_corners() -> Any:
    car = _in_use()
    last = next(iter(store.weighings(get_db(), car.id, limit=1)), None)
    spans = last.model_dump(include={"wheelbase_mm", "track_width_mm"}) if last else {}
    return _show_corners(CornersForm(data=spans | {"weighed_at": now()}), None, car=car)


@blueprint.get("/corners/<int:weighing_id>")
def corners(weighing_id: int) -> Any:
    item = store.weighing(get_db(), weighing_id)
    return _show_corners(CornersForm(data=item.model_dump()), item)


def _show_corners(
    form: CornersForm, item: Weighing | None, status: int = 200, car: Car | None = None
) -> Any:
    return show("kit/corners.html", status, form=form, item=item, car=car)


@blueprint.post("/corners/new")
@blueprint.post("/corners/<int:weighing_id>")
@write
def save_corners(connection: sqlite3.Connection, weighing_id: int = 0) -> Any:
    item = store.weighing(connection, weighing_id) if weighing_id else None
    form = CornersForm()
    car = None if item else subject.form_car_needed(connection)
    record = form.fill(Weighing, id=weighing_id, car_id=item.car_id if item else car and car.id)
    show_again = partial(_show_corners, car=car)
    _, (_, token) = save_form(connection, form, item, record, store.save_weighing, show_again)
    note = subject.other_car_note(connection, car) if car else ""
    notice(f"Saved the corner weights{note}", token)
    return after_write("kit.scales.page")


@blueprint.post("/corners/<int:weighing_id>/remove")
@write
def remove_corners(connection: sqlite3.Connection, weighing_id: int) -> Any:
    token = store.remove(connection, "corner_weighings", weighing_id, now())
    notice("Removed the corner weights", token)
    return after_write("kit.scales.page")


@blueprint.post("/corners/<int:weighing_id>/take-over")
@write
def take_over(connection: sqlite3.Connection, weighing_id: int) -> Any:
    item = store.weighing(connection, weighing_id)
    car = kit.car(connection, item.car_id)
    total_g = round(item.balance.total_g, 1)
    _, token = kit.save_car(connection, car.model_copy(update={"mass_g": total_g}), now())
    notice(f"{car.name}'s record has this weight now", token)
    return after_write("kit.scales.page", "kit.scales.page_part")


@blueprint.get("/move")
def move() -> Any:
    return show("kit/move.html", **_move(get_db()))


@blueprint.get("/move/part")
def move_part() -> Any:
    return show_part("kit/move.html", **_move(get_db()))


def _move(connection: sqlite3.Connection) -> dict[str, Any]:
    car = _in_use()
    last = next(iter(store.weighings(connection, car.id, limit=1)), None)
    if "part_g" in request.args:
        form = MoveForm(request.args)
        return {"car": car, "last": last, "form": form, "asked": _asked(form)}
    chosen = request.args.get("of", type=int)
    defaults: dict[str, Any] = {"total_g": last.balance.total_g if last else car.mass_g}
    if last:
        defaults |= last.model_dump(include={"wheelbase_mm", "track_width_mm"})
    if chosen:
        defaults["part_g"] = store.part(connection, chosen).mass_g
    return {"car": car, "last": last, "form": MoveForm(data=defaults), "asked": None}


def _asked(form: MoveForm) -> Move | None:
    if not form.validate():
        return None
    try:
        return Move(**{name: value for name, value in form.data.items() if value is not None})
    except ValidationError as error:
        for finding in error.errors():
            form[str(finding["loc"][0])].errors = [in_words(finding)]
        return None
