"""What a link holds beside what is here, and putting it in: what is taken is one step that Undo takes back."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from datetime import datetime
from hashlib import sha256
from typing import Literal, NamedTuple, TypeVar

from pydantic import ValidationError

from pitapp.db import undo
from pitapp.handout.giving import bare_class, bare_track, timetable
from pitapp.handout.models import HandOut, SetUp, Timetable
from pitapp.kit.models import Car
from pitapp.meetings import store as meetings
from pitapp.meetings.models import Meeting, RaceClass
from pitapp.record import Record
from pitapp.runs.formulas import SetupLine
from pitapp.runs.setup import store as setup
from pitapp.tracks import store as tracks
from pitapp.tracks.models import Track

Choice = Literal["add", "change", "beside", "leave"]
Named = TypeVar("Named", RaceClass, Track)
MOST_NAME = 60


class Counterparts(NamedTuple):
    """What is here of the same name, as far as it is: of a timetable that of the same day and name."""

    race_class: RaceClass | None = None
    track: Track | None = None
    meeting: Meeting | None = None
    timetable: Timetable | None = None

    @property
    def parts(self) -> set[str]:
        """The names of the parts of a link that are here too."""
        return {name for name in ("race_class", "track", "timetable") if getattr(self, name)}


def counterparts(connection: sqlite3.Connection, handed: HandOut) -> Counterparts:
    """What is here of the same name as what the link holds."""
    day = _meeting(connection, handed.timetable)
    return Counterparts(
        _named(meetings.race_classes(connection), handed.race_class),
        _named(tracks.tracks(connection), handed.track),
        day,
        _own_timetable(connection, day) if day else None,
    )


def same(handed: HandOut, present: Counterparts) -> set[str]:
    """The names of the parts that are here already just as the link has them."""
    equal = {
        "race_class": present.race_class and bare_class(present.race_class) == handed.race_class,
        "track": present.track and bare_track(present.track) == handed.track,
        "timetable": present.timetable and present.timetable == handed.timetable,
    }
    return {name for name, is_equal in equal.items() if is_equal}


def seen(present: Counterparts) -> dict[str, str]:
    """For each part a short text that changes with what is here of its name; empty where nothing is."""
    parts = {
        "race_class": (present.race_class,),
        "track": (present.track,),
        "timetable": (present.meeting, present.timetable),
    }
    return {name: _digest([each for each in here if each]) for name, here in parts.items()}


def _digest(records: list[Record]) -> str:
    written = "".join(each.model_dump_json() for each in records)
    return sha256(written.encode()).hexdigest()[:16] if records else ""


def take(
    connection: sqlite3.Connection,
    handed: HandOut,
    choices: Mapping[str, Choice],
    car: Car | None,
    now: datetime,
) -> tuple[list[str], str]:
    """Put in what was chosen, with one undo step; returns the titles of what was put in, and its token.

    Where nothing is, nothing is written, and there is no token.

    `choices` says of `race_class`, `track`, `timetable` and `setup` what to do: add it, change what is
    here to it, add it beside (under another name), or leave it. A timetable gets the class and the
    track that came with it, as they are here then, where its meeting has none yet.
    """
    if all(choice == "leave" for choice in choices.values()):
        return [], ""
    present = counterparts(connection, handed)
    taken: list[str] = []
    with undo.step(connection, "Took what was handed out", now) as step:
        class_id = present.race_class.id if present.race_class else None
        track_id = present.track.id if present.track else None
        if handed.race_class and choices.get("race_class", "leave") != "leave":
            item = _class(connection, handed.race_class, present.race_class, choices["race_class"])
            class_id, _ = meetings.save_class(connection, item, now, step)
            taken.append(item.name)
        if handed.track and choices.get("track", "leave") != "leave":
            place = _track(connection, handed.track, present.track, choices["track"])
            track_id, _ = tracks.save_track(connection, place, now, step)
            taken.append(place.name)
        if handed.timetable and choices.get("timetable", "leave") != "leave":
            day = _day(handed.timetable, present.meeting, class_id, track_id)
            _put_timetable(connection, step, day, handed.timetable, now)
            taken.append(handed.timetable.title)
        if handed.setup and car and choices.get("setup", "leave") != "leave":
            setup.add(connection, car.id, _lines(handed.setup), now, step)
            taken.append(f"the set-up of {handed.setup.car} for {car.name}")
    return taken, step.token


def _named(listed: list[Named], wanted: Named | None) -> Named | None:
    if wanted is None:
        return None
    return next((each for each in listed if each.name.casefold() == wanted.name.casefold()), None)


def _meeting(connection: sqlite3.Connection, wanted: Timetable | None) -> Meeting | None:
    if wanted is None:
        return None
    of_that_day = meetings.meetings_on(connection, wanted.day)
    return next(
        (each for each in of_that_day if each.name.casefold() == wanted.name.casefold()), None
    )


def _own_timetable(connection: sqlite3.Connection, day: Meeting) -> Timetable:
    """The timetable here; its day alone, where nobody could hand it out as it is."""
    try:
        return timetable(connection, day)
    except ValidationError:
        return Timetable(day=day.day, name=day.name, time_zone=day.time_zone)


def _class(
    connection: sqlite3.Connection, wanted: RaceClass, old: RaceClass | None, choice: Choice
) -> RaceClass:
    if old and choice == "change":
        ids = {limit.name.casefold(): limit.id for limit in old.limits}
        limits = tuple(
            limit.model_copy(update={"id": ids.pop(limit.name.casefold(), 0)})
            for limit in wanted.limits
        )
        own = {"id": old.id, "version": old.version, "remarks": old.remarks}
        return wanted.model_copy(update={**own, "limits": limits})
    taken = [each.name for each in meetings.race_classes(connection)]
    return wanted.model_copy(update={"name": _free(wanted.name, taken)})


def _track(
    connection: sqlite3.Connection, wanted: Track, old: Track | None, choice: Choice
) -> Track:
    if old and choice == "change":
        own = {"id": old.id, "version": old.version, "remarks": old.remarks}
        return wanted.model_copy(update=own)
    taken = [each.name for each in tracks.tracks(connection)]
    return wanted.model_copy(update={"name": _free(wanted.name, taken)})


def _day(
    wanted: Timetable, old: Meeting | None, class_id: int | None, track_id: int | None
) -> Meeting:
    if old is None:
        old = Meeting(day=wanted.day, name=wanted.name, time_zone=wanted.time_zone)
    places = {"race_class_id": old.race_class_id, "track_id": old.track_id}
    came = {"race_class_id": class_id, "track_id": track_id}
    entered = {name: came[name] if at is None else at for name, at in places.items()}
    return old.model_copy(update={"time_zone": wanted.time_zone, **entered})


def _put_timetable(
    connection: sqlite3.Connection,
    step: undo.Step,
    day: Meeting,
    wanted: Timetable,
    now: datetime,
) -> None:
    meeting_id, _ = meetings.save_meeting(connection, day, now, step=step)
    listed = [(each.kind, each.number, each.starts_at) for each in wanted.entries]
    meetings.replace_heats(connection, step, meeting_id, listed, now)


def _lines(wanted: SetUp) -> list[SetupLine]:
    return [SetupLine(each.group, each.name, each.value, each.unit) for each in wanted.entries]


def _free(name: str, taken: list[str]) -> str:
    """The name, or with a number behind it where it is taken."""
    known = {each.casefold() for each in taken}
    number = 1
    fresh = name
    while fresh.casefold() in known:
        number += 1
        fresh = f"{name[: MOST_NAME - 4]} {number}"
    return fresh
