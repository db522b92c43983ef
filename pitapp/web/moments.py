"""A form field for a day and a time on the racer's wall clock."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from wtforms import Field, ValidationError
from wtforms.widgets import DateTimeLocalInput

from pitapp.web.clock import home_zone, now

YEARS = range(2000, 2201)
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
        if not self.typed.strip():
            return
        try:
            read = datetime.fromisoformat(self.typed.strip())
        except ValueError:
            raise ValueError("Write a day and a time, such as 2026-05-03 18:30.") from None
        if read.year not in YEARS:
            raise ValueError("That is not a year of this log.")
        self.data = read if read.tzinfo else read.replace(tzinfo=home_zone())


class NotAhead:
    """The moment has passed; clocks of two devices may be a day apart."""

    def __call__(self, form: Any, field: Any) -> None:
        if field.data is not None and field.data > now() + CLOCKS_APART:
            raise ValidationError("That is still to come: look at the day.")
