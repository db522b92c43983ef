"""The forms of the kit."""

from __future__ import annotations

from typing import Any

from wtforms import (
    HiddenField,
    RadioField,
    SelectField,
    StringField,
    TextAreaField,
    ValidationError,
)

from pitapp.kit.models import Car, GearKind, Motor
from pitapp.kit.pitch import COMMON, pitch_label
from pitapp.kit.teeth import parse_teeth, teeth_text
from pitapp.web.forms.fields import MilliohmField, Needed, NumberField, QuantityField, WholeField
from pitapp.web.forms.form_errors import PitForm

NAME_KEYWORDS = {"maxlength": 60, "autocomplete": "off"}


class MotorForm(PitForm):
    """A motor."""

    version = HiddenField(default="1")
    name = StringField("Name", render_kw=NAME_KEYWORDS)
    kv_rpm_per_v = NumberField(
        "Kv", [Needed("What is its Kv, from the label or bench?")], unit="rpm/V"
    )
    winding = StringField("Winding", render_kw=NAME_KEYWORDS)
    resistance_ohm = MilliohmField("Resistance")
    no_load_current_a = NumberField("No-load current", unit="A")
    mass_g = QuantityField("Weight", kind="mass")
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

    def record(self, motor_id: int) -> Motor | None:
        """The motor as typed, one without a name called by its Kv; None with the reasons."""
        kv = self.kv_rpm_per_v.data
        named = {} if (self.name.data or "").strip() or not kv else {"name": f"{kv:g} rpm/V"}
        return self.fill(Motor, id=motor_id, **named)


class CarForm(PitForm):
    """A car."""

    version = HiddenField(default="1")
    name = StringField("Name", [Needed("Give the car a name.")], render_kw=NAME_KEYWORDS)
    internal_ratio = NumberField(
        "Internal ratio",
        [Needed("What is the ratio behind the spur?")],
        sensible=(0.2, 20),
        example="1.9",
    )
    pitch = SelectField("Gear pitch")
    tyre_diameter_mm = NumberField("Tyre diameter", [Needed("How large are the tyres?")], unit="mm")
    motor_id = SelectField("Motor", default="")
    new_motor_kv = NumberField("New motor's Kv", unit="rpm/V")
    pack_v = NumberField("Pack voltage", unit="V")
    rev_limit_rpm = NumberField("Rev limit", unit="rpm")
    least_tooth_sum = WholeField("Minimum tooth sum")
    most_tooth_sum = WholeField("Maximum tooth sum")
    least_centre_distance_mm = NumberField("Minimum centre distance", unit="mm")
    most_centre_distance_mm = NumberField("Maximum centre distance", unit="mm")
    smallest_pinion = WholeField("Smallest pinion")
    largest_pinion = WholeField("Largest pinion")
    smallest_spur = WholeField("Smallest spur")
    largest_spur = WholeField("Largest spur")
    mass_g = QuantityField("Weight, ready to race", kind="mass")
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})

    def validate_new_motor_kv(self, field: NumberField) -> None:
        """Refuse a new motor beside one that is chosen."""
        if field.data is not None and self.motor_id.data:
            raise ValidationError("Leave this empty, or choose no motor above.")

    def set_choices(self, motors: list[Motor], car: Car | None = None) -> None:
        """Offer these motors, and the car's own pitch among the common ones."""
        none = "none yet, or a new one" if motors else "none yet"
        self.motor_id.choices = {"": none} | {str(m.id): m.name for m in motors}
        own = [car.pitch] if car and car.pitch not in COMMON else []
        self.pitch.choices = {pitch: pitch_label(pitch) for pitch in (*COMMON, *own)}


class TeethField(NumberField):
    """A list of numbers of teeth, kept as it was typed until it is right."""

    keypad = "text"
    most_characters = 200

    def as_text(self, data: Any) -> str:
        return teeth_text(data)

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read a list such as "20-32, 35, 38"."""
        if valuelist:
            self.typed = valuelist[0]
            self.data = parse_teeth(self.typed[:500]) if self.typed.strip() else None


class GearsForm(PitForm):
    """Gears to put into the box."""

    kind = RadioField("These are", choices={"pinion": "Pinions", "spur": "Spurs"}, default="pinion")
    pitch = SelectField("Gear pitch")
    pinions = TeethField("Pinions")
    spurs = TeethField("Spurs")
    teeth = TeethField("Teeth")

    def typed(self) -> dict[GearKind, list[int]] | None:
        """The teeth typed of each kind, or None with the reasons at the fields."""
        if not self.validate_on_submit():
            return None
        typed: dict[GearKind, list[int]] = {}
        fields: tuple[tuple[TeethField, GearKind], ...] = (
            (self.pinions, "pinion"),
            (self.spurs, "spur"),
            (self.teeth, "spur" if self.kind.data == "spur" else "pinion"),
        )
        for field, kind in fields:
            if field.data:
                typed[kind] = sorted({*typed.get(kind, ()), *field.data})
        if not typed:
            field = self.pinions if self.teeth.typed is None else self.teeth
            field.errors = ["Write the numbers of teeth, like 20-32, 35, 38."]
        return typed or None

    def set_choices(self, pitches: list[str]) -> None:
        """Offer these pitches first, then the common ones."""
        self.pitch.choices = {pitch: pitch_label(pitch) for pitch in (*pitches, *COMMON)}
