"""The screens of the forecast's figures: the list, one figure, one measurement."""

from __future__ import annotations

import sqlite3
from typing import Any, NamedTuple

from flask import request

from pitapp.db import get_db
from pitapp.drive import store
from pitapp.drive.forecast_context import ForecastContext
from pitapp.drive.forms import MEASURED_BY, MEASURES, figure_form
from pitapp.drive.inputs.definitions import OWN, SCOPE_TITLES, Input, InputValue, OwnFigure
from pitapp.errors import NotThere
from pitapp.kit import subject
from pitapp.kit.models import Car
from pitapp.web.clock import current_settings, now
from pitapp.web.forms.quantities import grouped, plain, quantity, signed, unit
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

OFTEN = ("air_c", "start_c", "can_limit_c")
"""Figures that are changed on the way to a forecast, and lead back to it."""
UNSOURCED = "default, unsourced"
"""The source that the list names once, above it."""


class Line(NamedTuple):
    """A figure as the list shows it."""

    label: str
    value: str
    detail: str
    href: str


def forecast_context(car: Car | None = None, motor_id: int | None = None) -> ForecastContext:
    """The car, else the one in use, at the track and under the class that are asked for."""
    return ForecastContext(
        get_db(),
        current_settings(),
        now(),
        request.values.get("track", type=int),
        request.values.get("race_class", type=int),
        car,
        motor_id,
    )


def form_context() -> ForecastContext:
    """What the form being answered is about: its car with the motor that it names."""
    return forecast_context(subject.form_car(get_db()), request.form.get("motor_id", type=int))


def value_in_unit(figure: Input, value: float | None) -> str:
    """A value in the racer's unit."""
    if value is None:
        return "none"
    if figure.kind:
        return quantity(value, figure.kind)
    if figure.name == "run_length_s":
        return _minutes(value)
    return f"{_plain(value)} {figure.unit}".strip()


def _plain(value: float) -> str:
    return grouped(round(value)) if abs(value) >= 1000 else f"{value:.4g}"


def _minutes(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02}"


def usual(figure: Input) -> str:
    """The usual range in the racer's unit."""
    if figure.name == "run_length_s":
        return f"{_minutes(figure.low)} to {_minutes(figure.high)}"
    if not figure.kind:
        return f"{_plain(figure.low)} to {_plain(figure.high)} {figure.unit}".strip()
    shown_in = unit(figure.kind)
    low, high = (
        plain(round(shown_in.display_value(each), 2)) for each in (figure.low, figure.high)
    )
    return f"{low} to {high} {shown_in.symbol}"


def page() -> Any:
    context = forecast_context()
    groups = [
        (
            title,
            [line(context, each) for each in context.inputs.values() if each.input.scope == scope],
        )
        for scope, title in SCOPE_TITLES.items()
    ]
    if not context.missing:
        groups.append(("Learned", _learned(context)))
    return show("drive/figures.html", context=context, groups=groups)


def _learned(context: ForecastContext) -> list[Line]:
    can, laps = context.learned.can, context.learned.laps
    address = f"/forecast/learned{context.query}"
    warming = _source(can.runs, "run")
    rth, tau = can.resistance_k_per_w, can.tau_s
    slope = laps.slope_per_ratio_s / 10
    return [
        *_by_top_speeds(context),
        Line("Thermal resistance", f"{rth:.2f} K/W", warming, address),
        Line("Time constant", f"{tau:.0f} s", warming, address),
        Line(
            "Lap for FDR + 0.1, beside the model",
            f"{signed(slope, 3)} s",
            _source(laps.runs, "best lap"),
            address,
        ),
    ]


def _by_top_speeds(context: ForecastContext) -> list[Line]:
    """Drag and power as measured top speeds have changed them."""
    speeds = context.top_speeds
    if speeds is None:
        return []
    return [
        Line(
            f"{figure.input.label}, by top speeds",
            value_in_unit(figure.input, figure.value),
            _source(speeds.runs, "top speed"),
            f"/runs?car={context.car.id}" if context.car else "/runs",
        )
        for figure in context.taught_figures.values()
    ]


def _source(runs: int, noun: str) -> str:
    if not runs:
        return UNSOURCED
    return f"fitted from runs: {runs} {noun}{'' if runs == 1 else 's'}"


def line(context: ForecastContext, figure: InputValue) -> Line:
    """A figure with its source and the screen on which it is changed."""
    each = figure.input
    source: str = "" if figure.source == UNSOURCED else figure.source
    if figure.detail:
        source = f"{source}, {figure.detail}" if source else figure.detail
    return Line(
        each.label,
        value_in_unit(each, figure.value),
        "; ".join(filter(None, (source, f"usual: {usual(each)}"))),
        _place(context, figure),
    )


