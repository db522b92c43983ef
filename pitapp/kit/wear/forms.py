"""The form of a part with hours."""

from __future__ import annotations

from collections.abc import Iterable

from wtforms import HiddenField, SelectField, StringField, TextAreaField

from pitapp.kit.models import Car, Motor
from pitapp.web.forms.datetime_field import MomentField, NotAhead
from pitapp.web.forms.fields import Needed, NumberField, WholeField
from pitapp.web.forms.form_errors import PitForm


class WornPartForm(PitForm):
    """A part, where it is, since when, and its limits."""

    version = HiddenField(default="1")
    name = StringField(
        "Part", [Needed("Which part?")], render_kw={"maxlength": 60, "autocomplete": "off"}
    )
    place = SelectField("In")
    since = MomentField("New or rebuilt", [Needed("Since when?"), NotAhead()])
    most_runs = WholeField("Limit, runs")
    most_minutes = NumberField("Limit, minutes", unit="min")
    runs_before = WholeField("Runs before that")
    minutes_before = NumberField("Minutes before that", unit="min")
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

    def set_choices(self, cars: Iterable[Car], motors: Iterable[Motor]) -> None:
        """Offer these cars and motors."""
        self.place.choices = {f"car-{each.id}": each.name for each in cars} | {
            f"motor-{each.id}": f"{each.name} (motor)" for each in motors
        }

    def where(self) -> dict[str, int | None]:
        """The car or the motor that was chosen."""
        kind, _, number = (self.place.data or "").partition("-")
        item_id = int(number) if number.isdecimal() else None
        return {"car_id": None, "motor_id": None} | {f"{kind or 'car'}_id": item_id}
