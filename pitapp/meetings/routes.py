"""The screens of meetings, their timetables and single heats."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from typing import Any

from flask import Blueprint, redirect, request, url_for

from pitapp.db import get_db
from pitapp.db.pages import split_page
from pitapp.errors import BadRequest, ChangedMeanwhile
from pitapp.kit import store as kit
from pitapp.meetings import store
from pitapp.meetings.calendar.routes import blueprint as calendar
from pitapp.meetings.classes.routes import blueprint as classes
from pitapp.meetings.forms import CopyForm, HeatForm, MeetingForm, TimetableForm
from pitapp.meetings.formulas import clock_text, copied_entries, until_text
from pitapp.meetings.models import Heat, Meeting
from pitapp.meetings.report.routes import blueprint as report
from pitapp.meetings.results.routes import blueprint as results
from pitapp.tracks import store as tracks
from pitapp.web.clock import current_settings, home_zone, now
from pitapp.web.http.htmx import after_write, show, show_part
from pitapp.web.writes import taps
from pitapp.web.writes.onward import choose_added, chosen, onward
from pitapp.web.writes.transactions import write
from pitapp.web.writes.undo import notice

blueprint = Blueprint("meetings", __name__, url_prefix="/meetings")
for part in (classes, calendar, results, report):
    blueprint.register_blueprint(part)
blueprint.add_app_template_global(clock_text, "track_clock")
blueprint.add_app_template_global(until_text, "until")
PAGE_LENGTH = 30
MOST_SHIFT_MIN = 720
USUAL_HEATS = 4
"""In a day of a class that does not say: common practice, no source."""


@blueprint.get("")
def page() -> Any:
    before = request.args.get("before", type=int)
    rows = store.meetings(get_db(), limit=PAGE_LENGTH + 1, before=before)
    listed, older = split_page(rows, PAGE_LENGTH)
    return show(
        "meetings/page.html",
        meetings=listed,
        older=older,
        newest=before is None,
        tracks={track.id: track for track in tracks.tracks(get_db())},
        today=now().astimezone(home_zone()).date(),
    )


@blueprint.get("/new")
def new() -> Any:
    connection = get_db()
    last = next(iter(store.meetings(connection, limit=1)), None)
    race_class = store.latest_class(connection)
    car = kit.current_car(connection, current_settings())
    all_tracks = tracks.tracks(connection)
    only = all_tracks[0].id if len(all_tracks) == 1 else None
    form = MeetingForm(
        data={
            "day": now().astimezone(home_zone()).date(),
            "track_id": str((last.track_id if last else only) or ""),
            "race_class_id": str(race_class.id if race_class else ""),
            "car_id": str(car.id if car else ""),
            "time_zone": last.time_zone if last else getattr(home_zone(), "key", "UTC"),
            "many": (race_class and race_class.heats_a_day) or USUAL_HEATS,
        }
        | chosen("track_id", "race_class_id", "car_id")
    )
    choose_added(form)
    return _show_form(connection, form)


@blueprint.get("/<int:meeting_id>/edit")
def edit(meeting_id: int) -> Any:
    item = store.meeting(get_db(), meeting_id)
    chosen = {
        name: str(getattr(item, name) or "") for name in ("track_id", "race_class_id", "car_id")
    }
    form = MeetingForm(data=item.model_dump() | chosen)
    choose_added(form)
    return _show_form(get_db(), form, item)


@blueprint.post("/new")
@blueprint.post("/<int:meeting_id>/edit")
@write
def save(connection: sqlite3.Connection, meeting_id: int = 0) -> Any:
    item = store.meeting(connection, meeting_id) if meeting_id else None
    form = MeetingForm()
    _set_choices(connection, form, item)
    record = form.record(meeting_id)
    entries = form.entries(record.day, record.zone) if record and not item else []
    if record is None or entries is None:
        return _show_form(connection, form, item, 422)
    try:
        saved_id, token = store.save_meeting(connection, record, now(), entries)
    except ChangedMeanwhile as error:
        form.show_conflict(store.meeting(connection, meeting_id), str(error))
        return _show_form(connection, form, item, 409)
    notice(f"Saved {record.title}", token)
    return onward(
        "meeting", "meetings.meeting", field="meeting_id", new_id=saved_id, meeting_id=saved_id
    )


@blueprint.post("/<int:meeting_id>/remove")
@write
def remove(connection: sqlite3.Connection, meeting_id: int) -> Any:
    notice("Removed the meeting", store.remove(connection, "meetings", meeting_id, now()))
    return after_write("meetings.page")


@blueprint.get("/<int:meeting_id>/copy")
def copy(meeting_id: int) -> Any:
    item = store.meeting(get_db(), meeting_id)
    following = max(item.day + timedelta(days=7), now().astimezone(home_zone()).date())
    return _show_copy(CopyForm(data={"day": following}), item)


@blueprint.post("/<int:meeting_id>/copy")
@write
def make_copy(connection: sqlite3.Connection, meeting_id: int) -> Any:
    item = store.meeting(connection, meeting_id)
    form = CopyForm()
    if not form.validate_on_submit():
        return _show_copy(form, item, 422)
    try:
        entries = copied_entries(item, store.heats(connection, meeting_id), form.day.data)
    except (ValueError, OverflowError) as error:
        form.day.errors = [str(error)]
        return _show_copy(form, item, 422)
    fresh = item.model_copy(update={"id": 0, "day": form.day.data, "remarks": "", "version": 1})
    saved_id, token = store.save_meeting(connection, fresh, now(), entries)
    notice(f"Made {fresh.title}", token)
    return after_write("meetings.meeting", meeting_id=saved_id)


def _show_copy(form: CopyForm, item: Meeting, status: int = 200) -> Any:
    heats = store.heats(get_db(), item.id)
    return show("meetings/copy.html", status, form=form, item=item, heats=heats)


@blueprint.get("/<int:meeting_id>")
def meeting(meeting_id: int) -> Any:
    return show("meetings/meeting.html", **_meeting(get_db(), meeting_id))


@blueprint.get("/<int:meeting_id>/part")
def meeting_part(meeting_id: int) -> Any:
    return show_part("meetings/meeting.html", **_meeting(get_db(), meeting_id))


@blueprint.get("/<int:meeting_id>/heats")
def timetable(meeting_id: int) -> Any:
    item = store.meeting(get_db(), meeting_id)
    return _show_timetable(TimetableForm(), item)


@blueprint.post("/<int:meeting_id>/heats")
@write
def add_heats(connection: sqlite3.Connection, meeting_id: int) -> Any:
    item = store.meeting(connection, meeting_id)
    form = TimetableForm()
    entries = form.entries(item.day, item.zone) if form.validate_on_submit() else None
    if entries == []:
        form.first.errors = ["Write when the first one is, or paste the times below."]
    if not entries:
        return _show_timetable(form, item, 422)
    many, token = store.add_heats(connection, meeting_id, entries, now())
    notice(f"Added {many} to the timetable", token)
    return after_write("meetings.meeting", meeting_id=meeting_id)


@blueprint.get("/heats/<int:heat_id>")
def heat(heat_id: int) -> Any:
    item, its_meeting = _heat(get_db(), heat_id)
    return _show_heat(HeatForm.of(item, its_meeting.zone), item, its_meeting)


@blueprint.get("/heats/<int:heat_id>/part")
def heat_part(heat_id: int) -> Any:
    item, its_meeting = _heat(get_db(), heat_id)
    form = HeatForm.of(item, its_meeting.zone)
    return show_part("meetings/heat.html", form=form, item=item, meeting=its_meeting, now=now())


@blueprint.post("/heats/<int:heat_id>")
@write
def save_heat(connection: sqlite3.Connection, heat_id: int) -> Any:
    item, its_meeting = _heat(connection, heat_id)
    form = HeatForm()
    record = form.record(item, its_meeting.zone)
    if record is None:
        return _show_heat(form, item, its_meeting, 422)
    try:
        notice(f"Saved {record.title}", store.change_heat(connection, record, now()))
    except ChangedMeanwhile as error:
        form.show_heat_conflict(item, its_meeting.zone, str(error))
        return _show_heat(form, item, its_meeting, 409)
    return after_write("meetings.meeting", meeting_id=its_meeting.id)


@blueprint.post("/heats/<int:heat_id>/shift")
@write
def shift(connection: sqlite3.Connection, heat_id: int) -> Any:
    item = store.heat(connection, heat_id)
    try:
        minutes = int(request.form.get("minutes", ""))
    except ValueError:
        minutes = 0
    if not 0 < abs(minutes) <= MOST_SHIFT_MIN:
        raise BadRequest(f"Move a heat by 1 to {MOST_SHIFT_MIN} minutes.")
    following = request.form.get("following") == "yes"
    if status := taps.outdated(item.version):
        clock = clock_text(store.meeting(connection, item.meeting_id), item.starts_at)
        sentence = f"{item.title} was changed on another screen. It is at {clock} now."
        page, part, of = _screen(item)
        return taps.stale_response(sentence, status, page, part, **of)
    token = store.shift_heats(
        connection, item, timedelta(minutes=minutes), following=following, now=now()
    )
    sign = "later" if minutes > 0 else "earlier"
    notice(
        f"{item.title}{' and all after it' if following else ''} {abs(minutes)} min {sign}", token
    )
    return _back(item)


@blueprint.post("/heats/<int:heat_id>/done")
@write
def done(connection: sqlite3.Connection, heat_id: int) -> Any:
    item = store.heat(connection, heat_id)
    if request.form.get("done") == "no":
        notice(f"{item.title} is still to come", store.reopen_heat(connection, heat_id, now()))
    else:
        notice(f"{item.title} done", store.finish_heat(connection, heat_id, now()))
    return _back(item)


@blueprint.post("/heats/<int:heat_id>/flag")
@write
def flag(connection: sqlite3.Connection, heat_id: int) -> Any:
    item = store.heat(connection, heat_id)
    notice(f"Flag of {item.title}", store.flag_heat(connection, heat_id, now()))
    return redirect(url_for("runs.new", heat=heat_id), 303)


@blueprint.post("/heats/<int:heat_id>/remove")
@write
def remove_heat(connection: sqlite3.Connection, heat_id: int) -> Any:
    item = store.heat(connection, heat_id)
    notice(f"Removed {item.title}", store.remove(connection, "heats", heat_id, now()))
    return after_write("meetings.meeting", meeting_id=item.meeting_id)


def _back(item: Heat) -> Any:
    page, part, of = _screen(item)
    return after_write(page, part, **of)


def _screen(item: Heat) -> tuple[str, str, dict[str, int]]:
    """The screen from which a heat was moved: its page, its part, and what they are about."""
    came_from = request.form.get("from")
    if came_from == "board":
        return "board.page", "board.part", {}
    if came_from == "heat":
        return "meetings.heat", "meetings.heat_part", {"heat_id": item.id}
    return "meetings.meeting", "meetings.meeting_part", {"meeting_id": item.meeting_id}


def _heat(connection: sqlite3.Connection, heat_id: int) -> tuple[Heat, Meeting]:
    item = store.heat(connection, heat_id)
    return item, store.meeting(connection, item.meeting_id)


def _meeting(connection: sqlite3.Connection, meeting_id: int) -> dict[str, Any]:
    item = store.meeting(connection, meeting_id)
    return {
        "item": item,
        "track": tracks.track(connection, item.track_id) if item.track_id else None,
        "race_class": (
            store.race_class(connection, item.race_class_id) if item.race_class_id else None
        ),
        "car": kit.car(connection, item.car_id) if item.car_id else None,
        "heats": store.heats(connection, meeting_id),
        "next_heat": store.next_heat(connection, meeting_id, now()),
        "now": now(),
    }


def _set_choices(connection: sqlite3.Connection, form: MeetingForm, item: Meeting | None) -> None:
    form.set_choices(
        tracks.tracks(connection), store.race_classes(connection), kit.cars(connection)
    )
    if item is None:
        return
    for field, set_id, read in (
        (form.track_id, item.track_id, tracks.track),
        (form.race_class_id, item.race_class_id, store.race_class),
        (form.car_id, item.car_id, kit.car),
    ):
        if set_id and str(set_id) not in field.choices:
            field.choices[str(set_id)] = read(connection, set_id).name


def _show_form(
    connection: sqlite3.Connection,
    form: MeetingForm,
    item: Meeting | None = None,
    status: int = 200,
) -> Any:
    _set_choices(connection, form, item)
    return show("meetings/edit.html", status, form=form, item=item)


def _show_timetable(form: TimetableForm, item: Meeting, status: int = 200) -> Any:
    return show("meetings/timetable.html", status, form=form, item=item)


def _show_heat(form: HeatForm, item: Heat, its_meeting: Meeting, status: int = 200) -> Any:
    return show(
        "meetings/heat.html",
        status,
        form=form,
        item=item,
        meeting=its_meeting,
        now=now(),
    )
