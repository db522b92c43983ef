"""The screens of the figures that the forecast reckons with, and of measuring them."""

from __future__ import annotations

import sqlite3
from typing import Any, NamedTuple

from flask import request

from pitapp.db import get_db
from pitapp.drive import store
from pitapp.drive.forms import MEASURED_BY, MEASURES, figure_form
from pitapp.drive.garage import Garage
from pitapp.drive.inputs import OWN, SCOPE_TITLES, Input, Known, OwnFigure
from pitapp.errors import NotThere
from pitapp.kit import subject
from pitapp.kit.models import Car
from pitapp.web.clock import current_settings, now
from pitapp.web.forms.quantities import plain, quantity, signed, unit
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

OFTEN = ("air_c", "start_c", "can_limit_c")
"""Figures that are changed on the way to a forecast, and lead back to it."""


class Line(NamedTuple):
    """A figure as the list shows it."""

    label: str
    value: str
    detail: str
    href: str


def garage(car: Car | None = None, motor_id: int | None = None) -> Garage:
    """The car, else the one in use, at the track and under the class that are asked for."""
    return Garage(
        get_db(),
        current_settings(),
        now(),
        request.values.get("track", type=int),
        request.values.get("race_class", type=int),
        car,
        motor_id,
    )


def form_garage() -> Garage:
    """What the form being answered is about: its car with the motor that it names."""
    return garage(subject.form_car(get_db()), request.form.get("motor_id", type=int))


def shown(figure: Input, value: float | None) -> str:
    """A value in the racer's unit."""
    if value is None:
        return "none"
    if figure.kind:
        return quantity(value, figure.kind)
    return f"{_plain(value)} {figure.unit}".strip()


