"""The form of a track."""

from __future__ import annotations

from typing import Any

import pydantic
from wtforms import (
    FieldList,
    Form,
    FormField,
    HiddenField,
    RadioField,
    StringField,
    TextAreaField,
    ValidationError,
)

from pitapp.drive.inputs.definitions import CORNERS
from pitapp.tracks.formulas import filled_in
from pitapp.tracks.models import MOST_STRAIGHTS, Straight, Track
from pitapp.web.forms.fields import Needed, QuantityField
from pitapp.web.forms.form_errors import PitForm, in_words
from pitapp.web.forms.quantities import quantity


class StraightForm(Form):
    """One straight; a row left empty is none."""

    length_m = QuantityField("Length", kind="track_length")
    entry_kmh = QuantityField("In", kind="speed")
    exit_kmh = QuantityField("Out", kind="speed")

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        for field in (self.entry_kmh, self.exit_kmh):
            field.label.text += f", {field.unit_symbol}"
            field.unit_symbol = ""

    @property
    def empty(self) -> bool:
        """Whether nothing was typed here."""
        return all(field.data is None and not (field.typed or "").strip() for field in self)


class TrackForm(PitForm):
    """A track with its straights."""

    version = HiddenField(default="1")
    name = StringField(
        "Name",
        [Needed("Give the track a name.")],
        render_kw={"maxlength": 60, "autocomplete": "off"},
    )
    longest = QuantityField("Longest straight", kind="track_length")
    corners = RadioField("Corners", choices=CORNERS, default="mixed", validate_choice=False)
    surface = StringField(
        "Surface", render_kw={"maxlength": 40, "list": "surfaces", "autocomplete": "off"}
    )
    lap_length_m = QuantityField("Lap length", kind="track_length")
    rows = FieldList(FormField(StraightForm), min_entries=1, max_entries=MOST_STRAIGHTS)
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

    def validate_longest(self, field: QuantityField) -> None:
        """Refuse what is no straight of a track."""
        if field.data is not None and not 5 <= field.data <= 500:
            raise ValidationError("A longest straight lies between 5 and 500 m.")

    def guess(self) -> tuple[float, Any] | None:
        """The longest straight in metres and what the corners are like, if that was typed."""
        if self.longest.data is None:
            return None
        corners = self.corners.data
        return self.longest.data, corners if corners in CORNERS else "mixed"

    def one_more(self) -> None:
        """Put an empty row behind the others, if there is room."""
        if len(self.rows) < MOST_STRAIGHTS:
            self.rows.append_entry()

    def measured(self) -> tuple[Straight, ...] | None:
        """The straights as typed, or None with what is wrong at the fields.

        A speed left empty is that of the straight next to the same corner.
        """
        typed = [row.form for row in self.rows if not row.form.empty]
        wrong = any(form.errors for form in typed)
        for form in typed:
            if form.length_m.data is None and not form.length_m.errors:
                form.length_m.errors = ["How long is it?"]
                wrong = True
        if wrong or not typed:
            return None if wrong else ()
        filled = filled_in(
            [(form.length_m.data, form.entry_kmh.data, form.exit_kmh.data) for form in typed]
        )
        if filled is None:
            typed[0].exit_kmh.errors = ["Give the speed at one corner at least."]
            return None
        straights = []
        for form, (length_m, entry_kmh, exit_kmh) in zip(typed, filled, strict=True):
            try:
                straights.append(
                    Straight(length_m=length_m, entry_kmh=entry_kmh, exit_kmh=exit_kmh)
                )
            except pydantic.ValidationError as error:
                for finding in error.errors():
                    field = form[str(finding["loc"][0])]
                    field.errors = [*field.errors, in_words(finding)]
        return tuple(straights) if len(straights) == len(typed) else None

    def record(self, track_id: int) -> Track | None:
        """The track as typed, or None with what is wrong at the fields."""
        valid = self.validate_on_submit()
        straights = self.measured()
        if straights is None or not valid:
            return None
        return self.fill(Track, id=track_id, straights=straights)

    def show_track_conflict(self, current: Track, sentence: str) -> None:
        """As `show_conflict`, with the straights in words."""
        typed = self.measured()
        self.show_conflict(current, sentence)
        if typed is not None and typed != current.straights:
            self.form_errors.append(f"On the other screen the straights became {_words(current)}.")


def values_of(track: Track) -> dict[str, Any]:
    """What the form is filled with to change this track."""
    values = track.model_dump()
    return values | {"rows": values.pop("straights")}


def _words(track: Track) -> str:
    return (
        "; ".join(
            f"{quantity(straight.length_m, 'track_length')}, in {quantity(straight.entry_kmh, 'speed')}, "
            f"out {quantity(straight.exit_kmh, 'speed')}"
            for straight in track.straights
        )
        or "none"
    )
