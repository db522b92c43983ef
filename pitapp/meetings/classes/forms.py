"""The form of a class, with as many further limits as the racer likes."""

from __future__ import annotations

import re
from typing import Any

from pydantic import ValidationError
from wtforms import (
    BooleanField,
    FieldList,
    Form,
    FormField,
    HiddenField,
    StringField,
    TextAreaField,
)
from wtforms.utils import unset_value

from pitapp.meetings.models import MOST_LIMITS, ClassLimit, RaceClass
from pitapp.web.forms.fields import Needed, NumberField, QuantityField, WholeField
from pitapp.web.forms.form_errors import PitForm, in_words

NAME_KEYWORDS = {"maxlength": 60, "autocomplete": "off"}
_MINUTES = re.compile(r"\s*(\d{1,4}):([0-5]?\d)\s*", re.ASCII)


class MinutesField(NumberField):
    """A length of time: minutes as typed (5, 5.5 or 5:30), seconds inside."""

    def __init__(self, label: str | None = None, validators: Any = None, **options: Any) -> None:
        super().__init__(label, validators, unit="min", **options)

    def to_shown(self, value: float) -> float:
        """Seconds as minutes."""
        return value / 60

    def to_metric(self, value: float) -> float:
        """Minutes as seconds."""
        return value * 60

    def as_text(self, data: Any) -> str:
        return f"{int(data // 60)}:{data % 60:02.0f}"

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read minutes, or minutes and seconds with a colon between."""
        match = _MINUTES.fullmatch(valuelist[0]) if valuelist else None
        if match is None:
            super().process_formdata(valuelist)
            return
        self.typed = valuelist[0]
        self.data = float(int(match[1]) * 60 + int(match[2]))


class LimitForm(Form):
    """One further limit."""

    id = HiddenField(default="0")
    name = StringField("Limit", render_kw=NAME_KEYWORDS)
    unit = StringField("Unit", render_kw={"maxlength": 20, "autocomplete": "off"})
    least = NumberField("Minimum", signed=True)
    most = NumberField("Maximum", signed=True)
    exactly = NumberField("Exactly", signed=True)

    @property
    def is_empty(self) -> bool:
        """Whether nothing was typed here."""
        return not any(
            str(field.data if field.data is not None else "").strip()
            for name, field in self._fields.items()
            if name != "id"
        )

    def record(self) -> ClassLimit | None:
        """The limit that was typed, or None with the reasons at its fields."""
        values = {
            name: field.data for name, field in self._fields.items() if field.data is not None
        }
        values["id"] = int(self.id.data) if str(self.id.data or "").isdecimal() else 0
        try:
            return ClassLimit(**values)
        except ValidationError as error:
            for finding in error.errors():
                at = str(finding["loc"][0]) if finding["loc"] else "least"
                field = self._fields[at]
                field.errors = [*field.errors, in_words(finding)]
            return None


class LimitList(FieldList):
    """The further limits: as many as the form takes, or all that are on record where those are more."""

    def process(self, formdata: Any, data: Any = unset_value, extra_filters: Any = None) -> None:
        """Read the rows; `data` are those on record."""
        on_record = 0 if data is unset_value else len(data or ())
        self.max_entries = max(MOST_LIMITS, on_record)
        super().process(formdata, data, extra_filters)


class ClassForm(PitForm):
    """The rules raced under."""

    version = HiddenField(default="1")
    name = StringField("Name", [Needed("Give the class a name.")], render_kw=NAME_KEYWORDS)
    rev_limit_rpm = NumberField("Rev limit", unit="rpm")
    timing_fixed = BooleanField("Motor timing is fixed, no advance in the controller")
    timing_deg = NumberField("Motor timing", unit="°", signed=True)
    timing_tolerance_deg = NumberField("Timing tolerance, ±", unit="°")
    winding = StringField("Winding", render_kw=NAME_KEYWORDS)
    least_mass_g = QuantityField("Minimum weight", kind="mass")
    most_capacity_mah = NumberField("Maximum pack capacity", unit="mAh")
    most_start_v = NumberField("Maximum start voltage", unit="V")
    tyre = StringField("Tyre", render_kw=NAME_KEYWORDS)
    least_ride_height_mm = NumberField("Minimum ride height", unit="mm")
    run_length_s = MinutesField("Run length")
    heats_a_day = WholeField("Heats a day")
    limits = LimitList(FormField(LimitForm))
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

    def offer_row(self) -> None:
        """Have an empty row for a further limit at the end."""
        rows = self.limits.entries
        if len(rows) < MOST_LIMITS and (not rows or not rows[-1].form.is_empty):
            self.limits.append_entry()

    def record(self, class_id: int) -> RaceClass | None:
        """The class that was typed, or None with the reasons at the fields."""
        typed = [row.form for row in self.limits.entries if not row.form.is_empty]
        valid = self.validate_on_submit()
        limits = [form.record() for form in typed] if valid else []
        if not valid or None in limits:
            return None
        return self.fill(RaceClass, id=class_id, limits=tuple(limits))
