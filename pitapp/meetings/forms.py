"""The forms of meetings and their timetables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, tzinfo
from typing import Any

from wtforms import (
    BooleanField,
    HiddenField,
    SelectField,
    StringField,
    TextAreaField,
)
from wtforms.widgets import TextInput

from pitapp.dates import moment_at
from pitapp.meetings.formulas import (
    Entry,
    clock_time,
    even_starts,
    pasted_timetable,
    with_marshalling,
)
from pitapp.meetings.models import KIND_NAMES, Heat, Meeting
from pitapp.web.forms.datetime_field import DayField
from pitapp.web.forms.fields import Needed, NumberField, TypedField, WholeField
from pitapp.web.forms.form_errors import PitForm

USUAL_GAP_MIN = 8


class ClockField(TypedField):
    """A time of day, typed as 930 or 9:30; None when left empty."""

    widget: Any = TextInput()
    keypad = "numeric"
    most_characters = 12

    def as_text(self, data: Any) -> str:
        return f"{data:%H:%M}"

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed, keeping it for the form's next showing."""
        if valuelist:
            self.typed = valuelist[0]
            self.data = clock_time(self.typed) if self.typed.strip() else None


class TimetableForm(PitForm):
    """Entries for a timetable: a first time with an interval, or pasted lines."""

    kind = SelectField(
        "These are",
        choices={
            "heat": "Heats",
            "final": "Finals",
            "practice": "Practice",
            "marshal": "Marshalling",
        },
        default="heat",
    )
    first = ClockField("First at")
    interval_min = NumberField("Then every", unit="min")
    many = WholeField("How many")
    lines = TextAreaField("Or paste the times", render_kw={"maxlength": 4000})
    marshal = BooleanField("I marshal the heat after mine")
    marshal_after_min = NumberField(
        "Marshalling begins after my start by", unit="min", default=USUAL_GAP_MIN
    )

    def entries(self, day: date, zone: tzinfo) -> list[Entry] | None:
        """What was typed as entries, or None with the reason at its field."""
        try:
            pasted = (self.lines.data or "").strip()
            starts = self._pasted(day, zone) if pasted else self._even(day, zone)
            kind = self.kind.data
            if kind == "marshal" or not self.marshal.data:
                return with_marshalling(starts, kind, None)
            with self._told_at("marshal_after_min"):
                if self.marshal_after_min.data is None:
                    raise ValueError("How many minutes after your start?")
                return with_marshalling(starts, kind, self.marshal_after_min.data)
        except _ErrorShown:
            return None

    def _pasted(self, day: date, zone: tzinfo) -> list[datetime]:
        with self._told_at("lines"):
            return pasted_timetable(day, self.lines.data, zone)

    def _even(self, day: date, zone: tzinfo) -> list[datetime]:
        first, interval, many = self.first.data, self.interval_min.data, self.many.data
        with self._told_at("first"):
            if first is None:
                if interval is not None:
                    raise ValueError("When is the first?")
                return []
            start = moment_at(day, first, zone)
        with self._told_at("many"):
            times = even_starts(start, 1, 1 if many is None else many)
        with self._told_at("interval_min"):
            if len(times) == 1:
                return times
            if interval is None:
                raise ValueError("How many minutes lie between them?")
            return even_starts(start, interval, len(times))

    @contextmanager
    def _told_at(self, name: str) -> Iterator[None]:
        try:
            yield
        except (ValueError, OverflowError) as error:
            field = self._fields[name]
            field.errors = [*field.errors, str(error)]
            raise _ErrorShown from None


class _ErrorShown(Exception):
    """What was wrong stands at its field already."""


class MeetingForm(TimetableForm):
    """A meeting; a new one comes with its timetable."""

    version = HiddenField(default="1")
    day = DayField("Date", [Needed("Which day is it?")])
    name = StringField("Name", render_kw={"maxlength": 60, "autocomplete": "off"})
    track_id = SelectField("Track", default="")
    race_class_id = SelectField("Class", default="")
    car_id = SelectField("Car", default="")
    time_zone = StringField(
        "Time zone of the track",
        [Needed("Write it like Europe/Lisbon.")],
        render_kw={
            "maxlength": 60,
            "autocomplete": "off",
            "autocapitalize": "off",
            "spellcheck": "false",
        },
    )
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

    def set_choices(
        self, tracks: Iterable[Any], classes: Iterable[Any], cars: Iterable[Any]
    ) -> None:
        """Offer these tracks, classes and cars."""
        for field, items in (
            (self.track_id, tracks),
            (self.race_class_id, classes),
            (self.car_id, cars),
        ):
            field.choices = {"": "not set"} | {str(item.id): item.name for item in items}

    def record(self, meeting_id: int) -> Meeting | None:
        """The meeting that was typed, or None with the reasons at the fields."""
        chosen = {
            name: int(self[name].data) if (self[name].data or "").isdecimal() else None
            for name in ("track_id", "race_class_id", "car_id")
        }
        return self.fill(Meeting, id=meeting_id, **chosen)


class CopyForm(PitForm):
    """The day of a meeting made after another."""

    day = DayField("Date", [Needed("Which day is it?")])


class HeatForm(PitForm):
    """One entry of a timetable."""

    version = HiddenField(default="1")
    kind = SelectField("This is", choices=KIND_NAMES)
    number = WholeField("Number", [Needed()])
    day = DayField("Date", [Needed("Which day is it?")])
    at = ClockField("Starts at", [Needed()])

    @classmethod
    def of(cls, heat: Heat, zone: tzinfo) -> HeatForm:
        """The form filled with an entry as it is."""
        local = heat.starts_at.astimezone(zone)
        return cls(
            data={
                "version": heat.version,
                "kind": heat.kind,
                "number": heat.number,
                "day": local.date(),
                "at": local.time(),
            }
        )

    def record(self, heat: Heat, zone: tzinfo) -> Heat | None:
        """The entry as it was typed, or None with the reasons at the fields."""
        if not self.validate_on_submit():
            return None
        local = heat.starts_at.astimezone(zone)
        try:
            starts_at = heat.starts_at
            if (self.day.data, self.at.data) != (local.date(), local.time()):
                starts_at = moment_at(self.day.data, self.at.data, zone)
        except (ValueError, OverflowError) as error:
            self.at.errors = [*self.at.errors, str(error)]
            return None
        return self.fill(
            Heat, id=heat.id, meeting_id=heat.meeting_id, starts_at=starts_at, done_at=heat.done_at
        )

    def show_heat_conflict(self, current: Heat, zone: tzinfo, sentence: str) -> None:
        """See `show_conflict`: shows the entry's kind and number, its day and time where they differ."""
        self.show_conflict(current, sentence)
        local = current.starts_at.astimezone(zone)
        for field, now_there, displayed in (
            (self.at, local.time(), f"{local:%H:%M}"),
            (self.day, local.date(), f"{local:%Y-%m-%d}"),
        ):
            if field.data != now_there:
                field.errors = [*field.errors, f"On the other screen this became {displayed}."]
