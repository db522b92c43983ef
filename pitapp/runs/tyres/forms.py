"""The form of a tyre set."""

from __future__ import annotations

from wtforms import HiddenField, StringField, TextAreaField

from pitapp.runs.models import TyreSet
from pitapp.web.forms.fields import Needed, NumberField, WholeField
from pitapp.web.forms.form_errors import PitForm

STARTING_PREPARATION = """Cleaner: ?
Additive: ? for ? min
Warmer: ? °C for ? min"""


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
    treatment = TextAreaField("Preparation", render_kw={"maxlength": 200, "rows": 3})
    remarks = TextAreaField("Remarks", render_kw={"maxlength": 2000, "rows": 3})

    def record(self, set_id: int) -> TyreSet | None:
        """The set as typed, without the lines of its preparation where a ? was left; None if wrong."""
        lines = (self.treatment.data or "").splitlines()
        written = "\n".join(line for line in lines if "?" not in line)
        return self.fill(TyreSet, id=set_id, treatment=written)
