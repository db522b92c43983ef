"""Form fields for a day, and for a day and a time on the racer's wall clock."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from wtforms import DateField, Field, ValidationError
from wtforms.widgets import DateTimeLocalInput

from pitapp.dates import moment_at, read_day, read_wall_clock
from pitapp.web.clock import home_zone, now

CLOCKS_APART = timedelta(days=1)


class MomentField(Field):
    """A moment, or None when left empty; `data` carries its time zone."""

    widget: Any = DateTimeLocalInput()
    data: Any

    def __init__(self, label: str | None = None, validators: Any = None, **options: Any) -> None:
        super().__init__(label, validators, **options)
        self.typed: str | None = None

    def _value(self) -> str:
        if self.typed is not None:
            return self.typed
        return f"{self.data.astimezone(home_zone()):%Y-%m-%dT%H:%M}" if self.data else ""

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
