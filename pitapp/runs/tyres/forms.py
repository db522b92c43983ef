"""The form of a tyre set."""

from __future__ import annotations

from wtforms import HiddenField, StringField, TextAreaField

from pitapp.web.forms.fields import Needed, NumberField, WholeField
from pitapp.web.forms.form_errors import PitForm


class TyreSetForm(PitForm):
    """A tyre set."""

    version = HiddenField(default="1")
    name = StringField(
        "Name",
        [Needed("Give the set a name, such as its number.")],
        render_kw={"maxlength": 60, "autocomplete": "off"},
    )
    kind = StringField("Kind", render_kw={"maxlength": 60})
    diameter_mm = NumberField("Diameter measured", unit="mm")
    runs_elsewhere = WholeField("Runs that are not in the log", default=0)
    treatment = StringField("Treatment", render_kw={"maxlength": 200})
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000, "rows": 3})