def _place(context: ForecastContext, figure: InputValue) -> str:
    """The screen on which a figure is changed."""
    held = figure.input.held
    if held == "class" or figure.source == "from the class":
        return f"/meetings/classes/{context.race_class.id if context.race_class else 'new'}"
    if held and figure.source == "from the pack" and context.pack:
        return f"/packs/{context.pack.id}"
    if held == "car":
        return f"/kit/cars/{context.car.id}" if context.car else "/kit/cars/new"
    if held == "motor":
        return f"/kit/motors/{context.motor.id}" if context.motor else "/kit/motors/new"
    return f"/forecast/figures/{figure.input.name}{context.query}"


def figure_page(name: str) -> Any:
    context, figure = forecast_context(), _own(name)
    current = context.inputs[name]
    guessed = current.source == "your guess"
    data = {"value": current.value, "measured": "no" if guessed else "yes"}
    return _show_figure(context, figure, figure_form(figure, formdata=None, data=data))


def _own(name: str) -> Input:
    if name not in OWN:
        raise NotThere("The forecast has no such figure of its own.")
    return OWN[name]


def _show_figure(context: ForecastContext, figure: Input, form: Any, status: int = 200) -> Any:
    measure = MEASURED_BY.get(figure.name)
    return show(
        "drive/figure.html",
        status,
        context=context,
        figure=figure,
        current=context.inputs[figure.name],
        form=form,
        usual=usual(figure),
        typical=value_in_unit(figure, figure.typical),
        measure=measure,
        measure_title=MEASURES[measure].title if measure else "",
    )


@write
def save(connection: sqlite3.Connection, name: str) -> Any:
    context, figure = form_context(), _own(name)
    form = figure_form(figure)
    valid = form.validate_on_submit()
    if valid and not figure.least <= form.value.data <= figure.most:
        low, high = value_in_unit(figure, figure.least), value_in_unit(figure, figure.most)
        form.value.errors = [f"This lies between {low} and {high}."]
    if not valid or form.value.errors:
        return _show_figure(context, figure, form, 422)
    own = OwnFigure(form.value.data, form.measured.data == "yes")
    token = store.save_figures(connection, context.about, {name: own}, now())
    notice(f"{figure.label}: {value_in_unit(figure, own.value)}{_note(context)}", token)
    return _back(context, "drive.page" if name in OFTEN else "drive.figures.page")


@write
def forget(connection: sqlite3.Connection, name: str) -> Any:
    context, figure = form_context(), _own(name)
    token = store.save_figures(connection, context.about, {name: None}, now())
    notice(f"{figure.label}: yours taken back{_note(context)}", token)
    return _back(context)


def _note(context: ForecastContext) -> str:
    return subject.other_car_note(context.connection, context.car) if context.car else ""


def _back(context: ForecastContext, page: str = "drive.figures.page") -> Any:
    return after_write(page, track=context.track_id, race_class=context.class_id or None)


def measure(kind: str) -> Any:
    return _show_measure(forecast_context(), kind, _form_of(kind)(formdata=None))


@write
def save_measure(connection: sqlite3.Connection, kind: str) -> Any:
    context, form = form_context(), _form_of(kind)()
    if context.missing:
        raise NotThere(context.missing.sentence)
    if not form.validate_on_submit():
        return _show_measure(context, kind, form, 422)
    try:
        figures = form.figures(context.plain_setup)
        for name, value in figures.items():
            _check(OWN[name], value)
    except ValueError as error:
        form.form_errors.append(str(error))
        return _show_measure(context, kind, form, 422)
    own = {name: OwnFigure(value, measured=True) for name, value in figures.items()}
    token = store.save_figures(connection, context.about, own, now())
    said = ", ".join(
        f"{OWN[name].label} {value_in_unit(OWN[name], value)}" for name, value in figures.items()
    )
    notice(said + _note(context), token)
    return _back(context)


def _check(figure: Input, value: float) -> None:
    if not figure.least <= value <= figure.most:
        raise ValueError(
            f"This gives {figure.label.lower()} {value_in_unit(figure, value)}, which no car has. "
            "Measure again."
        )


def _form_of(kind: str) -> Any:
    if kind not in MEASURES:
        raise NotThere("There is no such measurement.")
    return MEASURES[kind]


def _show_measure(context: ForecastContext, kind: str, form: Any, status: int = 200) -> Any:
    return show(
        "drive/measure.html",
        status,
        context=context,
        missing=context.missing,
        kind=kind,
        form=form,
    )
