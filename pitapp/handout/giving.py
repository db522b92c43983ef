"""What is on record, as it is handed out: without ids and remarks, and without anything of a run."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from pydantic import ValidationError

from pitapp.errors import Refused
from pitapp.gearing.answer import Question, answer
from pitapp.handout.models import (
    OF_THE_DATABASE,
    GearSlip,
    HandOut,
    SetUp,
    SetUpEntry,
    Timetable,
    TimetableEntry,
)
from pitapp.kit.models import Car
from pitapp.kit.pitch import pitch_from_diametral, pitch_from_module
from pitapp.meetings import store as meetings
from pitapp.meetings.models import ClassLimit, Meeting, RaceClass
from pitapp.runs.setup import store as setup
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track
from pitapp.web.forms.fields import parse_number
from pitapp.web.forms.form_errors import in_words

GEAR_NUMBERS = ({*Question.model_fields} - {"pitch"}) | {"pitch_dp", "module"}
"""What an address of the gearing screen may say of a gear."""


@contextmanager
def _as_others_take_it(what: str) -> Iterator[None]:
    """Refuse what no link may hold: on record may be what came with a copy from elsewhere."""
    try:
        yield
    except ValidationError as error:
        raise Refused(f"Mend {what} first. {in_words(error.errors()[0])}") from None


def of_class(race_class: RaceClass) -> HandOut:
    """A class with its limits.

    Raises:
        Refused: it is none that others could take.
    """
    with _as_others_take_it("the class"):
        return HandOut(race_class=bare_class(race_class))


def of_track(track: Track) -> HandOut:
    """A track with its straights.

    Raises:
        Refused: it is none that others could take.
    """
    with _as_others_take_it("the track"):
        return HandOut(track=bare_track(track))


def of_meeting(connection: sqlite3.Connection, meeting: Meeting) -> HandOut:
    """A meeting's timetable, with its class and its track as far as it has them.

    Raises:
        Refused: its timetable is none that others could take.
    """
    race_class = track = None
    if meeting.race_class_id:
        race_class = bare_class(meetings.race_class(connection, meeting.race_class_id))
    if meeting.track_id:
        track = bare_track(tracks.track(connection, meeting.track_id))
    with _as_others_take_it("the timetable"):
        day = timetable(connection, meeting)
    with _as_others_take_it("the meeting"):
        return HandOut(timetable=day, race_class=race_class, track=track)


def of_setup(connection: sqlite3.Connection, car: Car) -> HandOut:
    """The set-up of a car: every entry that has a value.

    Raises:
        Refused: there is none, or it is none that others could take.
    """
    with _as_others_take_it("the set-up"):
        entries = [
            SetUpEntry(group=each.group, name=each.name, value=each.value, unit=each.unit)
            for each in setup.settings(connection, car.id)
        ]
        if entries:
            return HandOut(setup=SetUp(car=car.name, entries=tuple(entries)))
    raise Refused(f"{car.name} has no set-up yet.")


def gear_asked(numbers: Mapping[str, str], car: Question) -> Question:
    """The gear of an address of the gearing screen, over what the car gives; an empty number is none.

    Raises:
        ValueError: something in it is no number, or out of range.
    """
    values: dict[str, float | str | None] = dict(car)
    for name, old in car:
        if name != "pitch" and name in numbers:
            typed = numbers[name].strip()
            values[name] = parse_number(typed) if typed else None
        elif old is None:
            del values[name]
    for name, pitch in (("pitch_dp", pitch_from_diametral), ("module", pitch_from_module)):
        if name in numbers:
            typed = numbers[name].strip()
            values["pitch"] = pitch(parse_number(typed)) if typed else None
    return Question.model_validate(values)


def of_gear(gear: Question, car: Car | None) -> HandOut:
    """A gear with all that it is worked out from.

    Raises:
        ValueError: the numbers make no car.
        Refused: the car's name is none that others could take.
    """
    answer(gear)
    with _as_others_take_it("the car's name"):
        return HandOut(gear=GearSlip(car=car.name if car else "", gear=gear))


def timetable(connection: sqlite3.Connection, meeting: Meeting) -> Timetable:
    """A meeting's day, and its entries in the order of time."""
    return Timetable(
        day=meeting.day,
        name=meeting.name,
        time_zone=meeting.time_zone,
        entries=tuple(
            TimetableEntry(kind=each.kind, number=each.number, starts_at=each.starts_at)
            for each in meetings.heats(connection, meeting.id)
        ),
    )


def bare_class(race_class: RaceClass) -> RaceClass:
    """A class without what it has of this database."""
    limits = tuple(ClassLimit(**each.model_dump(exclude={"id"})) for each in race_class.limits)
    return RaceClass(**race_class.model_dump(exclude={*OF_THE_DATABASE, "limits"}), limits=limits)


def bare_track(track: Track) -> Track:
    """A track without what it has of this database."""
    return Track(**track.model_dump(exclude=OF_THE_DATABASE))
