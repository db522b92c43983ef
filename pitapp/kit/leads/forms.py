"""The forms of the leads."""

from __future__ import annotations

from wtforms import Form, HiddenField, RadioField, StringField

from pitapp.web.forms.fields import Needed, NumberField, QuantityField, WholeField
from pitapp.web.forms.form_errors import PitForm

KINDS = {"pair": "A pair", "motor": "Three, to a motor", "single": "One"}


class LeadForm(PitForm):
    """Leads of one gauge and length."""

    version = HiddenField(default="1")
    name = StringField(
        "What",
        [Needed("What do they connect?")],
        render_kw={"maxlength": 60, "autocomplete": "off"},
    )
    kind = RadioField("These are", choices=KINDS, default="pair")
    awg = WholeField("Gauge, AWG", [Needed("Which gauge?")])
    length_mm = NumberField("Length of one", [Needed("How long is one?")], unit="mm")


class LoadForm(Form):
    """The current and the copper's temperature, as the address has them."""

    current_a = NumberField("At a current of", unit="A")
    copper_c = QuantityField("Copper at", kind="temperature")
