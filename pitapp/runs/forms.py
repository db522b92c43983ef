"""The form of a run."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime, tzinfo
from typing import Any

from flask import request
from wtforms import BooleanField, HiddenField, StringField, TextAreaField, ValidationError

from pitapp.dates import moment_at, read_wall_clock
from pitapp.runs.conditions import NAMES as CONDITIONS
from pitapp.runs.conditions import WORDS
from pitapp.runs.doubts import Doubt
from pitapp.runs.fields import IdField, QuickField, TimeField, WordField
from pitapp.runs.models import Run
from pitapp.runs.photographs.jpeg import Picture
from pitapp.runs.photographs.models import picture_in
from pitapp.web.forms.fields import NumberField, QuantityField, WholeField
from pitapp.web.forms.form_errors import PitForm
from pitapp.web.forms.quantities import plain

LOCAL = "%Y-%m-%dT%H:%M"


class RunForm(PitForm):
    """A run. `seen` holds what the fields showed when it was opened, `pack_reason` why that pack.

    `sure` is asked for where a reading is doubted.
    """

    pack_reason = ""
    doubted = False
    sure = BooleanField("It is right as it stands")
    version = HiddenField(default="1")
    seen = HiddenField()
    photo = HiddenField()
    """A photograph of a new run, as the page's script made it small."""
    # No key for a minus: a can is warm after a run, and the key would take the field's width.
    can_c = QuantityField("Can temperature", kind="temperature", signed=False)
    read_after_s = QuickField(
        "Read after the flag",
        unit="s",
        quick={0: "0 s", 30: "30 s", 60: "1 min", 120: "2 min", 300: "5 min"},
    )
    second_can_c = QuantityField("Can, read again", kind="temperature", signed=False)
    second_after_s = TimeField("Read again after the flag", sensible=(60, 3600))
    air_c = QuantityField("Air", kind="temperature")
    track_c = QuantityField("Track temperature", kind="temperature")
    grip = WordField("Grip", words=WORDS["grip"])
    wind = WordField("Wind", words=WORDS["wind"])
    dust = WordField("Dust", words=WORDS["dust"])
    wet = WordField("Dry or wet", words=WORDS["wet"])
    best_lap_s = TimeField("Best lap", unit="s", sensible=(4, 180))
    laps = WholeField("Laps")
    run_s = TimeField("Time", sensible=(60, 7200))
    top_speed_kmh = QuantityField("Top speed", kind="speed")
    top_speed_spread_kmh = QuantityField("Top speed ±", kind="speed")
    position = WholeField("Position")
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000, "rows": 3})
    pinion_teeth = WholeField("Pinion")
    spur_teeth = WholeField("Spur")
    internal_ratio = NumberField("Internal ratio", sensible=(0.2, 20), example="1.9")
    tyre_diameter_mm = NumberField("Tyre diameter", unit="mm")
    pack_id = IdField("Pack")
    tyre_set_id = IdField("Tyres")
    motor_id = IdField("Motor")
    car_id = IdField("Car")
    meeting_id = IdField("Meeting")
    heat_id = IdField("Heat")
    track_id = IdField("Track")
    race_class_id = IdField("Class")
    started = StringField("Started", render_kw={"type": "datetime-local"})

    def validate_second_after_s(self, field: TimeField) -> None:
        """A second reading needs its time, which is after the first one's."""
        if self.second_can_c.data is not None and field.data is None:
            raise ValidationError("How long after the flag was that? Such as 5:00.")
        if field.data is not None and self.second_can_c.data is None:
            raise ValidationError("There is no second can temperature for this time.")
        if field.data is not None and field.data <= (self.read_after_s.data or 0.0):
            raise ValidationError("The second reading comes after the first.")

    def validate_top_speed_spread_kmh(self, field: QuantityField) -> None:
        """A spread is that of a speed."""
        if field.data is not None and self.top_speed_kmh.data is None:
            raise ValidationError("There is no top speed for this ±.")

    def texts(self) -> dict[str, str]:
        """What each field of the run shows, by its name."""
        return {name: self._text(name) for name in self._fields if name not in _NOT_OF_THE_RUN}

    def _text(self, name: str) -> str:
        field = self._fields[name]
        if isinstance(field, IdField):
            return "" if field.data is None else str(field.data)
        text = field._value() or (plain(field.data) if isinstance(field, QuickField) else "")
        return str(text or "").strip().replace("\r\n", "\n")

    def remember(self) -> None:
        """Note in `seen` what the fields show now."""
        self.seen.data = json.dumps(self.texts())

    def picture(self) -> Picture | None:
        """The photograph that came with a new run; None for none, or with what is wrong in the form's errors."""
        if not self.photo.data:
            return None
        try:
            return picture_in(self.photo.data)
        except ValueError as error:
            self.form_errors.append(f"The photograph: {error}")
            self.photo.data = ""
            return None

    def doubt(self, odd: Iterable[Doubt]) -> bool:
        """Ask about odd readings at their fields, once; whether there was anything to ask."""
        if self.sure.data:
            return False
        for name, kind in odd:
            self._fields[name].errors = [_ODD[kind]]
            self.doubted = True
        return self.doubted

    def started_at(self, zone: tzinfo) -> datetime | None:
        """When the run started, or None if that was left empty.

        Raises:
            ValueError: it is no moment of that zone's clock.
        """
        text = (self.started.data or "").strip()
        return moment_at(*read_wall_clock(text), zone) if text else None

    def untouched(self, earlier: Run, opened: RunForm) -> dict[str, Any]:
        """The values of `earlier` behind every field that still reads as `opened` does.

        A value that nobody touched stays exactly as it was, whatever unit it is shown in, and so do
        conditions that a post leaves out.
        """
        texts, before = self.texts(), opened.texts()
        values = earlier.model_dump(include=set(texts))
        return {
            name: value
            for name, value in values.items()
            if texts[name] == before[name] or (name in CONDITIONS and name not in request.form)
        }

    def show_run_conflict(self, current: RunForm, sentence: str) -> None:
        """Bring in what was changed on another screen: shown where it was typed over here too.

        A field that was left alone here takes the other screen's value; one that both changed keeps
        what was typed here, with the other's value beside it.
        """
        opened, typed, now = self._seen(), self.texts(), current.texts()
        taken = []
        for name, text in now.items():
            before = opened.get(name, text)
            if text in (before, typed[name]):
                continue
            field, other = self._fields[name], current._fields[name]
            displayed = self._words(name, other.data, text)
            if typed[name] == before:
                taken.append(f"{field.label.text.lower()} is now {displayed}")
                field.data = other.data
                if hasattr(field, "typed"):
                    field.typed = None
            else:
                field.errors = [*field.errors, f"On the other screen this became {displayed}."]
        self.form_errors.append(sentence)
        if taken:
            self.form_errors.append(f"From the other screen: {', '.join(taken)}.")
        self.version.data = current.version.data
        self.seen.data = json.dumps(now)

    def _words(self, name: str, value: Any, text: str) -> str:
        field = self._fields[name]
        if isinstance(field, IdField):
            return field.called(value)
        return text.replace("T", " ") if name == "started" else text or "empty"

    def _seen(self) -> dict[str, str]:
        text = self.seen.data or "{}"
        try:
            values = json.loads(text) if len(text) <= LONGEST_SEEN else {}
        except (ValueError, RecursionError):
            return {}
        return {str(k): str(v) for k, v in values.items()} if isinstance(values, dict) else {}


LONGEST_SEEN = 64 * 1024
_NOT_OF_THE_RUN = {"version", "seen", "sure", "csrf_token"}
_ODD = {
    "cool": "That is cooler than the air. Was it mistyped? If not, tick below and save.",
    "hot": "That is very hot for a can. Was it mistyped? If not, tick below and save.",
    "short": "That is under half your usual lap here. Was it mistyped? If not, tick below and save.",
    "long": "That is over twice your usual lap here. Was it mistyped? If not, tick below and save.",
}
