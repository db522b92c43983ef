"""The Tracks screens."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import date
from typing import Any

from flask import Blueprint, request

from pitapp.dates import read_day
from pitapp.db import get_db, undo
from pitapp.drive import store as track_guesses
from pitapp.drive.inputs.definitions import CAN_LIMIT_C
from pitapp.errors import ChangedMeanwhile
from pitapp.kit import store as kit
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import RaceClass
from pitapp.tracks import plots, store
from pitapp.tracks.advice import reasons
from pitapp.tracks.forms import TrackForm, values_of
from pitapp.tracks.formulas import TrackRun, starting_gear
from pitapp.web.clock import current_settings, now
from pitapp.web.http.htmx import after_write, show
from pitapp.web.writes.onward import onward
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("tracks", __name__, url_prefix="/tracks")
SURFACES = ("asphalt", "carpet", "concrete")
LAST_RUNS = 5
MOST_DAYS = 12


@blueprint.get("")
def page() -> Any:
    connection = get_db()
    return show(
        "tracks/page.html",
        tracks=store.tracks(connection),
        visits=store.visits(connection),
    )


@blueprint.get("/<int:track_id>")
def track(track_id: int) -> Any:
    connection = get_db()
    item = store.track(connection, track_id)
    car = kit.current_car(connection, current_settings())
    meeting = meetings.current_meeting(connection, now())
    race_class = meetings.class_raced(connection, meeting, car.id if car else None)
    outings = store.outings(connection, track_id)
    start = starting_gear(
        _nearest(connection, track_id, car, race_class) or outings,
        car_id=car.id if car else None,
        race_class_id=race_class.id if race_class else None,
        tyre_diameter_mm=car.tyre_diameter_mm if car else None,
        can_limit_c=CAN_LIMIT_C,
    )
    return show(
        "tracks/track.html",
        track=item,
        car=car,
        race_class=race_class,
        start=start,
        reasons=reasons(start) if start else [],
        outings=outings[:LAST_RUNS],
    )


@blueprint.get("/<int:track_id>/plots")
def plots_page(track_id: int) -> Any:
    connection = get_db()
    item = store.track(connection, track_id)
    car = kit.current_car(connection, current_settings())
    names = {each.id: each.name for each in kit.cars(connection)}
    own = store.outings(connection, track_id, car_id=car.id) if car else []
    of_one_car = bool(own) and request.args.get("cars") != "all"
    plotted = own if of_one_car else store.outings(connection, track_id)
    groups = plots.grouped(plotted, _by_class(connection) if of_one_car else _by_car(names))
    days = plots.days(plotted)
    day = _day(request.args.get("day", ""), days)
    of_day = [each for each in plotted if plots.wall_clock(each).date() == day]
    return show(
        "tracks/plots.html",
        track=item,
        car=car,
        of_one_car=of_one_car,
        with_others=bool(own) and len(names) > 1,
        plots=[
            plots.can_by_ratio(groups, CAN_LIMIT_C, of_one_car=of_one_car),
            plots.lap_by_ratio(groups, of_one_car=of_one_car),
        ],
        day_plot=plots.through_the_day(of_day) if day else None,
        day=day,
        days=days[:MOST_DAYS],
    )


def _by_class(connection: sqlite3.Connection) -> Callable[[TrackRun], str]:
    names = {each.id: each.name for each in meetings.race_classes(connection)}
    return lambda outing: names.get(outing.race_class_id or 0, "no class")


def _by_car(names: dict[int, str]) -> Callable[[TrackRun], str]:
    return lambda outing: names.get(outing.car_id or 0, plots.OTHERS)


@blueprint.get("/new")
def new_track() -> Any:
    return _show_form(TrackForm())


@blueprint.get("/<int:track_id>/edit")
def edit_track(track_id: int) -> Any:
    item = store.track(get_db(), track_id)
    guess = track_guesses.feels(get_db()).get(track_id)
    known = {"longest": guess.longest_straight_m, "corners": guess.corners} if guess else {}
    return _show_form(TrackForm(data=values_of(item) | known), item.id)


@blueprint.post("/new")
@blueprint.post("/<int:track_id>/edit")
@write
def save_track(connection: sqlite3.Connection, track_id: int = 0) -> Any:
    if track_id:
        store.track(connection, track_id)
    form = TrackForm()
    if "more" in request.form:
        form.one_more()
        return _show_form(form, track_id, more=True)
    record = form.record(track_id)
    if record is None:
        return _show_form(form, track_id, 422)
    try:
        verb = "Changed" if track_id else "Added"
        with undo.step(connection, f"{verb} {record.name}", now()) as step:
            saved_id, token = store.save_track(connection, record, now(), step)
            if form.longest.typed is not None:
                guess = form.guess()
                feel = track_guesses.Feel(*guess) if guess else None
                track_guesses.save_feel(connection, saved_id, feel, now(), step)
    except ChangedMeanwhile as error:
        form.show_track_conflict(store.track(connection, track_id), str(error))
        return _show_form(form, track_id, 409)
    notice(f"Saved {record.name}", token)
    if not track_id:
        return onward("track", "tracks.page", field="track_id", new_id=saved_id)
    return after_write("tracks.track", track_id=track_id)


@blueprint.post("/<int:track_id>/remove")
@write
def remove_track(connection: sqlite3.Connection, track_id: int) -> Any:
    notice("Removed the track", store.remove_track(connection, track_id, now()))
    return after_write("tracks.page")


def _nearest(
    connection: sqlite3.Connection, track_id: int, car: Car | None, race_class: RaceClass | None
) -> list[TrackRun]:
    """The last runs of this car here, in this class if there are any."""
    if car is None:
        return []
    in_class = (
        store.outings(connection, track_id, car_id=car.id, race_class_id=race_class.id)
        if race_class
        else []
    )
    return in_class or store.outings(connection, track_id, car_id=car.id)


def _day(text: str, days: list[date]) -> date | None:
    try:
        day = read_day(text)
    except ValueError:
        day = None
    return day if day in days else next(iter(days), None)


def _show_form(form: TrackForm, track_id: int = 0, status: int = 200, *, more: bool = False) -> Any:
    return show(
        "tracks/form.html",
        status,
        form=form,
        track_id=track_id,
        more=more,
        surfaces=SURFACES,
    )