def _plain(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def usual(figure: Input) -> str:
    """The usual range in the racer's unit."""
    if not figure.kind:
        return f"{_plain(figure.low)} to {_plain(figure.high)} {figure.unit}".strip()
    shown_in = unit(figure.kind)
    low, high = (
        plain(round(shown_in.display_value(each), 2)) for each in (figure.low, figure.high)
    )
    return f"{low} to {high} {shown_in.symbol}"


def page() -> Any:
    stock = garage()
    groups = [
        (title, [line(stock, each) for each in stock.known.values() if each.input.scope == scope])
        for scope, title in SCOPE_TITLES.items()
    ]
    if not stock.missing:
        groups.append(("Learned", _learned(stock)))
    return show("drive/figures.html", garage=stock, groups=groups)


def _learned(stock: Garage) -> list[Line]:
    can, laps = stock.learned.can, stock.learned.laps
    address = f"/forecast/learned{stock.query}"
    warming = _source(can.runs, "run")
    rth, tau = can.resistance_k_per_w, can.tau_s
    slope = laps.slope_per_ratio_s / 10
    return [
        Line("Thermal resistance", f"{rth:.2f} K/W", warming, address),
        Line("Time constant", f"{tau:.0f} s", warming, address),
        Line(
            "Lap for FDR + 0.1, beside the model",
            f"{signed(slope, 3)} s",
            _source(laps.runs, "best lap"),
            address,
        ),
    ]


def _source(runs: int, noun: str) -> str:
    if not runs:
        return "from memory"
    return f"fitted from runs: {runs} {noun}{'' if runs == 1 else 's'}"


def line(stock: Garage, figure: Known) -> Line:
    """A figure with its source and the screen on which it is changed."""
    each = figure.input
    source = figure.source + (f", {figure.detail}" if figure.detail else "")
    return Line(
        each.label,
        shown(each, figure.value),
        f"{source}; usual: {usual(each)}",
        _place(stock, figure),
    )


def _place(stock: Garage, figure: Known) -> str:
    """The screen on which a figure is changed."""
    held = figure.input.held
    if held == "class" or figure.source == "from the class":
        return f"/meetings/classes/{stock.race_class.id if stock.race_class else 'new'}"
    if held and figure.source == "from the pack" and stock.pack:
        return f"/packs/{stock.pack.id}"
    if held == "car":
        return f"/kit/cars/{stock.car.id}" if stock.car else "/kit/cars/new"
    if held == "motor":
        return f"/kit/motors/{stock.motor.id}" if stock.motor else "/kit/motors/new"
    return f"/forecast/figures/{figure.input.name}{stock.query}"


def one(name: str) -> Any:
    stock, figure = garage(), _own(name)
    known = stock.known[name]
    guessed = known.source == "from memory" and known.detail
    data = {"value": known.value, "measured": "no" if guessed else "yes"}
    return _show_one(stock, figure, figure_form(figure, formdata=None, data=data))


def _own(name: str) -> Input:
    if name not in OWN:
        raise NotThere("The forecast has no such figure of its own.")
    return OWN[name]


def _show_one(stock: Garage, figure: Input, form: Any, status: int = 200) -> Any:
    measure = MEASURED_BY.get(figure.name)
    return show(
        "drive/figure.html",
        status,
        garage=stock,
        figure=figure,
        known=stock.known[figure.name],
        form=form,
        usual=usual(figure),
        typical=shown(figure, figure.typical),
        measure=measure,
        measure_title=MEASURES[measure].title if measure else "",
    )


@write
def save(connection: sqlite3.Connection, name: str) -> Any:
    stock, figure = form_garage(), _own(name)
    form = figure_form(figure)
    valid = form.validate_on_submit()
    if valid and not figure.least <= form.value.data <= figure.most:
        low, high = shown(figure, figure.least), shown(figure, figure.most)
        form.value.errors = [f"This lies between {low} and {high}."]
    if not valid or form.value.errors:
        return _show_one(stock, figure, form, 422)
    own = OwnFigure(form.value.data, form.measured.data == "yes")
    token = store.save_figures(connection, stock.about, {name: own}, now())
    notice(f"{figure.label}: {shown(figure, own.value)}{_note(stock)}", token)
    return _back(stock, "drive.page" if name in OFTEN else "drive.figures.page")


@write
def forget(connection: sqlite3.Connection, name: str) -> Any:
    stock, figure = form_garage(), _own(name)
    token = store.save_figures(connection, stock.about, {name: None}, now())
    notice(f"{figure.label}: yours taken back{_note(stock)}", token)
    return _back(stock)


def _note(stock: Garage) -> str:
    return subject.other_car_note(stock.connection, stock.car) if stock.car else ""


def _back(stock: Garage, page: str = "drive.figures.page") -> Any:
    return after_write(page, track=stock.track_id, race_class=stock.class_id or None)


def measure(kind: str) -> Any:
    return _show_measure(garage(), kind, _form_of(kind)(formdata=None))


@write
def save_measure(connection: sqlite3.Connection, kind: str) -> Any:
    stock, form = form_garage(), _form_of(kind)()
    if stock.missing:
        raise NotThere(stock.missing.sentence)
    if not form.validate_on_submit():
        return _show_measure(stock, kind, form, 422)
    try:
        found = form.figures(stock.plain_setup)
        for name, value in found.items():
            _check(OWN[name], value)
    except ValueError as error:
        form.form_errors.append(str(error))
        return _show_measure(stock, kind, form, 422)
    own = {name: OwnFigure(value, measured=True) for name, value in found.items()}
    token = store.save_figures(connection, stock.about, own, now())
    said = ", ".join(
        f"{OWN[name].label} {shown(OWN[name], value)}" for name, value in found.items()
    )
    notice(said + _note(stock), token)
    return _back(stock)


def _check(figure: Input, value: float) -> None:
    if not figure.least <= value <= figure.most:
        raise ValueError(
            f"This gives {figure.label.lower()} {shown(figure, value)}, which no car has. "
            "Measure again."
        )


def _form_of(kind: str) -> Any:
    if kind not in MEASURES:
        raise NotThere("There is no such measurement.")
    return MEASURES[kind]


def _show_measure(stock: Garage, kind: str, form: Any, status: int = 200) -> Any:
    return show(
        "drive/measure.html",
        status,
        garage=stock,
        missing=stock.missing,
        kind=kind,
        form=form,
    )
