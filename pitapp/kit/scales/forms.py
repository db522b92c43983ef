"""The forms of the scales."""

from __future__ import annotations

from wtforms import Form, HiddenField, StringField, TextAreaField

from pitapp.web.forms.datetime_field import MomentField, NotAhead
from pitapp.web.forms.fields import Needed, NumberField, QuantityField
from pitapp.web.forms.form_errors import PitForm

NAME_KEYWORDS = {"maxlength": 60, "autocomplete": "off"}


class PartForm(PitForm):
    """A part and its weight."""

    version = HiddenField(default="1")
    name = StringField("Part", [Needed("What is it?")], render_kw=NAME_KEYWORDS)
    mass_g = QuantityField("Weight", [Needed("What does it weigh?")], kind="mass")


class CornersForm(PitForm):
    """The readings of four scales."""

    version = HiddenField(default="1")
    front_left_g = QuantityField("Front left", [Needed("Read this scale too.")], kind="mass")
    front_right_g = QuantityField("Front right", [Needed("Read this scale too.")], kind="mass")
    rear_left_g = QuantityField("Rear left", [Needed("Read this scale too.")], kind="mass")
    rear_right_g = QuantityField("Rear right", [Needed("Read this scale too.")], kind="mass")
    wheelbase_mm = NumberField("Wheelbase", unit="mm")
    track_width_mm = NumberField("Track width", unit="mm")
    weighed_at = MomentField("Weighed at", [Needed("When was it weighed?"), NotAhead()])
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})


class MoveForm(Form):
    """A part to be moved, as the address has it."""

    part_g = QuantityField("Part's weight", [Needed("What does the part weigh?")], kind="mass")
    total_g = QuantityField("Car's weight", [Needed("What does the car weigh?")], kind="mass")
    forward_mm = NumberField("Forward", unit="mm", signed=True)
    left_mm = NumberField("To the left", unit="mm", signed=True)
    wheelbase_mm = NumberField("Wheelbase", unit="mm")
    track_width_mm = NumberField("Track width", unit="mm")
