"""The form of a controller."""

from __future__ import annotations

from wtforms import BooleanField, HiddenField, StringField, TextAreaField

from pitapp.web.forms.fields import Needed, NumberField
from pitapp.web.forms.form_errors import PitForm

SHORT = {"maxlength": 60, "autocomplete": "off"}


class ControllerForm(PitForm):
    """A controller; the ticks are for a new one only."""

    version = HiddenField(default="1")
    name = StringField("Name", [Needed("Give the controller a name.")], render_kw=SHORT)
    motor_kv = NumberField("Kv of the motor", unit="rpm/V")
    firmware = StringField("Firmware", render_kw=SHORT)
    signal_text = TextAreaField(
        "How it shows its rev limit at switch-on", render_kw={"maxlength": 120, "rows": 2}
    )
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000})
    starting_list = BooleanField("Begin with the general list of settings", default=True)
    fit = BooleanField("It is in the car now", default=True)
