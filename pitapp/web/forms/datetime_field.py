"""Form fields for a day, and for a day and a time on the racer's wall clock."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from wtforms import DateField, ValidationError
from wtforms.widgets import DateTimeLocalInput

from pitapp.dates import moment_at, read_day, read_wall_clock
from pitapp.web.clock import home_zone, now
from pitapp.web.forms.fields import TypedField

CLOCKS_APART = timedelta(days=1)


class MomentField(TypedField):
    """A moment, or None when left empty; `data` carries its time zone."""

    widget: Any = DateTimeLocalInput()

    def as_text(self, data: Any) -> str:
        return f"{data.astimezone(home_zone()):%Y-%m-%dT%H:%M}"

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what the phone's picker or a typing hand gives."""
        if not valuelist:
            return
        self.typed, self.data = valuelist[0], None
        if self.typed.strip():
            self.data = moment_at(*read_wall_clock(self.typed), home_zone())


class DayField(DateField):
    """A day, or None when left empty."""

    data: Any

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read a day as browsers send it."""
        if valuelist:
            self.data = None
            self.data = read_day(valuelist[0]) if valuelist[0].strip() else None


class NotAhead:
    """The moment has passed; clocks of two devices may be a day apart."""

    def __call__(self, form: Any, field: Any) -> None:
        if field.data is not None and field.data > now() + CLOCKS_APART:
            raise ValidationError("That is still to come: look at the day.")
