"""The form of a motor check."""

from __future__ import annotations

from wtforms import BooleanField, HiddenField, TextAreaField

from pitapp.web.forms.datetime_field import MomentField, NotAhead
from pitapp.web.forms.fields import MilliohmField, Needed, NumberField, QuantityField
from pitapp.web.forms.form_errors import PitForm


class CheckForm(PitForm):
    """The readings of one check."""

    version = HiddenField(default="1")
    volts = NumberField("Voltage", unit="V")
    free_rpm = NumberField("Free speed", unit="rpm")
    heard_spread_rpm = NumberField("Heard by the phone, spread", unit="rpm", sensible=(0, 999))
    current_a = NumberField("Current", unit="A")
    can_c = QuantityField("Can", kind="temperature")
    sensor_a_deg = NumberField("Sensor A", signed=True)
    sensor_b_deg = NumberField("Sensor B", signed=True)
    sensor_c_deg = NumberField("Sensor C", signed=True)
    resistance_ohm = MilliohmField("Resistance")
    mass_g = QuantityField("Weight", kind="mass")
    as_new = BooleanField("The rotor is new: compare later checks with this one")
    checked_at = MomentField("Measured at", [Needed("When was it measured?"), NotAhead()])
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})
